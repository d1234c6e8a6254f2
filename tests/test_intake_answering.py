"""Answers written into a column map, and nothing else of it changed."""

from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.intake import WrittenFile, propose_map
from qa_engine.intake.column_map.answering import answers_in, with_answers
from qa_engine.intake.column_map.telling_apart import may_tell_apart, told_apart, told_apart_by
from qa_engine.yaml_tree import read_yaml

MAP = """\
column_map: 1
answers:
  # Which comes first?
  date order: ???
  unit of TDS:
  "a: b": "old"
tables: []  # kept as it is
"""


def test_each_answer_stands_where_it_was_asked_for():
    said = {"date order": "day-month-year", "unit of TDS": "ppm", "a: b": "new", "strange": "x"}
    assert with_answers(MAP, said) == MAP.replace("???", '"day-month-year"').replace(
        "TDS:", 'TDS: "ppm"'
    ).replace('"old"', '"new"')


def test_an_empty_answer_opens_the_question_again():
    answered = with_answers(MAP, {"date order": "day-month-year"})
    assert answers_in(answered)["date order"] == "day-month-year"
    assert with_answers(answered, {"date order": " "}) == MAP


def test_what_is_no_map_has_no_answers():
    for text in ("", "[", "- 1", "answers: 3", "answers: {a: {b: c}}"):
        assert answers_in(text) == {}
        assert with_answers(text, {"a": "b"}) == text


@settings(deadline=None, max_examples=60)
@given(st.text(st.characters(min_codepoint=32, max_codepoint=0x2FFF), min_size=1))
def test_whatever_is_answered_is_one_text_and_changes_nothing_else(said):
    """Signs that no eye can see are refused by the reader; all others come back as they were."""
    document = read_yaml("map", with_answers(MAP, {"date order": said}).encode())
    if document.problems:
        assert "cannot be seen" in document.problems[0].message
        return
    known = "???" if not said.strip() else said.strip()
    assert document.data["answers"] == {
        "date order": known,
        "unit of TDS": None,
        "a: b": "old",
    }
    assert document.data["tables"] == []


def test_a_proposal_says_with_each_question_what_may_be_answered():
    lines = "Date,Tank,TDS out\n01/02/2026 08:00,T-1,3\n"
    questions = propose_map(WrittenFile("a.csv", lines.encode())).questions
    answers = {one.name: one.answers for one in questions}
    assert answers["date order"] == ("day-month-year", "month-day-year")
    assert answers["unit of TDS"] == ("ppm", "uS/cm")
    assert answers["time zone"] == ()
    assert all("day- month" not in one.text for one in questions)


def test_what_people_say_of_a_column_goes_before_what_is_guessed():
    lines = "Date,Tank,TDS out (ppm),Load,By\n2026-07-01T08:00Z,T-1,3,10,AB\n"
    told = {"Load": "outlet_tds", "By": "", "TDS out (ppm)": "inlet_tds", "Date": "at"}
    text = propose_map(WrittenFile("a.csv", lines.encode()), told=told).text
    asked = "field: outlet_tds or outlet_conductivity, unit: {answer: unit of TDS}}"
    assert f"{{head: Load, {asked}  # 10; as you said" in text
    assert "field: inlet_tds, unit: mg/L" in text
    assert "- By  # left out as you said" in text


def test_fields_that_tell_records_apart_are_written_into_each_table_that_fills_them():
    tables = (
        "tables:\n  - kind: reading\n    columns:\n      - {head: D, field: at}\n"
        "  - always: {tank: T-1}\n    columns:\n    - {head: E, field: by}\n"
    )
    said = told_apart(tables, ["at", "tank"])
    assert said == tables.replace(
        "reading\n    columns", "reading\n    record_from: [at]\n    columns"
    ).replace("T-1}\n    columns", "T-1}\n    record_from: [tank]\n    columns")
    assert told_apart_by(said) == ("at", "tank")
    assert told_apart(said, []) == tables
    assert may_tell_apart(tables) == ("at", "by", "tank")
    assert may_tell_apart(tables.replace("by", "record")) == ()
    assert may_tell_apart("[") == ()
