"""The catalogue: which facts there are, for which subjects, and how they are declared."""

from collections import Counter

import pytest

from qa_engine.facts import ENGINE_FACTS, SUBJECTS
from qa_engine.facts.catalogue import NOT_FACTS, Catalogue
from qa_engine.facts.logged import IN_KIND, MEANINGS, meaning_of
from qa_engine.records import KINDS, RECORD_FIELDS
from qa_engine.units import unit

CATALOGUE = Catalogue.of(ENGINE_FACTS)
FIELD_GROUPS = CATALOGUE.groups[: len(KINDS)]

TANKISH = "reading rinse resin_change seal_service vessel_service incident charge tank"
ON_A_CHARGE = "charge tank rinse reading"
IN_USE = "charge tank rinse reading resin_change van meter"

# Name, subjects, type or unit, and what else is declared.
DECLARED = [
    ("tank_known", TANKISH, "yes/no", "no"),
    ("vessel_volume", TANKISH, "L"),
    ("bore", TANKISH, "mm"),
    ("rated_pressure", TANKISH, "kPa"),
    ("rated_temperature", TANKISH, "degC"),
    ("freeboard_min", TANKISH, "mm"),
    ("freeboard_max", TANKISH, "mm"),
    ("construction", TANKISH, "words"),
    ("position", TANKISH, "words"),
    ("no_examination_by", TANKISH, "words"),
    ("no_examination_document", TANKISH, "words"),
    ("least_full_charge", "resin_change", "L"),
    ("meter_known", "reading meter_check", "yes/no", "no"),
    ("meter_factor", "reading meter_check meter", "mg/L per uS/cm"),
    ("meter_resolution", "reading", "mg/L"),
    ("class_water_per_rinse", "rinse", "L"),
    ("van_known", "rinse reading resin_change complaint", "yes/no", "no"),
    ("class_known", "rinse complaint", "yes/no", "no"),
    ("source_known", "rinse reading water_analysis", "yes/no", "no"),
    ("base_known", "disposal", "yes/no", "no"),
    ("grade", TANKISH, "words"),
    ("charge_known", TANKISH.replace("resin_change ", ""), "yes/no", "no"),
    ("softening_bed", TANKISH, "yes/no", "no"),
    ("lowers_tds", TANKISH, "yes/no"),
    ("grade_known", TANKISH, "yes/no", "no"),
    ("grade_outlet_after", TANKISH, "mg/L"),
    ("grade_least_flow", TANKISH, "BV/h"),
    ("grade_greatest_flow", TANKISH, "BV/h"),
    ("charge_age", ON_A_CHARGE, "d", 1),
    ("charge_resin_volume", ON_A_CHARGE, "L"),
    ("charge_rinses", ON_A_CHARGE, "count"),
    ("charge_water", ON_A_CHARGE, "L"),
    ("charge_equivalents", ON_A_CHARGE, "eq"),
    ("charge_capacity", ON_A_CHARGE, "eq"),
    ("used_fraction", ON_A_CHARGE, "1"),
    ("litres_left", ON_A_CHARGE, "L"),
    ("expected_outlet", ON_A_CHARGE, "mg/L"),
    ("learnt_capacity", ON_A_CHARGE, "eq"),
    ("learnt_capacity_low", ON_A_CHARGE, "eq"),
    ("learnt_capacity_high", ON_A_CHARGE, "eq"),
    ("learnt_used_fraction", ON_A_CHARGE, "1"),
    ("learnt_used_fraction_low", ON_A_CHARGE, "1"),
    ("learnt_used_fraction_high", ON_A_CHARGE, "1"),
    ("equivalents_left", ON_A_CHARGE, "eq"),
    ("equivalents_left_low", ON_A_CHARGE, "eq"),
    ("equivalents_left_high", ON_A_CHARGE, "eq"),
    ("predicted_outlet", ON_A_CHARGE, "mg/L"),
    ("predicted_outlet_low", ON_A_CHARGE, "mg/L"),
    ("predicted_outlet_high", ON_A_CHARGE, "mg/L"),
    ("rinse_water", "rinse", "L"),
    ("rinse_water_basis", "rinse", "words"),
    ("water_logged", "charge tank", "L"),
    ("water_counted", "charge tank", "L"),
    ("bed_flow", "rinse", "BV/h"),
    ("bed_velocity", "rinse", "m/h"),
    ("inlet_as_tds", "reading", "mg/L"),
    ("outlet_as_tds", "reading", "mg/L"),
    ("last_outlet_tds", "tank charge rinse", "mg/L"),
    ("last_outlet_age", "tank rinse", "d", 1),
    ("rinses_since_reading", "tank rinse", "count"),
    ("head_seal_age", "tank", "d", 1),
    ("riser_seal_age", "tank", "d", 1),
    ("port_seal_age", "tank", "d", 1),
    ("lubrication_logged", "resin_change", "yes/no", "no", "ahead"),
    ("vessel_due_in", "tank rinse", "d", -1),
    ("vessel_authority_stated", "tank", "yes/no"),
    ("vessel_result", "tank rinse", "words"),
    ("vessel_examined", "tank", "yes/no"),
    ("vessel_service_age", "tank", "d", 1),
    ("incident_open", "tank rinse reading", "yes/no", "no"),
    ("out_of_use", IN_USE, "yes/no", "no"),
    ("meter_check_age", "meter reading", "d", 1),
    ("meter_error", "meter_check", "%"),
    ("meter_error_after", "meter_check", "%"),
    ("standard_use_by_in", "meter_check", "d", -1),
    ("spent_resin_held", "base", "L"),
    ("spent_resin_held_for", "base", "d", 1),
    ("reading_followed", "complaint", "yes/no", "no", "ahead"),
    ("examination_followed", "incident", "yes/no", "no", "ahead"),
    ("withdrawn", "incident", "yes/no", "no", "ahead"),
    ("working_days_silent", "van", "count"),
    ("last_record_age", "van", "d", 1),
    ("entered_after", " ".join(KINDS), "h"),
    ("uncertainty of inlet_tds", "reading", "mg/L"),
    ("uncertainty of outlet_tds", "reading", "mg/L"),
    ("uncertainty of inlet_conductivity", "reading", "uS/cm"),
    ("uncertainty of outlet_conductivity", "reading", "uS/cm"),
    ("uncertainty of inlet_as_tds", "reading", "mg/L"),
    ("uncertainty of outlet_as_tds", "reading", "mg/L"),
    ("uncertainty of last_outlet_tds", "tank charge rinse", "mg/L"),
]


