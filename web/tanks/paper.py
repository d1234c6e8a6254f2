"""What the charts of a tank are drawn on: their axes, their colours, what both of them mark."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt

from qa_engine.web.language import translated
from qa_engine.web.shown import NOT_KNOWN, day
from qa_engine.web.tanks.figures import Figures

WIDE, NARROW = 640, 350
HEIGHT = 260
HIGHEST, LOWER = 0.97, 0.055
"""At which share of the height the first kind of event stands, and by how much each next is lower,
so that a seal replaced while the resin is changed hides neither. What is drawn stays below all
four."""

MS = 1000
STEPS = (1, 2, 3, 7, 14, 28, 56, 112, 365, 3650, 36500)
"""How far apart the days on the axis may stand [d]."""

MOST_DAYS, MOST_DAYS_NARROW = 10, 5
AHEAD = timedelta(days=45)
"""How far ahead of the present a chart looks at most."""

MARKS = {
    "resin_change": ("resin change", "triangle-down", "var(--care)"),
    "seal_service": ("seal service", "square", "var(--quiet)"),
    "vessel_service": ("vessel service", "diamond", "var(--water)"),
    "incident": ("incident", "cross", "var(--stop)"),
}
"""The word, the shape and the colour of each kind of event."""

WATER, STOP, QUIET, INK = "var(--water)", "var(--stop)", "var(--quiet)", "var(--ink)"
Rows = list[dict[str, Any]]
Layers = list[alt.Chart]


@dataclass(frozen=True)
class Paper:
    """The paper of one chart; colours have the names that the style sheet gives them.

    Attributes:
        begin, end: the instants at its left and right edge.
        top: the value at its upper edge.
        title, form: what the values are, and how they are written.
        zone: in which times are read.
        narrow: whether it is for a phone.
    """

    begin: datetime
    end: datetime
    top: float
    title: str
    form: str
    zone: ZoneInfo
    narrow: bool

    def wall(self, at: datetime | date) -> float:
        """Return what the clock on the wall shows [ms], so that no browser tells it by its own."""
        if not isinstance(at, datetime):
            at = datetime.combine(at, time(), self.zone)
        return at.astimezone(self.zone).replace(tzinfo=UTC).timestamp() * MS

    def said(self, at: datetime) -> str:
        """Return an instant for reading."""
        here = at.astimezone(self.zone)
        return f"{day(here)}, {here:%H:%M}"

    def x(self) -> alt.X:
        """Return the axis of time, of the field ``at``."""
        return alt.X(
            "at:Q",
            title=None,
            scale=alt.Scale(domain=[self.wall(self.begin), self.wall(self.end)], nice=False),
            axis=alt.Axis(
                values=self._days(),
                labelExpr="utcFormat(datum.value, '%-d %b')",
                labelOverlap=True,
                grid=False,
            ),
        )

    def _days(self) -> list[float]:
        """Return the beginnings of some days, evenly apart, the last of them last."""
        first, last = (at.astimezone(self.zone).date() for at in (self.begin, self.end))
        most = MOST_DAYS_NARROW if self.narrow else MOST_DAYS
        step = next(n for n in STEPS if (last - first).days <= n * most)
        return [self.wall(last - timedelta(days=n)) for n in range(0, (last - first).days, step)]

    def y(self, field: str) -> alt.Y:
        """Return the axis of values, from 0, of a field."""
        return alt.Y(
            f"{field}:Q",
            title=self.title,
            scale=alt.Scale(domain=[0, self.top], nice=False),
            axis=alt.Axis(tickCount=5, format=self.form),
        )

    def marked(self, events: Rows) -> Layers:
        """Return what every chart marks, of the rows that ``marked_rows`` gives."""
        shown = self.events(events) if events else []
        return [self.expected(), self.today(), *shown]

    def expected(self) -> alt.Chart:
        """Return the time in which the limit is expected, of the rows ``expected``."""
        made: alt.Chart = (
            chart_of("expected")
            .mark_rect(fill=WATER, opacity=0.22, clip=True)
            .encode(
                x=self.x(),
                x2="until:Q",
                y=alt.YDatum(0),
                y2=alt.Y2Datum(self.top),
                tooltip=told(when=translated("Limit expected (8 in 10)")),
            )
        )
        return made

    def today(self) -> alt.Chart:
        """Return a line where the present stands, of the row ``today``."""
        rule = chart_of("today").mark_rule(stroke=QUIET, strokeDash=[2, 4])
        made: alt.Chart = rule.encode(x=self.x())
        return made

    def events(self, rows: Rows) -> Layers:
        """Return a mark per event at the upper edge, and a line below it, of rows ``events``."""
        chart = chart_of("events")
        words = [translated(word) for word, _, _ in MARKS.values()]
        shown = [word for word in words if any(row["event"] == word for row in rows)]
        looks = dict(zip(words, MARKS.values(), strict=True))
        legend = alt.Legend(title=None, orient="bottom", columns=2 if self.narrow else 4)
        shape = alt.Shape(
            "event:N",
            scale=alt.Scale(domain=shown, range=[looks[word][1] for word in shown]),
            legend=legend,
        )
        colour = [looks[word][2] for word in shown]
        scale = alt.Scale(domain=shown, range=colour)
        line = chart.mark_rule(strokeDash=[6, 4], opacity=0.7).encode(
            x=self.x(), color=alt.Color("event:N", scale=scale, legend=legend)
        )
        mark = chart.mark_point(filled=True, size=110, opacity=1).encode(
            x=self.x(),
            y=self.y("height"),
            shape=shape,
            color=alt.Color("event:N", scale=scale, legend=legend),
            tooltip=told(
                event=translated("What"), which=translated("Which"), when=translated("When")
            ),
        )
        return [line, mark]

    def finished(self, layers: Layers, rows: Mapping[str, Rows]) -> dict[str, Any]:
        """Return the specification of the chart that some layers make of rows by name."""
        word = {"labelColor": QUIET, "labelFontSize": 12, "titleColor": QUIET, "titleFontSize": 12}
        line = dict.fromkeys(("gridColor", "domainColor", "tickColor"), "var(--line)")
        above = {"titleAngle": 0, "titleAlign": "left", "titleAnchor": "end", "titleY": -10}
        # All at once: each call of a method would copy every layer anew.
        chart = alt.layer(
            *layers,
            width=NARROW if self.narrow else WIDE,
            height=HEIGHT,
            autosize=alt.AutoSizeParams(type="fit-x", contains="padding"),
            background="transparent",
            config={
                "aria": False,
                "font": "system-ui, sans-serif",
                "view": {"stroke": None},
                "axis": {**word, **line},
                "axisY": above,
                "legend": {**word, "symbolSize": 90},
            },
        )
        # Against the schema the tests hold it: that takes longer than all the rest.
        made: dict[str, Any] = chart.to_dict(validate=False)
        return {**made, "datasets": dict(rows)}


def chart_of(rows: str) -> alt.Chart:
    """Return a chart of rows that ``Paper.finished`` gets under a name."""
    return alt.Chart(alt.NamedData(rows))


def told(**fields: str) -> list[alt.Tooltip]:
    """Return a readout: fields that are words already, with their names."""
    return [alt.Tooltip(f"{field}:N", title=name) for field, name in fields.items()]


def marked_rows(figures: Figures, paper: Paper) -> dict[str, Rows]:
    """Return the rows of what every chart marks, by name."""
    return {
        "events": event_rows(figures, paper),
        "expected": expected_rows(figures.foretold, paper),
        "today": [{"at": paper.wall(figures.as_of)}],
    }


def event_rows(figures: Figures, paper: Paper) -> Rows:
    """Return the events that stand on the paper."""
    return [
        {
            "at": paper.wall(row["at"]),
            "height": paper.top * (HIGHEST - LOWER * list(MARKS).index(row["kind"])),
            "event": translated(MARKS[row["kind"]][0]),
            "which": translated(row["which"] or NOT_KNOWN),
            "when": paper.said(row["at"]),
            "record": row["record"],
        }
        for row in figures.events.filter(figures.events["at"] >= paper.begin).to_dicts()
    ]


def expected_rows(foretold: Mapping[str, Any], paper: Paper) -> Rows:
    """Return from when to when the limit is expected; nothing where it is not, or is reached."""
    low, high = foretold["reached_low"], foretold["reached_high"]
    if low is None or foretold["at_limit"]:
        return []
    until = paper.wall(paper.end) if high is None else paper.wall(high + timedelta(days=1))
    if high is None:
        when = f"{day(low)} {translated('or later')}"
    else:
        when = day(low) if low == high else f"{day(low)} – {day(high)}"  # noqa: RUF001
    return [{"at": paper.wall(low), "until": until, "when": when}]


def last_shown(foretold: Mapping[str, Any], as_of: datetime, zone: ZoneInfo) -> datetime:
    """Return the right edge: the present, or the last day on which the limit is expected."""
    low, high = foretold["reached_low"], foretold["reached_high"]
    if low is None or foretold["at_limit"]:
        return as_of
    last = datetime.combine((high or low) + timedelta(days=2), time(), zone)
    return min(max(last, as_of), as_of + AHEAD)
