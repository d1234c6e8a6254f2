"""The charts of a tank: one specification for the script, the picture and the print."""

import json
import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import altair as alt
import polars as pl
import pytest

from qa_engine.demo import AS_OF
from qa_engine.forecast.one_tank import TankThroughTime
from qa_engine.web.office import now, office
from qa_engine.web.tanks.capacity import capacity_chart
from qa_engine.web.tanks.figures import Figures, figures_of
from qa_engine.web.tanks.outlet import outlet_chart

TANKS = [f"T{number:02}" for number in range(1, 13)]
ZONE = ZoneInfo("Europe/London")
NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
FORETOLD = {"limit": 20.0, "reached_low": None, "reached_high": None, "at_limit": False}


@pytest.fixture(scope="module")
def crew(site):
    return site.visitor("crew")


def figures(site, tank):
    """Return the figures of a tank and the state they are of."""
    with site.app.test_request_context("/"):
        state = office().lookout.state(now())
        return figures_of(tank, state), state


def cells(html, body):
    """Return the rows of a table's body, a list of texts each."""
    table = html.split(f'<tbody id="{body}">')[1].split("</tbody>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL)
    return [
        [re.sub(r"<[^>]+>", "", cell) for cell in re.findall(r"<td>(.*?)</td>", row, re.DOTALL)]
        for row in rows
    ]


@pytest.mark.parametrize("tank", TANKS)
def test_the_present_in_the_chart_is_what_the_fleet_says_of_the_tank(site, tank):
    found, state = figures(site, tank)
    known = state.tanks.filter(pl.col("tank") == tank).row(0, named=True)
    if known["left_median"] is None:
        assert found.time.used.is_empty()
        return
    last = found.time.used.row(-1, named=True)
    assert last["at"] == AS_OF
    assert last["low"] == pytest.approx(1 - known["left_high"], abs=1e-9)
    assert last["median"] == pytest.approx(1 - known["left_median"], abs=1e-9)
    assert last["high"] == pytest.approx(1 - known["left_low"], abs=1e-9)


@pytest.mark.parametrize("tank", TANKS)
def test_the_limit_that_holds_now_is_the_forecasts(site, tank):
    found, _ = figures(site, tank)
    last = found.time.limits.row(-1, named=True)
    assert last["until"] == AS_OF
    assert last["limit"] == found.foretold["limit"]
    assert last["rule"] == found.foretold["limit_rule"]
    assert last["edition"] == found.foretold["limit_edition"]


def test_the_chart_of_the_outlet_shows_the_readings_of_the_book_and_the_table_says_them(site, crew):
    since = AS_OF - timedelta(days=120)
    book = site.book.frames(items={"tank": ["T07"]}, kinds=["reading"])["reading"]
    book = book.filter(pl.col("at").is_between(since, AS_OF)).drop_nulls("outlet_tds")
    meant = book.sort("at", "record").select("record", "outlet_tds").rows()
    drawn = crew.get("/tanks/T07/outlet.json").json["datasets"]["readings"]
    assert [(row["record"], row["outlet"]) for row in drawn] == meant
    rows = cells(crew.get("/tanks/T07/figures").text, "readings")[::-1]
    assert [(row[3], row[1]) for row in rows] == [(r["record"], r["says"]) for r in drawn]
    assert len(meant) > 50


def test_the_chart_of_the_capacity_and_its_table_say_the_same(site, crew):
    found, _ = figures(site, "T01")
    drawn = crew.get("/tanks/T01/capacity.json").json["datasets"]
    page = crew.get("/tanks/T01/figures").text
    used = found.time.used
    assert [row["median"] for row in drawn["used"]] == used["median"].to_list()
    assert [[r["low"], r["high"]] for r in drawn["used"]] == [
        list(r) for r in used["low", "high"].rows()
    ]
    assert [row[2] for row in cells(page, "used")[::-1]] == [row["says"] for row in drawn["used"]]
    # The days ahead follow the present, from which their line begins.
    ahead = drawn["ahead"]
    assert ahead[0] == drawn["used"][-1]
    table = cells(page, "ahead")
    assert [row[2] for row in table][: len(ahead) - 1] == [row["says"] for row in ahead[1:]]
    assert len(table) == found.time.ahead.height == 91


def test_what_is_foretold_begins_at_the_present_and_never_falls(site):
    found, _ = figures(site, "T01")
    ahead, used = found.time.ahead, found.time.used.row(-1, named=True)
    assert ahead["day"][0] == date(2026, 7, 31)
    assert ahead["median"][0] >= used["median"]
    for end in ("low", "median", "high"):
        assert ahead[end].diff().drop_nulls().min() >= 0
    # The limit of 20 mg/L shows just before the bed is used up, so that the day on which one
    # scenario in two has reached it is no later than the one on which its median is used up.
    whole = ahead.filter(pl.col("median") >= 1)["day"][0]
    assert found.foretold["reached_median"] <= whole


@pytest.mark.parametrize("chart", ["outlet", "capacity"])
@pytest.mark.parametrize("narrow", ["", "?narrow=1"])
def test_a_chart_keeps_to_the_schema_of_its_grammar(crew, chart, narrow):
    alt.Chart.from_dict(crew.get(f"/tanks/T07/{chart}.json{narrow}").json, validate=True)


@pytest.mark.parametrize("chart", ["outlet", "capacity"])
def test_the_picture_stands_by_itself_light_and_dark_without_scripts(crew, chart):
    answer = crew.get(f"/tanks/T01/{chart}.svg")
    assert answer.mimetype == "image/svg+xml"
    assert answer.headers["Content-Security-Policy"].startswith(
        "default-src 'none'; style-src 'sha"
    )
    assert "<style>:root {" in answer.text
    assert "light-dark(" in answer.text
    for never in ("style=", "<script", "href=", "NaN"):
        assert never not in answer.text
    words = "limit 20" if chart == "outlet" else "used up by calculation"
    assert f">{words}<" in answer.text
    # Ticks are written out: 20, not 2e+1.
    assert ">20%<" in answer.text or ">20<" in answer.text
    assert ">resin change<" in answer.text


def test_a_browser_that_has_the_picture_is_not_sent_it_again(crew):
    answer = crew.get("/tanks/T01/outlet.svg")
    again = crew.get("/tanks/T01/outlet.svg", headers={"If-None-Match": answer.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert "private" in answer.headers["Cache-Control"]


def test_every_event_is_marked_and_named(crew):
    chart = crew.get("/tanks/T07/outlet.json").json
    marked = {(row["event"], row["record"]) for row in chart["datasets"]["events"]}
    assert ("resin change", "RC-T07-260611") in marked
    listed = {(row[1], row[3]) for row in cells(crew.get("/tanks/T07/figures").text, "events")}
    assert listed == marked


def test_the_charges_of_a_tank_are_listed_latest_first(crew):
    table = crew.get("/tanks/T07/figures").text.split('<h2 id="charges">')[1].split("</table>")[0]
    days = re.findall(r"<tr><td>([^<]*)</td><td>([^<]*)</td>", table)
    assert days[0] == ("11 Jun 2026", "in use")
    assert days[1][1] == "11 Jun 2026"


def test_the_prediction_is_explained_on_a_page_of_its_own(crew):
    page = crew.get("/tanks/T01/prediction").text
    assert "A litre spends 3.59 meq/L" in page
    # As the page of the tank has it: 1 - 0.3125 of the capacity is left.
    assert "which is 31.3 % (29.3 to 33.3) of it" in page
    assert "Nothing is predicted of tank T12" in crew.get("/tanks/T12/prediction").text


@pytest.mark.parametrize("what", ["outlet.json", "outlet.svg", "figures", "prediction"])
def test_a_tank_that_nobody_named_has_none_of_it(crew, site, what):
    assert crew.get(f"/tanks/T99/{what}").status_code == 404
    assert site.visitor().get(f"/tanks/T01/{what}").status_code == 302


def test_a_tank_whose_use_is_not_known_has_no_chart_of_it(crew):
    assert crew.get("/tanks/T12/capacity.json").status_code == 404
    assert "capacity.svg" not in crew.get("/tanks/T12").text
    assert "What its charge has used is not known." in crew.get("/tanks/T12/figures").text


def test_the_script_is_kept_for_ever_under_an_address_that_changes_with_it(crew, site):
    address = re.search(r'src="(/charts/[^"]*)"', crew.get("/tanks/T01").text)[1]
    answer = site.visitor().get(address, headers={"Accept-Encoding": "gzip"})
    assert answer.mimetype == "text/javascript"
    assert "immutable" in answer.headers["Cache-Control"]
    assert answer.headers["Content-Encoding"] == "gzip"
    assert len(answer.data) < 320_000
    plain = site.visitor().get(address)
    assert "vegaEmbed" in plain.text
    assert "Content-Encoding" not in plain.headers
    assert site.visitor().get("/charts/00000000000000000000.js").status_code == 404


def _figures(readings, limits=(), changes=(), **foretold):
    """Return figures of ``(day of June, mg/L, how sampled, charge)``, and limits by day of June."""
    instant = pl.Datetime("us", "UTC")
    june = [datetime(2026, 6, one[0], 12, tzinfo=UTC) for one in readings]
    read = pl.DataFrame(
        {
            "at": june,
            "record": [f"R{one[0]}" for one in readings],
            "outlet": [float(one[1]) for one in readings],
            "sampled": [one[2] for one in readings],
            "charge": [one[3] for one in readings],
        },
        schema={"at": instant, "record": pl.String, "outlet": pl.Float64}
        | dict.fromkeys(("sampled", "charge"), pl.String),
    )
    held = pl.DataFrame(
        [
            {
                "since": datetime(2026, 6, first, tzinfo=UTC),
                "until": NOON if last == 30 else datetime(2026, 6, last, tzinfo=UTC),
                "limit": float(limit),
                "rule": "outlet/low",
                "edition": edition,
            }
            for first, last, limit, edition in limits
        ],
        schema={"since": instant, "until": instant, "limit": pl.Float64}
        | dict.fromkeys(("rule", "edition"), pl.String),
    )
    happened = pl.DataFrame(
        [
            {"at": datetime(2026, 6, d, tzinfo=UTC), "record": f"C{d}", "kind": k, "which": w}
            for d, k, w in changes
        ],
        schema={"at": instant} | dict.fromkeys(("record", "kind", "which"), pl.String),
    )
    nothing = pl.DataFrame(schema={"median": pl.Float64})
    time = TankThroughTime(nothing, nothing, held, nothing)
    return Figures("T1", NOON, read, 0, happened, time, {**FORETOLD, **foretold})


def drawn(site, *args, **kw):
    with site.app.test_request_context("/"):
        return outlet_chart(_figures(*args, **kw), ZONE, narrow=False)


def test_a_limit_that_an_edition_changed_is_drawn_as_it_was_then(site):
    limits = [(1, 10, 30, "2026-05"), (10, 30, 20, "2026-06")]
    rows = drawn(site, [(5, 25, "flowing", "c")], limits)["datasets"]["limits"]
    assert [(row["limit"], row["rule"]) for row in rows] == [
        (30, "outlet/low, edition 2026-05"),
        (20, "outlet/low, edition 2026-06"),
    ]
    assert rows[0]["until"] == rows[1]["at"]


def test_the_line_leaves_out_water_that_stood(site):
    readings = [(1, 1, "flowing", "c"), (2, 90, "standing", "c"), (3, 1, None, "c")]
    rows = drawn(site, readings)["datasets"]["readings"]
    assert [row["flowing"] for row in rows] == [True, False, True]


def test_times_are_those_of_the_operators_clock_in_every_browser(site):
    rows = drawn(site, [(5, 25, "flowing", "c")])["datasets"]["readings"]
    # Noon in UTC is 13:00 in London in June; told as if it were UTC.
    assert rows[0]["at"] == datetime(2026, 6, 5, 13, tzinfo=UTC).timestamp() * 1000
    assert rows[0]["when"] == "5 Jun 2026, 13:00"


def test_events_at_one_instant_stand_one_above_the_other(site):
    events = [(5, "resin_change", "topped up"), (5, "seal_service", "head"), (6, "incident", None)]
    rows = drawn(site, [], (), events)["datasets"]["events"]
    assert len({row["height"] for row in rows}) == 3
    assert [row["which"] for row in rows] == ["topped up", "head", "not known"]


def test_the_days_on_which_the_limit_is_expected_end_with_the_chart_if_nobody_knows_better(site):
    chart = drawn(site, [], reached_low=date(2026, 7, 10), reached_high=None)
    (row,) = chart["datasets"]["expected"]
    first = datetime(2026, 7, 10, tzinfo=UTC).timestamp() * 1000
    assert row["at"] == first
    assert row["until"] == chart["layer"][0]["encoding"]["x"]["scale"]["domain"][1]
    assert row["when"] == "10 Jul 2026 or later"


def test_a_tank_without_readings_limits_or_events_is_drawn_all_the_same(site):
    assert drawn(site, [])["datasets"]["readings"] == []


def test_a_tank_whose_use_is_not_known_has_no_specification(site):
    with site.app.test_request_context("/"):
        assert capacity_chart(_figures([]), ZONE, narrow=False) is None


def test_a_script_in_a_records_name_stays_words_in_the_chart(site):
    figures = _figures([(5, 25, "flowing", "c")])
    evil = figures.readings.with_columns(record=pl.lit("<script>alert(1)</script>"))
    changed = Figures(**{**vars(figures), "readings": evil})
    with site.app.test_request_context("/"):
        from qa_engine.web.charts import drawn as picture

        chart = json.dumps(outlet_chart(changed, ZONE, narrow=False))
        assert "<script" not in picture(chart)
