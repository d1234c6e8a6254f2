"""The calls that programs make: what they promise is what they give."""

import json
from collections.abc import Callable
from datetime import timedelta

import pytest
from jsonschema import Draft202012Validator

from qa_engine.demo import AS_OF
from qa_engine.records import KINDS
from qa_engine.web.api.bodies import body_of
from qa_engine.web.api.specification import calls_of, specification
from qa_engine.web.faults import PROBLEM, Refusal
from qa_engine.web.hardening import BRAKE, CALLS

READING = {"record": "N1", "kind": "reading", "at": "2026-07-06T08:00:00Z", "tank": "T1"}
RECORDS = "/api/v1/records"
PERSON = {"crew": "P-01", "operator": "P-02", "auditor": "P-03", "administrator": "P-04"}


class Program:
    """A program with a token."""

    def __init__(self, site, scope="read", role="operator"):
        self.client = site.app.test_client()
        until = AS_OF + timedelta(days=9)
        token = site.accounts.hand_out(PERSON[role], "program", scope, until)
        self.headers = {"Authorization": f"Bearer {token}"}

    def get(self, address):
        return self.client.get(address, headers=self.headers)

    def send(self, body, key="K1", media="application/json"):
        headers = self.headers | ({"Idempotency-Key": key} if key else {})
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.post(RECORDS, data=data, headers=headers, content_type=media)


@pytest.fixture
def sender(small_site):
    return Program(small_site, "add records")


@pytest.fixture(scope="session")
def spec(site):
    return specification(site.app)


@pytest.fixture(scope="session")
def fits(spec) -> Callable:
    """Return a check of an answer against what the specification says of it."""

    def check(method, path, answer):
        told = spec["paths"][path][method]["responses"][str(answer.status_code)]
        (content,) = [told["content"][answer.mimetype]]
        schema = {**content["schema"], "components": spec["components"]}
        Draft202012Validator(schema).validate(answer.json)
        return answer.json

    return check


ASKED = {
    "/api/v1/findings": "?limit=1000&life=all",
    "/api/v1/findings/{finding}": "{finding}",
    "/api/v1/tanks/{tank}": "{tank}",
    "/api/v1/receipts/{key}": "records",
}


def test_every_answer_is_as_the_specification_says(site, spec, fits):
    program = Program(site)
    names = {
        "finding": program.get("/api/v1/findings").json["findings"][0]["finding"],
        "tank": program.get("/api/v1/tanks").json["tanks"][0]["tank"],
    }
    walked = 0
    for path, methods in spec["paths"].items():
        if "get" not in methods:
            continue
        address = path.partition("{")[0] + ASKED.get(path, "").format(**names)
        answer = program.get(address)
        assert answer.status_code == 200, address
        assert fits("get", path, answer)
        refused = program.get(address + ("&" if "?" in address else "?") + "strange=1")
        assert refused.status_code == 422
        fits("get", path, refused)
        fits("get", path, program.client.get(address))
        walked += 1
    assert walked == len(list(calls_of(site.app))) - 1, "all but the one that adds"


def test_the_specification_is_open_to_all_and_names_each_field_of_each_kind_once(site, spec):
    told = site.app.test_client().get("/api/v1/openapi.json").json
    assert told == spec
    assert told["openapi"] == "3.1.0"
    for kind in KINDS.values():
        assert set(told["components"]["schemas"][kind.schema.__name__]["properties"]) == set(
            kind.fields
        )
    outlet = told["components"]["schemas"]["Reading"]["properties"]["outlet_tds"]
    assert outlet["x-unit"] == "mg/L"
    assert (outlet["minimum"], outlet["maximum"]) == (0, 50_000)
    assert "in mg/L" in outlet["description"]


def test_the_page_of_calls_lists_every_call_of_the_specification(site, spec):
    page = site.visitor("crew").get("/api/v1/").text
    for path, methods in spec["paths"].items():
        for method in methods:
            assert f"<code>{method.upper()} {path}</code>" in page


# reading


def test_pages_together_give_every_finding_once_in_the_same_order(site):
    program = Program(site)
    whole = program.get("/api/v1/findings?limit=1000").json
    assert whole["next"] is None
    walked, address = [], "/api/v1/findings?limit=7"
    while address:
        page = program.get(address).json
        assert len(page["findings"]) <= 7
        walked += page["findings"]
        address = page["next"]
    assert walked == whole["findings"]
    assert len(walked) > 14, "or there was nothing to page through"


