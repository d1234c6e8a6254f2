"""Five tables as crews keep them, of an evidently invented operator, with the map proposed.

Puddlewick Coach Rinsing and everything about it is made up. Each table comes in with its proposed
map and at most three answers.
"""

import io
from datetime import date, datetime, time

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from qa_engine.intake import (
    WrittenFile,
    map_of,
    place_of,
    propose_map,
    read_register,
    read_with_map,
)

MOST_ANSWERS = 3
LITRES = 3.785411784
"""Litres in a gallon of the United States, by definition."""

REGISTER = """
operator: {{name: Puddlewick Coach Rinsing (invented), time_zone: {zone}}}
vans:
  - {{van: Dewfall, base: Duckpond Yard}}
  - {{van: Tidemark, base: Duckpond Yard}}
tanks:
  - {{tank: T-01, van: Dewfall, vessel_volume: 28 L}}
  - {{tank: T-02, van: Tidemark, vessel_volume: 28 L}}
meters:
  - {{meter: M-1, factor: 0.5}}
vehicle_classes:
  - {{vehicle_class: coach, water_per_rinse: 190 L}}
  - {{vehicle_class: minibus, water_per_rinse: 90 L}}
"""


@pytest.fixture
def register(tmp_path):
    def read(zone):
        path = tmp_path / "register.yaml"
        path.write_text(REGISTER.format(zone=zone), encoding="utf-8")
        return read_register(path)

    return read


