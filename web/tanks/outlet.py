"""The chart of a tank's outlet over time, with the limits of the editions in force."""

from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from qa_engine.web.language import translated
from qa_engine.web.shown import amount
from qa_engine.web.tanks.figures import BACK, Figures
from qa_engine.web.tanks.paper import (
    STOP,
    WATER,
    Layers,
    Paper,
    Rows,
    chart_of,
    last_shown,
    marked_rows,
    told,
)

ABOVE = 1.3
"""How much room the chart leaves above its highest value, as a factor."""

FLOWING = (None, "flowing")
"""How readings were sampled that were not said to come from water that stood or came first."""


def outlet_chart(figures: Figures, zone: ZoneInfo, *, narrow: bool) -> dict[str, Any]:
    """Return the specification of the chart of the outlet."""
    limits, values = figures.time.limits, figures.readings["outlet"]
    paper = Paper(
        figures.as_of - BACK,
        last_shown(figures.foretold, figures.as_of, zone),
        max(*limits["limit"], *values, 1.0, 1.0) * ABOVE,
        translated("outlet TDS, mg/L"),
        "~f",
        zone,
        narrow,
    )
    rows = {
        "limits": _limit_rows(figures, paper),
        "readings": _reading_rows(figures, paper),
        **marked_rows(figures, paper),
    }
    marked = paper.marked(rows["events"])
    return paper.finished([*_limits(paper), *marked, *_readings(paper)], rows)


def _reading_rows(figures: Figures, paper: Paper) -> Rows:
    return [
        {
            "at": paper.wall(row["at"]),
            "outlet": row["outlet"],
            "charge": row["charge"],
            "flowing": row["sampled"] in FLOWING,
            "says": amount(row["outlet"], "mg/L"),
            "sampled": translated(row["sampled"] or "not stated"),
            "when": paper.said(row["at"]),
            "record": row["record"],
        }
        for row in figures.readings.to_dicts()
    ]


def _limit_rows(figures: Figures, paper: Paper) -> Rows:
    """Return the limits; the one in force now holds to the right edge."""
    return [
        {
            "at": paper.wall(row["since"]),
            "until": paper.wall(paper.end if row["until"] == figures.as_of else row["until"]),
            "limit": row["limit"],
            "says": amount(row["limit"], "mg/L"),
            "word": f"{translated('limit')} {row['limit']:g}",
            "rule": f"{row['rule']}, {translated('edition')} {row['edition']}",
        }
        for row in figures.time.limits.to_dicts()
    ]


def _limits(paper: Paper) -> Layers:
    chart = chart_of("limits")
    x, y = paper.x(), paper.y("limit")
    tooltip = told(says=translated("Limit"), rule=translated("Rule"))
    return [
        chart.mark_rect(fill="var(--stop-pale)", opacity=0.6, clip=True).encode(
            x=x, x2="until:Q", y=y, y2=alt.Y2Datum(paper.top), tooltip=tooltip
        ),
        chart.mark_rule(stroke=STOP, strokeWidth=2, clip=True).encode(
            x=x, x2="until:Q", y=y, tooltip=tooltip
        ),
        chart.mark_text(
            fill=STOP, align="left", dx=4, dy=-7, fontWeight="bold", fontSize=12
        ).encode(x=x, y=y, text="word:N"),
    ]


def _readings(paper: Paper) -> Layers:
    """Return a line per charge through flowing water, the readings, and room to point at them."""
    chart = chart_of("readings")
    x, y = paper.x(), paper.y("outlet")
    flowing = "datum.flowing"
    tooltip = told(
        says=translated("Outlet"),
        sampled=translated("Sampled"),
        when=translated("When"),
        record=translated("Record"),
    )
    return [
        chart.transform_filter(flowing)
        .mark_line(stroke=WATER, strokeWidth=2)
        .encode(x=x, y=y, detail="charge:N"),
        chart.transform_filter(flowing)
        .mark_circle(fill=WATER, opacity=1, size=36)
        .encode(x=x, y=y),
        chart.transform_filter("!datum.flowing")
        .mark_point(fill="var(--sheet)", stroke=WATER, strokeWidth=1.5, opacity=1, size=55)
        .encode(x=x, y=y),
        chart.mark_circle(size=400, opacity=0).encode(x=x, y=y, tooltip=tooltip),
    ]