def test_a_page_goes_on_after_the_last_row_even_when_rows_before_it_have_gone(small_site):
    sender, reader = Program(small_site, "add records"), Program(small_site)
    first = reader.get("/api/v1/findings?limit=1&life=all").json
    assert first["next"]
    sender.send(READING | {"outlet_tds": 1, "sampled": "flowing"})
    second = reader.get(first["next"]).json
    assert second["entries"] == first["entries"] + 1
    assert second["findings"][0]["finding"] != first["findings"][0]["finding"]


@pytest.mark.parametrize("column", ["tank", "van", "rule", "rule_set", "grading", "outcome"])
def test_findings_are_narrowed_by_each_column(site, column):
    program = Program(site)
    everything = program.get("/api/v1/findings?limit=1000&life=all").json["findings"]
    value = next(one[column] for one in everything if one[column])
    address = f"/api/v1/findings?limit=1000&life=all&{column}={value}"
    mine = program.get(address).json["findings"]
    assert mine == [one for one in everything if one[column] == value]


def test_findings_of_a_base_are_those_of_the_vans_that_work_from_it(site):
    program = Program(site)
    tanks = program.get("/api/v1/tanks?limit=1000").json["tanks"]
    base = tanks[0]["base"]
    vans = {one["van"] for one in tanks if one["base"] == base}
    mine = program.get(f"/api/v1/findings?limit=1000&base={base}").json["findings"]
    assert mine
    assert {one["van"] for one in mine} <= vans


def test_a_tank_is_told_with_its_facts_and_their_units(small_site):
    tank = Program(small_site).get("/api/v1/tanks/T1").json
    facts = {one["fact"]: one for one in tank["facts"]}
    # Charge C1 began on 1 July; the last reading R4 showed 25 mg/L.
    assert facts["last_outlet_tds"]["value"] == 25
    assert facts["last_outlet_tds"]["unit"] == "mg/L"
    assert facts["vessel_volume"]["value"] == 20
    assert tank["tank"]["last_outlet"] == 25
    assert tank["forecast"]["tank"] == "T1"


@pytest.mark.parametrize("path", ["findings/no/such/finding", "tanks/T99", "receipts/none", "no"])
def test_what_is_not_there_is_told_as_a_problem(site, path):
    answer = Program(site).get(f"/api/v1/{path}")
    assert (answer.status_code, answer.mimetype) == (404, PROBLEM)
    assert answer.json["instance"] == f"/api/v1/{path}"


@pytest.mark.parametrize("after", ["%F0%9F", "W10=", "WzEsMl0=", "bm9uZQ==", "WzFlOTksICJhIl0="])
def test_a_made_up_cursor_is_refused(site, after):
    answer = Program(site).get(f"/api/v1/tanks?after={after}")
    assert answer.status_code == 422
    assert "'next'" in answer.json["detail"]


def test_the_tree_head_grows_with_what_comes_in(small_site):
    sender, reader = Program(small_site, "add records"), Program(small_site)
    before = reader.get("/api/v1/tree-head").json
    receipt = sender.send(READING | {"outlet_tds": 3}).json
    after = reader.get("/api/v1/tree-head").json
    assert after["size"] == before["size"] + 1
    assert after["root"] == receipt["root"] != before["root"]
    kept = reader.get("/api/v1/receipts/K1").json
    assert kept == receipt | {"known": True}


# adding


def test_a_record_that_is_sent_is_in_the_book_under_the_name_of_who_holds_the_token(
    small_site, sender, fits
):
    answer = sender.send(READING | {"outlet_tds": "4 ppm"})
    assert answer.status_code == 201
    assert fits("post", RECORDS, answer)["entries"] == 1
    rows = small_site.book.frames(kinds=["reading"])["reading"].to_dicts()
    assert [row["outlet_tds"] for row in rows if row["record"] == "N1"] == [4]


def test_the_same_key_again_gives_the_first_receipt_and_adds_nothing(small_site, sender):
    first = sender.send([READING])
    size = small_site.book.size()
    again = sender.send([READING])
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json == first.json | {"known": True}
    assert small_site.book.size() == size


