"""Facts rest on no kind of record that their group does not say it reads."""

from dataclasses import replace

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from qa_engine.demo import AS_OF, write_demo
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.subjects import subjects_of

DECLARED = [
    pytest.param(group, kind, id=f"{group.facts[0].name} of {kind}")
    for group in ENGINE_FACTS
    if group.reads is not None
    for kind in group.subjects
]


@pytest.fixture(scope="module")
def past(tmp_path_factory):
    fleet = write_demo(tmp_path_factory.mktemp("fleet"))
    intake = read_records(fleet.records, time_zone=None)
    history = History.of_records(intake.frames, read_register(fleet.register))
    return Past(history, open_host(installed_plugins()).models, AS_OF)


def test_many_groups_say_what_they_read():
    assert len(DECLARED) > 60


@pytest.mark.parametrize(("group", "kind"), DECLARED)
def test_a_group_finds_the_same_without_the_kinds_that_it_does_not_read(group, kind, past):
    subjects = subjects_of(kind, past, by_day=False)
    frames = {k: f for k, f in past.history.frames.items() if k in {kind, *group.reads}}
    less = replace(past, history=History(frames, past.register), _asked=[])
    vars(less)["charges"], vars(less)["resin"] = past.charges, past.resin
    if subjects.height:
        subjects = subjects.sample(min(300, subjects.height), seed=1).sort("item", "at", "record")
    assert_frame_equal(group.find(subjects, less), group.find(subjects, past))


def test_the_records_left_out_would_have_been_missed(past):
    """So that the test above can fail: facts that read more do change without it."""
    group = next(g for g in ENGINE_FACTS if g.facts[0].name == "last_outlet_tds")
    subjects = subjects_of("tank", past, by_day=False)
    less = replace(past, history=History({}, past.register), _asked=[])
    vars(less)["charges"] = past.charges
    found = [group.find(subjects, one)["last_outlet_tds"] for one in (past, less)]
    assert found[0].null_count() < found[1].null_count() == len(subjects)
    assert isinstance(found[0], pl.Series)
