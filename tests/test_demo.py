"""The demo fleet: the same for the same seed, valid throughout, and blemished as documented."""

from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import yaml

from qa_engine.demo import AS_OF, PLANTED, DemoFleet, write_demo
from qa_engine.demo.blemishes import Mishaps
from qa_engine.demo.changes import SEALS, freeboard_mm
from qa_engine.demo.fleet import FIRST_DAY, LARGE, LAST_DAY, SMALL, SOURCES, TANKS, VANS, ZONE
from qa_engine.demo.simulation import Bed, TrueWater, breakthrough
from qa_engine.demo.working_days import DAYS, next_working_day, works
from qa_engine.intake import Intake, read_records
from qa_engine.plugins import starter_rules
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Operator

SAME_INSTANT = ("tank", "at")


@pytest.fixture(scope="module")
def fleet(tmp_path_factory) -> DemoFleet:
    return write_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def intake(fleet) -> Intake:
    return read_records(fleet.records)


@pytest.fixture(scope="module")
def logged(intake):
    """Give the records of a kind with every field, those of an item only if one is named."""

    def of(kind: str, item: str | None = None, since: date = FIRST_DAY) -> pl.DataFrame:
        frame = intake.frames[kind].filter(pl.col("at") >= local(since))
        for name, field in KINDS[kind].fields.items():
            if name not in frame.columns:
                frame = frame.with_columns(pl.lit(None, field.dtype).alias(name))
        if item is not None:
            about = pl.col(KINDS[kind].item)
            where = about == item if kind != "rinse" else (about == item) | (pl.col("van") == item)
            frame = frame.filter(where)
        return frame.sort("at", "record")

    return of


def local(day: date, hour: int = 0) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=ZONE).astimezone(UTC)


def blemish(name: str):
    return next(one for one in PLANTED if one.name == name)


def only(frame: pl.DataFrame) -> dict:
    assert frame.height == 1
    return frame.row(0, named=True)


def test_the_same_seed_gives_the_same_bytes(fleet, tmp_path):
    again = write_demo(tmp_path)
    for one, other in zip(
        (*fleet.records, fleet.register), (*again.records, again.register), strict=True
    ):
        assert one.read_bytes() == other.read_bytes()


def test_another_seed_gives_other_records_and_the_same_register(fleet, tmp_path):
    other = write_demo(tmp_path, seed=1)
    assert other.records[0].read_bytes() != fleet.records[0].read_bytes()
    assert other.register.read_bytes() == fleet.register.read_bytes()


def test_every_row_is_accepted(intake):
    assert intake.refused.is_empty()
    assert intake.notes == ()
    assert intake.read == intake.accepted
    assert 8_000 <= intake.accepted <= 12_000
    assert set(intake.frames) == set(KINDS)


def test_the_register_is_accepted_by_its_schemas(fleet):
    """``BaseLoader`` leaves every scalar as it was written, as the register's reader does."""
    tables = yaml.load(fleet.register.read_text(), yaml.BaseLoader)
    operator = tables.pop("operator")
    assert Operator().load(operator)["time_zone"] == str(ZONE)
    assert set(tables) == set(TABLES)
    loaded = {
        name: [TABLES[name].schema().load(row) for row in rows] for name, rows in tables.items()
    }
    assert {row["van"] for row in loaded["tanks"]} == {van.van for van in VANS}
    assert [row["from"] for row in loaded["tanks"] if "from" in row] == [date(2025, 11, 3)]


def test_records_lie_within_the_eighteen_months_and_carry_the_local_offset(fleet, intake):
    for frame in intake.frames.values():
        assert frame["at"].min() >= local(FIRST_DAY)
        assert frame["at"].max() <= AS_OF
    rinses = pl.read_csv(fleet.records[0])["at"]
    for written in rinses.gather_every(97):
        moment = datetime.fromisoformat(written)
        assert moment.utcoffset() == moment.astimezone(ZONE).utcoffset()


def test_the_fleet_is_as_large_as_the_documentation_says():
    assert len(VANS) == 7
    assert len(TANKS) == 12
    assert len({van.base for van in VANS}) == 3


def test_every_tank_begins_with_a_charge_on_record(logged):
    for plan in TANKS:
        first = logged("resin_change", plan.tank).row(0, named=True)
        for kind in ("reading", "rinse", "seal_service", "vessel_service"):
            assert logged(kind, plan.tank)["at"].min() >= first["at"]


