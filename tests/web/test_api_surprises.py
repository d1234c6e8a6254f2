"""The calls, asked what nobody thought of: no failure, and no answer that was not promised."""

from datetime import timedelta

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    negative_data_rejection,
    positive_data_acceptance,
    response_schema_conformance,
    status_code_conformance,
)

from qa_engine.demo import AS_OF
from qa_engine.web.api.specification import calls_of
from qa_engine.web.hardening import BRAKE

ALWAYS = [
    not_a_server_error,
    allow_header_conformance,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
]
MODES = (GenerationMode.POSITIVE, GenerationMode.NEGATIVE)
CALLS = (
    "add_records",
    "due",
    "facts",
    "finding",
    "findings",
    "receipt",
    "report",
    "tank",
    "tanks",
    "tree_head",
)


def asked_by(site, name):
    """Return what may be asked of a call, sound and unsound."""
    spec = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", site.app)
    operation = spec.find_operation_by_id(name)
    return st.one_of(operation.as_strategy(generation_mode=mode) for mode in MODES)


def test_every_call_is_asked(site):
    assert sorted(rule.endpoint.split(".")[1] for rule, _ in calls_of(site.app)) == sorted(CALLS)


def checks_of(name, case):
    """Return what an answer must pass.

    Of a record the intake wants more than a schema can say, such as an id that is new; and a
    made-up cursor is refused though it is a text.
    """
    if name == "add_records":
        return ALWAYS
    cursor = "after" in (case.query or {})
    return [*ALWAYS, negative_data_rejection, *([] if cursor else [positive_data_acceptance])]


@pytest.mark.parametrize("name", CALLS)
def test_whatever_is_asked_the_answer_is_one_that_was_promised(small_site, name):
    scope = "add records" if name == "add_records" else "read"
    token = small_site.accounts.hand_out("P-02", "asker", scope, AS_OF + timedelta(days=9))

    @settings(
        max_examples=25,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=asked_by(small_site, name))
    def ask(case):
        small_site.app.extensions[BRAKE].storage.reset()
        answer = case.call(headers={"Authorization": f"Bearer {token}"})
        case.validate_response(answer, checks=checks_of(name, case))

    ask()
