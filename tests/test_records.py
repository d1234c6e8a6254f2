"""The kinds of record as declared."""

from collections import defaultdict

import pytest

from qa_engine.fields import Quantity
from qa_engine.records import COMMON, KINDS, RECORD_FIELDS, TANK_KINDS
from qa_engine.units import unit


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_every_record_has_the_common_fields_first(kind):
    assert tuple(kind.fields)[: len(COMMON)] == COMMON
    assert set(kind.own_fields).isdisjoint(COMMON)


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_every_field_of_a_schema_is_one_the_engine_knows(kind):
    assert list(kind.fields) == list(kind.schema().fields)


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_what_a_record_is_about_is_required(kind):
    required = {name for name, field in kind.fields.items() if field.required}
    assert required == {"record", "kind", "at", kind.item}


def test_one_name_means_the_same_in_every_kind():
    meanings = defaultdict(set)
    for kind in KINDS.values():
        for name, field in kind.fields.items():
            unit_ = field.unit if isinstance(field, Quantity) else None
            meanings[name].add((type(field), unit_))
    assert {name for name, them in meanings.items() if len(them) > 1} == set()
    assert set(meanings) == set(RECORD_FIELDS)


def test_every_unit_is_on_the_list_and_every_range_is_one():
    for field in RECORD_FIELDS.values():
        if isinstance(field, Quantity):
            assert unit(field.unit).name == field.unit
            assert field.low < field.high


def test_the_kinds_about_a_tank():
    assert set(KINDS) - set(TANK_KINDS) == {
        "meter_check",
        "disposal",
        "complaint",
        "out_of_use",
        "return_to_use",
        "water_analysis",
    }