def test_the_counter_moves_by_the_water_logged(logged):
    """Readings and flushing draw a little beside the rinses, so each charge agrees within 10 %."""
    for plan in TANKS:
        changes = logged("resin_change", plan.tank)["at"].to_list()
        for begin, end in pairwise(changes):
            rinses = logged("rinse", plan.tank).filter(pl.col("at").is_between(begin, end))
            first, last = rinses["counter"].min(), rinses["counter"].max()
            before_first = rinses["water_used"][0]
            counted = last - first + before_first
            assert rinses["water_used"].sum() == pytest.approx(counted, rel=0.1)


def test_no_counter_runs_backwards(logged):
    for plan in TANKS:
        seen = pl.concat(
            logged(kind, plan.tank).select("at", "counter")
            for kind in ("rinse", "reading", "resin_change")
        ).sort("at", "counter")
        assert (seen["counter"].diff().drop_nulls() >= 0).all()


def test_a_van_logs_on_every_working_day_unless_stood_down(logged):
    for van in VANS:
        days = set(logged("rinse", van.van)["at"].dt.convert_time_zone(str(ZONE)).dt.date())
        silent = blemish("silent van")
        expected = {
            day
            for day in DAYS
            if works(van.van, day) and not (van.van == silent.item and day >= silent.first)
        }
        assert days == expected


def test_spent_resin_handed_on_is_what_was_taken_out(logged):
    """Over all, a base hands on no more than the refills took out there."""
    for base in ("Fernstep", "Upper Kettle"):
        vans = [van.van for van in VANS if van.base == base]
        changes = logged("resin_change").sort("tank", "at")
        taken_out = changes.with_columns(
            pl.col("resin_volume").shift(1).over("tank").alias("old")
        ).filter(pl.col("van").is_in(vans) & (pl.col("change") == "emptied and refilled"))
        last = logged("disposal", base)["at"].max()
        expected = taken_out.filter(pl.col("at") < last)["old"].sum()
        assert logged("disposal", base)["resin_volume"].sum() == pytest.approx(expected)


def test_meters_are_checked_within_thirty_days(logged):
    for van in VANS:
        at = logged("meter_check", van.meter)["at"]
        assert at.diff().max().total_seconds() / 86_400 <= 30


def test_most_charges_are_changed_before_the_house_limit(logged):
    before = logged("resin_change")["outlet_tds_before"]
    assert (before < 20).mean() > 0.85
    assert (logged("resin_change")["outlet_tds_after"] <= 1).all()


def test_breakthrough_under_film_control():
    """N = 20: an outlet of 5 % at T = 1 + (1 + ln 0.05)/20 = 0.900213; all through at 1.05."""
    assert breakthrough(0.900213, 20) == pytest.approx(0.05, rel=1e-5)
    assert breakthrough(1.05, 20) == pytest.approx(1)
    assert breakthrough(1.2, 20) == 1
    assert breakthrough(0.0, 20) == pytest.approx(np.exp(-20))


def test_a_bed_keeps_count_of_what_came_in():
    """Fernstep at 330 uS/cm, 6 parts bicarbonate to 4: 330/(0.6*92.4 + 0.4*121.3) = 3.1741 meq/L.

    Carbon dioxide 3.1741 * 0.6 * 10^(6.352 - 7.4) = 0.1706, silica 9/60.084 = 0.1498: 3.4945.
    """
    water = TrueWater(SOURCES[0], 330.0, 15.0)
    bed = Bed(resin_l=18.0, capacity_eq=9.0, units=20.0)
    bed.feed(1000.0, water)
    assert bed.fed_eq == pytest.approx(3.4945, abs=5e-4)
    assert bed.used == pytest.approx(3.4945 / 9, abs=1e-4)


def test_freeboard_follows_from_the_shell():
    """(33 - 25) L over pi/4 * 20 cm squared = 8000/314.159 cm = 254.6 mm."""
    assert freeboard_mm(LARGE, 25.0) == 255
    assert SMALL.freeboard_min_mm < freeboard_mm(SMALL, SMALL.charge_l) < SMALL.freeboard_max_mm


def test_working_days_leave_out_weekends_and_the_winter_closure():
    assert works("Mizzle", date(2025, 12, 23))
    assert not works("Mizzle", date(2025, 12, 24))
    assert next_working_day("Mizzle", date(2025, 12, 23)) == date(2026, 1, 2)
    assert not works("Rill", date(2025, 11, 12))
    assert works("Mizzle", date(2025, 11, 12))
    assert not works("Mizzle", date(2026, 7, 25))


