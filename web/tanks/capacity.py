"""The chart of the capacity that a tank's charge used, and of what it will have used."""

from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from qa_engine.web.language import translated
from qa_engine.web.shown import day
from qa_engine.web.tanks.figures import Figures
from qa_engine.web.tanks.paper import (
    INK,
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

LEAST_TOP, MOST_TOP = 1.3, 2.0
"""Up to which share the chart shows [1]."""

LEAST_AHEAD = timedelta(days=14)


def capacity_chart(figures: Figures, zone: ZoneInfo, *, narrow: bool) -> dict[str, Any] | None:
    """Return the specification of the chart of the capacity used, None where it is not known."""
    used = figures.time.used
    if used.is_empty():
        return None
    end = last_shown(figures.foretold, figures.as_of, zone)
    if figures.time.ahead.height and end < figures.as_of + LEAST_AHEAD:
        end = figures.as_of + LEAST_AHEAD
    begin = min(used["at"][0], figures.as_of - timedelta(days=1))
    top = min(max(LEAST_TOP, *used["high"] * LEAST_TOP), MOST_TOP)
    paper = Paper(begin, end, top, translated("capacity used"), ".0%", zone, narrow)
    rows = {
        "used": _used_rows(figures, paper),
        "ahead": _ahead_rows(figures, paper),
        "whole": [{"at": paper.wall(begin), "word": translated("used up by calculation")}],
        **marked_rows(figures, paper),
    }
    ahead = _shares("ahead", paper, 0.3, strokeDash=[6, 4])
    marked = paper.marked(rows["events"])
    return paper.finished([*_whole(paper), *marked, *ahead, *_shares("used", paper, 0.45)], rows)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _row(at: float, when: str, row: dict[str, Any]) -> dict[str, Any]:
    shares = {name: row[name] for name in ("low", "median", "high")}
    band = f"{_percent(row['low'])} – {_percent(row['high'])}"  # noqa: RUF001
    return {"at": at, **shares, "when": when, "says": _percent(row["median"]), "band": band}


def _used_rows(figures: Figures, paper: Paper) -> Rows:
    return [
        _row(paper.wall(row["at"]), paper.said(row["at"]), row)
        for row in figures.time.used.to_dicts()
    ]


def _ahead_rows(figures: Figures, paper: Paper) -> Rows:
    """Return the coming days that stand on the paper, each at its end, joined to the present."""
    if figures.time.ahead.is_empty():
        return []
    rows = []
    for row in figures.time.ahead.drop_nulls("median").to_dicts():
        at = datetime.combine(row["day"] + timedelta(days=1), time(), paper.zone)
        if at <= paper.end:
            rows.append(_row(paper.wall(at), day(row["day"]), row))
    return [_used_rows(figures, paper)[-1], *rows]


def _whole(paper: Paper) -> Layers:
    """Return a line where the capacity is used up by calculation."""
    chart = chart_of("whole")
    line = chart.mark_rule(stroke=STOP, strokeWidth=2).encode(y=alt.YDatum(1))
    text = chart.mark_text(
        fill=STOP, align="left", dx=4, dy=-7, fontWeight="bold", fontSize=12
    ).encode(x=paper.x(), y=alt.YDatum(1), text="word:N")
    return [line, text]


def _shares(rows: str, paper: Paper, opacity: float, **line: Any) -> Layers:
    """Return a band, the line of its medians, and room to point at them."""
    chart = chart_of(rows)
    x = paper.x()
    tooltip = told(says=translated("Used"), band=translated("8 in 10"), when=translated("When"))
    return [
        chart.mark_area(fill=WATER, opacity=opacity, clip=True).encode(
            x=x, y=paper.y("low"), y2="high:Q"
        ),
        chart.mark_line(stroke=INK, strokeWidth=2, clip=True, **line).encode(
            x=x, y=paper.y("median")
        ),
        chart.mark_circle(size=400, opacity=0, clip=True).encode(
            x=x, y=paper.y("median"), tooltip=tooltip
        ),
    ]
