"""The charts of a tank, for the script and as pictures, and all their numbers as tables."""

from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, abort, render_template, request

from qa_engine.book.lookout import FleetState
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.charts import chart_data, chart_picture
from qa_engine.web.language import language
from qa_engine.web.office import now, office
from qa_engine.web.tanks.capacity import capacity_chart
from qa_engine.web.tanks.figures import KEPT, Figures, figures_of
from qa_engine.web.tanks.outlet import outlet_chart

pages = Blueprint("pictures", __name__)

CHARTS = {"outlet": outlet_chart, "capacity": capacity_chart}


@pages.get("/<path:tank>/<any(outlet, capacity):chart>.json")
@open_to(*ROLES)
def data(tank: str, chart: str) -> Response:
    """Give a chart to the script that draws it."""
    return chart_data(_specification(tank, chart))


@pages.get("/<path:tank>/<any(outlet, capacity):chart>.svg")
@open_to(*ROLES)
def picture(tank: str, chart: str) -> Response:
    """Give a chart as a picture, for print and for browsers without scripts."""
    return chart_picture(_specification(tank, chart))


@pages.get("/<path:tank>/figures")
@open_to(*ROLES)
def tables(tank: str) -> str:
    """Show the numbers of all charts as tables, and the tank's charges."""
    figures, state = _figures(tank)
    return render_template("tanks/figures.html", figures=figures, time=figures.time, state=state)


def _specification(tank: str, chart: str) -> dict[str, Any]:
    figures, state = _figures(tank)
    narrow = "narrow" in request.args
    return _drawn(figures, state.register.zone, chart, narrow, language()) or abort(404)


@lru_cache(maxsize=KEPT)
def _drawn(
    figures: Figures, zone: ZoneInfo, chart: str, narrow: bool, language: str
) -> dict[str, Any] | None:
    """Return a chart; it takes a moment, so that it is kept for each language."""
    return CHARTS[chart](figures, zone, narrow=narrow)


def _figures(tank: str) -> tuple[Figures, FleetState]:
    state = office().lookout.state(now())
    return figures_of(tank, state) or abort(404), state