def test_a_single_mishap_strikes_once_and_a_lasting_one_until_it_is_over():
    mishaps = Mishaps()
    assert not mishaps.strikes("half charge", "T01", date(2026, 5, 10))
    assert mishaps.strikes("half charge", "T01", date(2026, 5, 20))
    assert not mishaps.strikes("half charge", "T01", date(2026, 5, 21))
    assert not mishaps.strikes("half charge", "T02", date(2026, 5, 21))
    assert mishaps.strikes("missed readings", "Rill", date(2026, 6, 15))
    assert mishaps.strikes("missed readings", "Rill", date(2026, 6, 26))
    assert not mishaps.strikes("missed readings", "Rill", date(2026, 6, 27))
    with pytest.raises(KeyError):
        mishaps.strikes("meteorite", "T01", date(2026, 6, 1))


def test_planted_blemishes_name_shipped_rules_and_registered_items():
    (folder,) = starter_rules.qa_rule_folders()
    shipped = "".join(f.read_text() for f in folder.iterdir() if f.name.endswith(".yaml"))
    items = {van.van for van in VANS} | {van.base for van in VANS}
    items |= {van.meter for van in VANS} | {plan.tank for plan in TANKS}
    for one in PLANTED:
        assert f"- rule: {one.rule}\n" in shipped
        assert one.item in items
        assert FIRST_DAY < one.first <= (one.last or LAST_DAY) <= LAST_DAY


def test_missed_readings_leave_many_rinses_without_one(logged):
    one = blemish("missed readings")
    during = pl.col("at").is_between(local(one.first), local(one.last, 23))
    assert logged("reading").filter(during & (pl.col("van") == one.item)).is_empty()
    assert logged("rinse", one.item).filter(during)["rinses"].sum() > 2 * 12


def test_the_drifting_meter_fails_its_check_and_no_other_does(logged):
    checks = logged("meter_check").with_columns(
        error=(pl.col("shown_before") / pl.col("standard_conductivity") - 1).abs()
    )
    assert only(checks.filter(pl.col("error") > 0.1))["meter"] == blemish("drifting meter").item
    assert (checks["shown_after"] / checks["standard_conductivity"] - 1).abs().max() < 0.05


def test_one_change_lacks_its_lubrication(logged):
    changes = logged("resin_change").join(
        logged("seal_service"), on=SAME_INSTANT, how="anti", maintain_order="left"
    )
    assert only(changes)["tank"] == blemish("skipped lubrication").item


def test_petroleum_was_used_once(logged):
    wrong = only(logged("seal_service").filter(pl.col("lubricant") == "petroleum"))
    assert (wrong["tank"], wrong["seal"]) == (blemish("petroleum lubricant").item, "head")


def test_one_vessel_is_overdue(logged):
    """The shortest stated interval governs, so each service and authority counts by itself."""
    last = (
        logged("vessel_service")
        .group_by("tank", "service", "authority")
        .agg(pl.col("next_due").last())
    )
    late = last.filter(pl.col("next_due") < LAST_DAY)
    assert only(late)["tank"] == blemish("overdue vessel").item


def test_one_vessel_service_lacks_its_authority(logged):
    blank = only(logged("vessel_service").filter(pl.col("authority").is_null()))
    assert blank["tank"] == blemish("service without authority").item


def test_the_dropped_tank_was_used_before_any_examination(logged):
    drop = only(logged("incident").filter(pl.col("incident") == "drop"))
    assert drop["tank"] == blemish("dropped tank").item
    used = logged("rinse", drop["tank"]).filter(pl.col("at") > drop["at"])
    assert used.height > 0
    looked_at = logged("vessel_service", drop["tank"]).filter(pl.col("at") > drop["at"])
    assert looked_at.is_empty()


def test_the_frozen_tank_was_dealt_with_as_one_should(logged):
    frost = only(logged("incident").filter(pl.col("incident") == "freeze"))
    out, back = only(logged("out_of_use", frost["tank"])), only(logged("return_to_use", "T04"))
    assert out["basis"] == frost["record"]
    assert back["basis"] in logged("vessel_service", frost["tank"])["record"].to_list()
    between = pl.col("at").is_between(out["at"], back["at"])
    assert logged("rinse", frost["tank"]).filter(between).is_empty()