def test_a_key_that_came_with_other_records_is_refused(small_site, sender, fits):
    sender.send(READING | {"outlet_tds": 3})
    size = small_site.book.size()
    for other in (READING | {"record": "N2"}, READING | {"outlet_tds": 4}):
        answer = sender.send(other)
        assert answer.status_code == 409
        assert fits("post", RECORDS, answer)["type"].endswith("#key-used")
    assert small_site.book.size() == size


def test_a_record_corrected_since_does_not_spoil_sending_it_again(small_site, sender):
    first = sender.send(READING | {"outlet_tds": 3})
    frames = small_site.book.frames(kinds=["reading"])
    mine = frames["reading"].filter(frames["reading"]["record"] == "N1")
    mended = mine.with_columns(outlet_tds=mine["outlet_tds"] + 1)
    entered = {"entered_at": AS_OF, "entered_by": "P-02", "reason": "misread"}
    small_site.book.correct({"reading": mended}, key="C", **entered)
    assert sender.send(READING | {"outlet_tds": 3}).json["root"] == first.json["root"]


def test_the_key_may_come_in_the_body(sender):
    first = sender.send({"key": "K9", "records": [READING]}, key=None)
    again = sender.send({"records": [READING]}, key='"K9"')
    assert first.json["key"] == again.json["key"] == "K9"
    assert again.json["known"]


@pytest.mark.parametrize(
    ("body", "key"),
    [(READING, None), (READING, ""), (READING, "x" * 65), ({"key": "A", "records": []}, "B")],
)
def test_without_one_sound_key_nothing_is_taken(small_site, sender, body, key):
    answer = sender.client.post(
        RECORDS,
        json=body,
        headers=sender.headers | ({} if key is None else {"Idempotency-Key": key}),
    )
    assert answer.status_code == 400
    assert "Idempotency-Key" in answer.json["detail"]


def test_every_wrong_field_of_every_row_is_told_and_nothing_is_added(small_site, sender, fits):
    size = small_site.book.size()
    rows = [
        READING,
        READING | {"record": "N2", "outlet_tds": "many", "sampled": "flowin"},
        READING | {"record": "N3", "kind": "redaing"},
    ]
    answer = sender.send(rows)
    assert answer.status_code == 422
    told = fits("post", RECORDS, answer)
    assert [(one["row"], one["record"], one["field"]) for one in told["problems"]] == [
        (2, "N2", "outlet_tds"),
        (2, "N2", "sampled"),
        (3, "N3", "kind"),
    ]
    assert "did you mean 'flowing'" in told["problems"][1]["expected"]
    assert small_site.book.size() == size


def test_an_unknown_field_is_told_with_the_nearest_name(sender):
    answer = sender.send(READING | {"outlet_tsd": 3})
    assert answer.status_code == 422
    assert "outlet_tds" in answer.json["detail"]


def test_a_record_that_the_book_has_otherwise_is_refused_and_so_are_those_beside_it(
    small_site, sender, fits
):
    size = small_site.book.size()
    other = READING | {"record": "R4", "at": "2026-07-05T08:00:00Z", "van": "V1", "outlet_tds": 1}
    answer = sender.send([READING, other])
    assert answer.status_code == 409
    told = fits("post", RECORDS, answer)
    named = {(one["record"], one["field"]) for one in told["problems"]}
    assert ("R4", "outlet_tds") in named
    assert small_site.book.size() == size


def test_records_that_the_book_has_word_for_word_get_a_receipt_of_nothing_new(sender):
    sender.send(READING)
    answer = sender.send(READING, key="K2")
    assert answer.status_code == 200
    assert (answer.json["entries"], answer.json["repeated"]) == (0, 1)


def test_lines_of_json_are_taken_as_well(sender):
    lines = "\n".join(json.dumps(READING | {"record": f"N{n}"}) for n in range(3)).encode()
    assert sender.send(lines, media="application/x-ndjson").json["entries"] == 3


@pytest.mark.parametrize("body", [b"", b" ", b"[]", b'{"records": []}', b"[1]", b'"x"', b"null"])
def test_what_holds_no_record_is_refused(sender, body):
    answer = sender.send(body)
    assert answer.status_code in (400, 422)
    assert answer.json["detail"]