def workbook(*sheets, epoch=None):
    """The bytes of a workbook: per sheet its name, its rows and its merged ranges."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    if epoch:
        book.epoch = epoch
    for name, rows, *merged in sheets:
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
        for span in merged:
            sheet.merge_cells(span)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def answered(proposed, **answers):
    """The map as it is after a person wrote the answers into it; keys with _ for blanks."""
    text = proposed.text
    assert len(proposed.questions) <= MOST_ANSWERS
    for question in proposed.questions:
        key = question.name.replace(" ", "_")
        assert key in answers, question
        old = f"{question.name}: ???"
        assert text.count(old) == 1
        text = text.replace(old, f"{question.name}: {answers.pop(key)}")
    assert not answers
    return map_of("map.yaml", text.encode())


def records(intake, kind, *names):
    frame = intake.frames[kind].sort("at", "record")
    return [
        tuple(f"{one:%d %b %H:%M}" if isinstance(one, datetime) else one for one in row)
        for row in frame.select(names).iter_rows()
    ]


def refused(intake):
    return [
        (place_of(row), row["field"], row["written"])
        for row in intake.refused.iter_rows(named=True)
    ]


def test_a_monthly_log_in_gallons_with_merged_heads_totals_and_notes(register):
    """Chicago is six hours behind UTC in January: 07:10 there is 13:10."""
    head = [
        ["Daily wash log, van Dewfall"],
        [],
        ["Date", "Time", "TDS (ppm)", None, "Vehicle", "Washed", "Water (gal)", "Remarks"],
        [None, None, "in", "out", None, None, None, None],
    ]
    january = [
        *head,
        [date(2026, 1, 5), time(7, 10), 182, 3, "Coaches", 2, 100, None],
        [date(2026, 1, 6), time(7, 20), 180, "n/a", "Minibus", 1, "85 L", "hose leaked"],
        [date(2026, 1, 7), time(7, 5), None, None, "Coach", 1, "12 bucks", None],
        ["Total", None, None, None, None, 4, 197],
        [],
        ["Jan. 8: no work, frost"],
    ]
    february = [*head, [date(2026, 2, 2), time(9, 0), 181, 4.5, "coach", 3, "1,050.5", None]]
    merged = ("A1:H1", "A3:A4", "B3:B4", "C3:D3", "E3:E4")
    content = workbook(
        ("January", january, *merged),
        ("February", february, *merged),
        ("Phone list", [["Depot", "555-0100"]]),
    )
    file = WrittenFile("log.xlsx", content)
    proposed = propose_map(file, register("America/Chicago"))
    assert proposed.questions == ()
    intake = read_with_map([file], answered(proposed))

    assert records(intake, "reading", "at", "van", "tank", "inlet_tds", "outlet_tds") == [
        ("05 Jan 13:10", "Dewfall", "T-01", 182, 3),
        ("06 Jan 13:20", "Dewfall", "T-01", 180, None),
        ("02 Feb 15:00", "Dewfall", "T-01", 181, 4.5),
    ]
    rinses = records(intake, "rinse", "at", "vehicle_class", "rinses", "water_used")
    assert rinses == [
        ("05 Jan 13:10", "coach", 2, pytest.approx(100 * LITRES)),
        ("06 Jan 13:20", "minibus", 1, 85),
        ("02 Feb 15:00", "coach", 3, pytest.approx(1050.5 * LITRES)),
    ]
    assert refused(intake) == [("log.xlsx: Sheet 'January'!G7", "water_used", "12 bucks")]
    assert any("totals (row 8)" in note for note in intake.notes)
    assert any("remarks (row 10)" in note for note in intake.notes)
    assert "Phone list" in proposed.sheets_left_out


def test_a_german_export_with_decimal_commas_in_an_old_encoding(register):
    """Berlin is an hour ahead of UTC before 29 March 2026 and two behind it."""
    lines = [
        "Spülbuch Wagen Tidemark;;;;;;;",
        "",
        "Datum;Uhrzeit;Leitwert (µS/cm) Eingang;Leitwert (µS/cm) Ausgang;Fahrzeugart;Anzahl;"
        "Wasser (Liter);Zählerstand (Liter)",
        "05.03.2026;07:30;410,5;6,2;Reisebus;2;380,5;12.345",
        "25.03.2026;08:00;412;7;Kleinbus;1;95;12.440,5",
        ";;;;;;;",
        "30.03.2026;7.15 Uhr;409;k.A.;Reisebus;1;192;12.632",
        "Summe;;;;;4;667,5;",
    ]
    file = WrittenFile("spuelbuch.csv", "\r\n".join(lines).encode("cp1252"))
    proposed = propose_map(file, register("Europe/Berlin"))
    column_map = answered(proposed, meaning_of_Reisebus="coach", meaning_of_Kleinbus="minibus")
    intake = read_with_map([file], column_map)

    names = ("at", "tank", "inlet_conductivity", "outlet_conductivity")
    assert records(intake, "reading", *names) == [
        ("05 Mar 06:30", "T-02", 410.5, 6.2),
        ("25 Mar 07:00", "T-02", 412, 7),
        ("30 Mar 05:15", "T-02", 409, None),
    ]
    assert records(intake, "rinse", "vehicle_class", "rinses", "water_used", "counter") == [
        ("coach", 2, 380.5, 12345),
        ("minibus", 1, 95, 12440.5),
        ("coach", 1, 192, 12632),
    ]
    assert refused(intake) == []
    assert "25.03.2026 in A5 has no other reading" in proposed.text
    assert "encoding: cp1252" in proposed.text


def test_a_sheet_per_van_whose_dates_and_units_only_a_person_can_tell(register):
    """4 March is before the clocks of London change: 09:00 there is 09:00 UTC."""
    head = ["Date", "Time", "TDS before", "TDS after", "By"]
    rows = [
        ["READINGS"],
        head,
        ["04/03/2026", "09:00", 180, 4, "AB"],
        [None, "16:30", 181, 6, "AB"],
        head,
        ["05/03/2026", "08:45", 182, "lots", "CD"],
    ]
    content = workbook(("Dewfall", rows, "A1:E1"), ("Tidemark", [*rows[:2], rows[2]]))
    file = WrittenFile("readings.xlsx", content)
    proposed = propose_map(file, register("Europe/London"))
    answers = {"date_order": "day-month-year", "unit_of_TDS": "uS/cm", "empty_cells_in_Date": "yes"}
    intake = read_with_map([file], answered(proposed, **answers))

    names = ("at", "van", "tank", "inlet_conductivity", "outlet_conductivity", "by")
    assert records(intake, "reading", *names) == [
        ("04 Mar 09:00", "Dewfall", "T-01", 180, 4, "AB"),
        ("04 Mar 09:00", "Tidemark", "T-02", 180, 4, "AB"),
        ("04 Mar 16:30", "Dewfall", "T-01", 181, 6, "AB"),
    ]
    assert refused(intake) == [("readings.xlsx: Sheet 'Dewfall'!D6", "outlet_conductivity", "lots")]


def test_a_resin_log_with_units_in_its_cells_and_words_of_its_own(register):
    """By hand: a cubic foot is 28.316846592 L; noon in Chicago in July is 17:00 UTC."""
    rows = [
        ["Resin changes", None, None, None],
        ["Day", "Tank no.", "Change", "Resin qty", "Lot", "Depressurized", "Leaks", "Flush (min)"],
        [date(2026, 7, 13), 1, "Refill", "1 ft3", "LOT-7", "x", "none", 6],
        [date(2026, 7, 14), 2, "topped up", "3,5 L", 4711, "x", "-", "5 min"],
        [date(2026, 7, 15), 2, "Swap", "28 liters", None, "yes", "head", 4],
    ]
    file = WrittenFile("resin.xlsx", workbook(("2026", rows, "A1:H1"), epoch=CALENDAR_MAC_1904))
    proposed = propose_map(file, register("America/Chicago"))
    intake = read_with_map([file], answered(proposed))

    names = ("at", "tank", "change", "resin_volume", "lot", "depressurised", "leak_seen")
    foot = pytest.approx(28.316846592)
    assert records(intake, "resin_change", *names) == [
        ("13 Jul 17:00", "T-01", "emptied and refilled", foot, "LOT-7", True, "none"),
        ("14 Jul 17:00", "T-02", "topped up", 3.5, "4711", True, None),
        ("15 Jul 17:00", "T-02", "tank exchanged", 28, None, True, "head"),
    ]
    assert intake.frames["resin_change"].sort("at")["flush_time"].to_list() == [6, 5, 4]
    assert refused(intake) == []
    assert "the table states days only" in proposed.text


def test_one_list_of_everything_that_was_done_told_apart_by_its_words(register):
    """14 March is after the change of clocks in Chicago: 8:05 am there is 13:05 UTC."""
    lines = [
        "When\tTruck\tWhat was done\tTDS out (ppm)\tWater used (gal)\tMeter\tNotes",
        "Mar 14, 2026 8:05 AM\tDewfall\tTDS check\t12.5\t\tM1\t",
        "3/14/2026 9:30 AM\tDewfall\tWash\t\t1,250\t\tcharter fleet",
        "3/15/26 1:15 pm\tTidemark\tResin swap\t\t\t\told tank was empty",
        "3/15/26 1:45 pm\tTidemark\tTea break\t\t\t\t",
        "3/16/26 1:45 pm\tTidemark\tTDS check\t1.5\t20\tM1\t",
    ]
    file = WrittenFile("everything.txt", "\n".join(lines).encode("utf-16"))
    proposed = propose_map(file, register("America/Chicago"))
    assert [one.name for one in proposed.questions] == ["meaning of Tea break"]
    column_map = answered(proposed, meaning_of_Tea_break="rinse")
    intake = read_with_map([file], column_map)

    assert records(intake, "reading", "at", "van", "tank", "outlet_tds", "meter") == [
        ("14 Mar 13:05", "Dewfall", "T-01", 12.5, "M-1")
    ]
    assert records(intake, "rinse", "at", "van", "tank", "water_used", "note") == [
        ("14 Mar 14:30", "Dewfall", "T-01", pytest.approx(1250 * LITRES), "charter fleet"),
        ("15 Mar 18:45", "Tidemark", "T-02", None, None),
    ]
    assert records(intake, "resin_change", "at", "tank", "note") == [
        ("15 Mar 18:15", "T-02", "old tank was empty")
    ]
    assert refused(intake) == [("everything.txt:6, column 'Water used (gal)'", "water_used", "20")]
    assert "12.5 in D2 has no other reading" in proposed.text
