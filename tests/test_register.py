"""The register's tables and the instants from which their rows hold."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from qa_engine.register import BEGINNING, TABLES, Register, day_start


def test_a_day_starts_at_midnight_of_its_zone():
    """By hand: Berlin in winter is an hour ahead of UTC, in summer two."""
    berlin = ZoneInfo("Europe/Berlin")
    assert day_start(date(2026, 1, 10), berlin) == datetime(2026, 1, 9, 23, tzinfo=UTC)
    assert day_start(date(2026, 7, 10), berlin) == datetime(2026, 7, 9, 22, tzinfo=UTC)


def test_a_day_without_a_midnight_starts_when_the_clocks_have_moved_on():
    """In Beirut 2022-03-27 began at 01:00 summer time, an hour that is 22:00 UTC."""
    found = day_start(date(2022, 3, 27), ZoneInfo("Asia/Beirut"))
    assert found == datetime(2022, 3, 26, 22, tzinfo=UTC)


def test_a_row_without_a_first_day_holds_from_the_beginning():
    assert day_start(None, ZoneInfo("Etc/UTC")) == BEGINNING


def test_rows_are_sorted_by_id_and_first_day():
    rows = [{"van": "V2"}, {"van": "V1", "from": date(2026, 1, 1)}, {"van": "V1"}]
    frame = TABLES["vans"].frame(rows, ZoneInfo("Etc/UTC"))
    assert frame.select("van", "holds_from").rows() == [
        ("V1", BEGINNING),
        ("V1", datetime(2026, 1, 1, tzinfo=UTC)),
        ("V2", BEGINNING),
    ]


@pytest.mark.parametrize("name", TABLES)
def test_a_table_that_the_register_lacks_is_empty_with_all_its_columns(name):
    register = Register("Invented Rinse", ZoneInfo("Etc/UTC"), {})
    columns = {one for one in TABLES[name].fields if one != "from"} | {"holds_from"}
    assert set(register.table(name).columns) == columns
    assert register.table(name).is_empty()


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_the_id_of_a_row_is_its_only_required_field(table):
    assert {name for name, field in table.fields.items() if field.required} == {table.key}