@pytest.mark.parametrize(("name", "subjects", "kind", "more"), [(*d[:3], d[3:]) for d in DECLARED])
def test_a_fact_is_declared_as_rules_rely_on_it(name, subjects, kind, more):
    having = {subject for subject in SUBJECTS if name in CATALOGUE.facts_of(subject)}
    assert having == set(subjects.split())
    is_number = kind not in ("words", "yes/no")
    for subject in having:
        fact = CATALOGUE.facts_of(subject)[name]
        assert (fact.type, fact.unit) == (("number", kind) if is_number else (kind, None))
        assert fact.absent == ("no" if "no" in more else "unknown")
        assert fact.per_day == next((m for m in more if isinstance(m, int)), 0)
        assert CATALOGUE.group_of(subject, name).looks_ahead == ("ahead" in more)


def test_the_engine_finds_no_fact_that_is_not_in_the_table():
    named = {fact.name for group in ENGINE_FACTS for fact in group.facts}
    assert named == {name for name, *_ in DECLARED}


def facts_by_subject():
    return [
        (subject, fact)
        for group in CATALOGUE.groups
        for subject in group.subjects
        for fact in group.facts
    ]


def test_every_meaning_is_a_sentence_without_its_full_stop():
    for subject, fact in facts_by_subject():
        assert fact.meaning.strip() == fact.meaning != "", (subject, fact.name)
        assert not fact.meaning.endswith("."), (subject, fact.name)


def test_a_number_has_a_unit_of_the_list_and_nothing_else_has_one():
    for subject, fact in facts_by_subject():
        assert (fact.type == "number") == (fact.unit is not None), (subject, fact.name)
        assert fact.unit is None or unit(fact.unit)


def test_a_subject_has_each_fact_once():
    count = Counter((subject, fact.name) for subject, fact in facts_by_subject())
    assert [key for key, times in count.items() if times > 1] == []


def test_one_name_is_declared_alike_for_every_subject():
    alike = {}
    for group in ENGINE_FACTS:
        for fact in group.facts:
            assert alike.setdefault(fact.name, fact) == fact
    for subject, fact in facts_by_subject():
        first = alike.setdefault(fact.name, fact)
        assert (fact.type, fact.unit, fact.words, fact.per_day) == (
            first.type,
            first.unit,
            first.words,
            first.per_day,
        ), (subject, fact.name)


def test_the_fields_of_a_record_are_facts_with_the_units_of_the_schema():
    facts = CATALOGUE.facts_of("reading")
    assert facts["outlet_tds"].unit == "mg/L"
    assert facts["sampled"].words == ("flowing", "first flush", "standing")
    assert facts["van"].type == "words"
    assert CATALOGUE.facts_of("resin_change")["isolated"].type == "yes/no"


def test_every_field_has_a_meaning_of_its_own_that_says_more_than_its_name():
    for kind, declared in KINDS.items():
        meanings = {
            name: meaning_of(kind, name) for name in declared.fields if name not in NOT_FACTS
        }
        assert len(set(meanings.values())) == len(meanings)
        assert all(len(text.split()) > 3 and not text.endswith(".") for text in meanings.values())
    assert meaning_of("reading", "inlet_tds") == "the inlet reading as TDS, as logged"
    assert meaning_of("disposal", "resin_volume") != meaning_of("resin_change", "resin_volume")


def test_no_meaning_is_kept_for_a_field_that_there_is_not():
    assert set(MEANINGS) == set(RECORD_FIELDS) - set(NOT_FACTS)
    for name in IN_KIND:
        kind, _, field = name.partition(".")
        assert field in KINDS[kind].fields


def test_ids_times_and_notes_are_no_facts():
    for group in FIELD_GROUPS:
        names = {fact.name for fact in group.facts}
        assert names.isdisjoint({"record", "kind", "at", "note"})


def test_a_field_is_found_as_logged_with_its_record_as_evidence(fleet_of):
    fleet = fleet_of(
        [{"kind": "reading", "tank": "T1", "at": "2026-03-01", "outlet_tds": 7.0, "van": "V1"}]
    )
    subjects = fleet.events("reading")
    assert fleet.found("reading", "outlet_tds", subjects).row(0) == (7.0, "R1")
    assert fleet.found("reading", "van", subjects).row(0) == ("V1", "R1")
    assert fleet.found("reading", "inlet_tds", subjects).row(0) == (None, "R1")
