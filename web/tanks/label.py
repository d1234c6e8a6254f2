"""The label of a tank: what it is called, and a code that opens its log."""

from io import BytesIO

import polars as pl
import segno
from flask import Blueprint, Response, abort, render_template, url_for

from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office

pages = Blueprint("label", __name__)

BORDER = 4
"""The quiet zone of a QR code by ISO/IEC 18004, in modules."""


@pages.get("/<path:tank>/label")
@open_to(*ROLES)
def label(tank: str) -> str:
    """Show the label of a tank, to be printed."""
    found = office().lookout.state(now()).tanks.filter(pl.col("tank") == tank).to_dicts()
    if not found:
        abort(404)
    return render_template("tanks/label.html", tank=found[0], opens=log_of(tank))


@pages.get("/<path:tank>/label.svg")
@open_to(*ROLES)
def code(tank: str) -> Response:
    """Give the code of a tank's label as a picture."""
    if tank not in office().lookout.state(now()).tanks["tank"]:
        abort(404)
    picture = BytesIO()
    qr_code(log_of(tank)).save(picture, kind="svg", border=BORDER, scale=4, light="white")
    return Response(picture.getvalue(), mimetype="image/svg+xml")


def log_of(tank: str) -> str:
    """Return the full address at which the log for a tank opens."""
    return url_for("log.choose", tank=tank, _external=True)


def qr_code(address: str) -> segno.QRCode:
    """Return the code of an address; it can be read with a quarter of it scratched away."""
    return segno.make(address, error="q", micro=False)
