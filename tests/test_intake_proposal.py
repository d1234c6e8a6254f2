"""Proposed column maps: what the data decide is decided, the rest is asked."""

import random

import pytest

from qa_engine.errors import IntakeError, QAEngineError
from qa_engine.intake import WrittenFile, map_of, propose_map, read_register, read_with_map

REGISTER = """
operator: {name: Puddlewick Coach Rinsing (invented), time_zone: Europe/London}
vans: [{van: Dewfall}, {van: Tidemark}]
tanks:
  - {tank: T-01, van: Dewfall}
  - {tank: T-02, van: Tidemark}
  - {tank: T-03, van: Tidemark}
vehicle_classes: [{vehicle_class: coach}, {vehicle_class: minibus}]
"""


@pytest.fixture
def register(tmp_path):
    (tmp_path / "register.yaml").write_text(REGISTER)
    return read_register(tmp_path / "register.yaml")


def proposed(register, *rows, name="a.csv"):
    return propose_map(WrittenFile(name, "\n".join([*rows, ""]).encode()), register)


def asked(column_map):
    return [one.name for one in column_map.questions]


READINGS = "Date;Time;Tank;TDS out (ppm)"


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (("03/04/2026", "25/03/2026"), "day-month-year"),
        (("03/04/2026", "03/25/2026"), "month-day-year"),
        (("03/04/2026", "04/04/2026"), None),
        (("25/03/2026", "03/25/2026"), None),  # they contradict each other
    ],
)
def test_the_order_of_dates_is_asked_for_unless_a_day_above_12_decides(register, dates, order):
    column_map = proposed(register, READINGS, *(f"{date};08:00;T-01;4" for date in dates))
    assert asked(column_map) == ([] if order else ["date order"])
    if order:
        assert f"date_order: {order}  # " in column_map.text


@pytest.mark.parametrize(
    ("numbers", "sign"),
    [
        (("1,234", "12,5"), "comma"),
        (("1,234", "1,234.5"), "point"),
        (("1,234", "2,345"), None),
        (("12,5", "12.5"), None),
        (("12", "14"), ""),
    ],
)
def test_the_decimal_sign_is_asked_for_unless_a_number_decides(register, numbers, sign):
    column_map = proposed(register, READINGS, *(f"25/03/2026;08:00;T-01;{n}" for n in numbers))
    assert asked(column_map) == (["decimal sign"] if sign is None else [])
    assert (f"decimal: {sign}  # " in column_map.text) == bool(sign)


def test_a_unit_is_asked_for_once_for_all_columns_of_a_sort(register):
    column_map = proposed(register, "Date;Tank;TDS in;TDS out", "25/03/2026;T-01;180;4")
    assert asked(column_map) == ["unit of TDS"]
    none = proposed(register, "Date;Tank;TDS in;TDS out", "25/03/2026;T-01;180 ppm;4 ppm")
    assert asked(none) == []


def test_which_water_is_asked_for_where_the_head_does_not_say(register):
    column_map = proposed(register, "Date;Tank;TDS (ppm)", "25/03/2026;T-01;180")
    assert asked(column_map) == ["field of TDS (ppm)"]
    answer = column_map.text.replace("???\n\n", "outlet_tds\n\n")
    assert map_of("m.yaml", answer.encode()).tables[0].columns[2].field == "outlet_tds"


def test_the_tank_is_asked_for_where_a_van_has_two(register):
    rows = ("Date;Van;Time;TDS out (ppm)", "25/03/2026;Tidemark;08:00;4")
    assert asked(proposed(register, *rows)) == ["tank in the file"]
    one = proposed(register, rows[0], rows[1].replace("Tidemark", "Dewfall"))
    assert asked(one) == []
    assert "field: tank, words: {Dewfall: T-01}" in one.text


def test_columns_of_counts_by_class_give_a_record_for_each_class(register):
    rows = ("Date;Tank;Coaches;Minibus", "25/03/2026;1;3;", "26/03/2026;1;2;5")
    column_map = proposed(register, *rows)
    assert asked(column_map) == []
    file = WrittenFile("a.csv", "\n".join(rows).encode())
    rinses = read_with_map([file], map_of("m.yaml", column_map.text.encode())).frames["rinse"]
    found = rinses.select("tank", "vehicle_class", "rinses").sort("vehicle_class", "rinses")
    assert found.rows() == [("T-01", "coach", 2), ("T-01", "coach", 3), ("T-01", "minibus", 5)]


def test_names_of_people_are_left_out(register):
    rows = ("Date;Tank;TDS out (ppm);Crew", "25/03/2026;T-01;4;Ada Invented")
    assert "- Crew  # these look like names" in proposed(register, *rows).text
    initials = proposed(register, rows[0], "25/03/2026;T-01;4;AI")
    assert "{head: Crew, field: by}" in initials.text


@pytest.mark.parametrize("rows", [("",), ("a;b", "1;2"), ("Tank;TDS", "T-01;4"), ("Date;Tank",)])
def test_what_is_no_table_of_records_is_told(register, rows):
    with pytest.raises(IntakeError, match=r"empty|nothing in it looks like a table"):
        propose_map(WrittenFile("a.csv", "\n".join(rows).encode()), register)


HEADS = ("Date", "Time", "Tank", "TDS in", "TDS out (ppm)", "Water", "Van", "By", "What", "Note")
CELLS = (
    *("25.03.2026", "03/04/26", "2026-03-25", "8:15", "8 am", "T-01", "1", "12,5", "1.234"),
    *("45 L", "Total", "-", "", "", "", "x", '"', "Dewfall", "Rinse", "# odd: {a}", "nul", "yes"),
    *("\N{LATIN SMALL LETTER E WITH ACUTE}", "'", "\N{NO-BREAK SPACE}", "???", "a\\b", "[", "&a"),
)


@pytest.mark.parametrize("seed", range(40))
def test_whatever_a_table_holds_a_proposal_is_a_map_that_can_be_read(register, seed):
    """Every question is answered with the first answer offered; nothing but our errors may come."""
    chance = random.Random(seed)
    heads = chance.sample(HEADS, chance.randint(3, len(HEADS)))
    rows = [[chance.choice(CELLS) for _ in heads] for _ in range(chance.randint(1, 12))]
    text = "\n".join(";".join(row) for row in [heads, *rows]).replace('"', "''")
    file = WrittenFile("a.csv", text.encode())
    try:
        column_map = propose_map(file, register)
    except IntakeError:
        return  # no dates in it, say: no table of records
    written = column_map.text
    for question in column_map.questions:
        answer = question.text.rpartition("Answer one of: ")[2].split(", ")[0].strip(".")
        written = written.replace("???\n", f"{answer if answer in question.text else 'T-01'}\n", 1)
    try:
        intake = read_with_map([file], map_of("m.yaml", written.encode()))
    except QAEngineError as error:
        pytest.fail(f"{error}\n\n{written}")
    assert intake.read == intake.accepted + intake.refused_rows + intake.repeated