def test_the_silent_van_says_nothing_in_the_last_week(logged):
    one = blemish("silent van")
    for kind in KINDS:
        frame = logged(kind, since=one.first)
        assert frame.filter(pl.col("van") == one.item).is_empty()


def test_one_riser_was_not_checked(logged):
    missed = only(logged("resin_change").filter(~pl.col("riser_checked")))
    assert missed["tank"] == blemish("riser not checked").item


def test_the_overrun_tank_stands_past_the_stop_limit(logged):
    last = logged("reading", blemish("resin overrun").item).row(-1, named=True)
    assert last["outlet_tds"] >= 30
    assert logged("rinse", last["tank"])["at"].max() < last["at"]
    assert logged("resin_change", last["tank"])["at"].max() < last["at"]


def test_one_base_holds_its_spent_resin(logged):
    late = {
        base: (AS_OF - logged("disposal", base)["at"].max()).days
        for base in {van.base for van in VANS}
    }
    assert {base for base, days in late.items() if days > 90} == {blemish("spent resin held").item}


def test_one_disposal_names_no_local_rule(logged):
    blank = only(logged("disposal").filter(pl.col("local_rule").is_null()))
    assert blank["base"] == blemish("disposal without local rule").item


def test_pressure_stood_above_the_plate_once(logged):
    plates = {plan.tank: plan.size.rated_pressure_kpa for plan in TANKS}
    plate = pl.col("tank").replace_strict(plates)
    above = only(logged("rinse").filter(pl.col("static_pressure") > plate))
    assert above["tank"] == blemish("pressure above the plate").item
    assert above["inlet_pressure"] < plates[above["tank"]]


def test_a_half_charge_was_loaded_once(logged):
    full = {plan.tank: plan.size.charge_l for plan in TANKS}
    share = pl.col("resin_volume") / pl.col("tank").replace_strict(full)
    short = only(logged("resin_change").filter(share < 0.9))
    assert short["tank"] == blemish("half charge").item


def test_one_vehicle_was_washed_with_deionised_water(logged):
    washed = only(logged("rinse").filter(pl.col("purpose") != "rinse"))
    assert washed["tank"] == blemish("washed with deionised water").item


def test_the_silent_vans_complaint_has_no_reading_after_it(logged):
    van = blemish("complaint without reading").item
    last = logged("complaint", van).row(-1, named=True)
    assert last["at"] >= local(blemish("complaint without reading").first)
    readings = logged("reading").filter(pl.col("van") == van)
    assert readings["at"].max() < last["at"]


def test_every_other_complaint_is_followed_by_a_reading_of_its_van(logged):
    missed = blemish("missed readings")
    for row in logged("complaint").iter_rows(named=True):
        in_the_fortnight = local(missed.first) <= row["at"] <= local(missed.last, 23)
        if row["van"] == "Spindrift" and row["at"] >= local(date(2026, 7, 24)):
            continue
        after = logged("reading").filter(
            (pl.col("van") == row["van"])
            & pl.col("at").is_between(row["at"], row["at"] + pl.duration(days=2))
        )
        assert after.height > 0 or (in_the_fortnight and row["van"] == missed.item)


def test_one_head_seal_was_not_renewed_and_all_other_seals_were(logged):
    renewed = logged("seal_service").filter(pl.col("replaced"))
    for plan in TANKS:
        for seal in SEALS:
            last = renewed.filter((pl.col("tank") == plan.tank) & (pl.col("seal") == seal))["at"]
            late = (AS_OF - last.max()).days > 365
            assert late == (plan.tank == blemish("head seal not renewed").item and seal == "head")


def test_one_rinse_names_nobody(logged):
    nameless = only(logged("rinse").filter(pl.col("by").is_null()))
    assert nameless["tank"] == blemish("rinse without a name").item


def test_one_reading_does_not_say_how_it_was_sampled(logged):
    blank = only(logged("reading").filter(pl.col("sampled").is_null()))
    assert blank["tank"] == blemish("sampling left blank").item


def test_one_tank_has_a_grade_that_no_model_speaks_for(logged):
    latest = logged("resin_change").group_by("tank").agg(pl.col("grade").last())
    other = latest.filter(pl.col("grade") != "standard mixed bed")
    assert only(other)["tank"] == blemish("grade without a model").item


def test_the_files_say_that_all_is_invented(fleet):
    folder: Path = fleet.register.parent
    assert "invented" in (folder / "README.txt").read_text()
    assert "invented" in fleet.register.read_text()