@pytest.mark.parametrize(
    "body",
    [b"{", b"[", b"[1,]", b"\xff", b"[" * 100_000, b'{"records": 1}', b'{"records": [], "x": 1}'],
)
def test_what_is_no_json_is_refused(sender, body):
    assert sender.send(body).status_code == 400


def test_a_body_of_another_kind_and_one_too_large_are_refused(small_site, sender, fits):
    other = sender.send(b"<a/>", media="application/xml")
    assert other.status_code == 415
    assert "application/json" in fits("post", RECORDS, other)["detail"]
    small_site.app.config["MAX_CONTENT_LENGTH"] = 1000
    large = sender.send(b"[" + b" " * 1000 + b"]")
    assert large.status_code == 413
    fits("post", RECORDS, large)


def test_an_address_that_only_gives_says_so_when_it_is_sent_something(site):
    program = Program(site)
    answer = program.client.post("/api/v1/tanks", json={}, headers=program.headers)
    assert (answer.status_code, answer.mimetype) == (405, PROBLEM)
    assert set(answer.headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS"}


def test_rows_reach_the_intake_exactly_as_they_were_written():
    sent = b' [ {"a": 1.10, "a": 1e400},\r\n\t{"b": "\\n ]},{[", "c": [ {} , [] ]} , NaN ] '
    assert body_of(sent, "application/json").lines == (
        b'{"a": 1.10, "a": 1e400}\n{"b": "\\n ]},{[", "c": [ {} , [] ]}\nNaN'
    )
    keyed = b'{ "records" : [ {"a" : 1} , 2 ] , "key" : "K" }'
    assert body_of(keyed, "application/json").lines == b'{"a" : 1}\n2'
    assert body_of(keyed, "application/json").key == "K"
    with pytest.raises(Refusal):
        body_of(b'{"records": [], "key": 1}', "application/json")


# who, and how often


def test_a_cookie_reads_but_adds_only_with_the_token_of_a_page(small_site):
    visitor = small_site.visitor("operator")
    assert visitor.get("/api/v1/tanks").status_code == 200
    refused = visitor.client.post(RECORDS, json=READING, headers={"Idempotency-Key": "K"})
    assert (refused.status_code, refused.mimetype) == (400, PROBLEM)
    assert "X-CSRFToken" in refused.json["detail"]
    page = visitor.get("/people/me").text
    token = page.split('name="csrf_token" value="')[1].split('"')[0]
    headers = {"Idempotency-Key": "K", "X-CSRFToken": token}
    assert visitor.client.post(RECORDS, json=READING, headers=headers).status_code == 201


def test_a_token_of_the_other_scope_is_told_that_it_may_not(site):
    answer = Program(site).send(READING)
    assert (answer.status_code, answer.mimetype) == (403, PROBLEM)
    assert Program(site, "add records").get("/api/v1/tanks").status_code == 403


def test_without_a_good_token_the_answer_says_what_to_bring(site):
    for headers in ({}, {"Authorization": "Bearer qa_wrong"}):
        answer = site.app.test_client().get("/api/v1/tanks", headers=headers)
        assert (answer.status_code, answer.mimetype) == (401, PROBLEM)
        assert answer.headers["WWW-Authenticate"] == "Bearer"


def test_a_program_that_calls_too_often_is_told_how_long_to_wait(small_site, fits):
    eager, other = Program(small_site), Program(small_site)
    for _ in range(CALLS.amount):
        assert eager.get("/api/v1/facts?subject=base").status_code == 200
    answer = eager.get("/api/v1/facts")
    assert answer.status_code == 429
    fits("get", "/api/v1/facts", answer)
    assert 1 <= int(answer.headers["Retry-After"]) <= 60
    assert other.get("/api/v1/facts").status_code == 200, "another token has its own count"
    small_site.app.extensions[BRAKE].storage.reset()


def test_a_failure_of_ours_is_a_problem_without_a_trace(small_site, monkeypatch, fits):
    def fails(*_):
        raise RuntimeError("a secret of the machine")

    small_site.app.testing = False
    monkeypatch.setattr(type(small_site.book), "about", fails)
    answer = Program(small_site).get("/api/v1/tree-head")
    assert answer.status_code == 500
    assert "secret" not in fits("get", "/api/v1/tree-head", answer)["detail"]
