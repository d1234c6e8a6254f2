"""Charts: the script that draws them in a browser, and the same charts drawn here."""

import gzip
import hashlib
import json
import re
from base64 import b64encode
from functools import cache, lru_cache
from importlib.metadata import version
from importlib.resources import files
from threading import Lock
from typing import Any

import vl_convert
from flask import Blueprint, Response, abort, request, url_for

from qa_engine.web.access import ANYONE, open_to

pages = Blueprint("charts", __name__, url_prefix="/charts")

FOR_EVER = "public, max-age=31536000, immutable"
LOOK = files("qa_engine.web") / "static" / "look.css"
KEPT_DRAWINGS = 256

_making = Lock()


def script_address() -> str:
    """Return the address of the script that draws charts; it changes when the script does."""
    return url_for("charts.script", made_of=_version())


@pages.get("/<made_of>.js")
@open_to(ANYONE)
def script(made_of: str) -> Response:
    """Give the script, as the installed package makes it."""
    if made_of != _version():
        abort(404)
    # One makes it while the others wait.
    with _making:
        text = _script()
    answer = Response(text, mimetype="text/javascript")
    if request.accept_encodings["gzip"] > 0:
        answer.set_data(_packed())
        answer.headers["Content-Encoding"] = "gzip"
    answer.headers["Cache-Control"] = FOR_EVER
    answer.headers["Vary"] = "Accept-Encoding"
    return answer


def chart_data(specification: dict[str, Any]) -> Response:
    """Answer with a chart for the script to draw."""
    return _checked(Response(_text(specification), mimetype="application/json"))


def chart_picture(specification: dict[str, Any]) -> Response:
    """Answer with the picture of a chart, light or dark as the reader's device wishes."""
    answer = Response(drawn(_text(specification)), mimetype="image/svg+xml")
    digest = b64encode(hashlib.sha256(_colours().encode()).digest()).decode()
    answer.headers["Content-Security-Policy"] = f"default-src 'none'; style-src 'sha256-{digest}'"
    return _checked(answer)


@lru_cache(maxsize=KEPT_DRAWINGS)
def drawn(specification: str) -> str:
    """Return the picture of a chart as SVG; nothing is fetched from anywhere for it."""
    picture = vl_convert.vegalite_to_svg(specification, allowed_base_urls=[])
    begin = picture.index(">") + 1
    return f"{picture[:begin]}<style>{_colours()}</style>{picture[begin:]}"


def _text(specification: dict[str, Any]) -> str:
    return json.dumps(specification, ensure_ascii=False, sort_keys=True)


def _checked(answer: Response) -> Response:
    """Let a browser keep an answer for as long as it stays the same."""
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.add_etag()
    answer.make_conditional(request)
    return answer


@cache
def _colours() -> str:
    """Return the colours of the pages by name, for a picture that stands by itself."""
    named = re.search(r":root \{.*?\}", LOOK.read_text(encoding="utf-8"), re.DOTALL)
    assert named, "look.css begins with the colours"
    return named[0]


@cache
def _version() -> str:
    """Return a digest of what the script is made from; to make it takes a second."""
    parts = (
        version("vl-convert-python"),
        vl_convert.get_vega_version(),
        vl_convert.get_vegalite_versions()[-1],
        vl_convert.get_vega_embed_version(),
    )
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:20]


@cache
def _script() -> str:
    return str(vl_convert.javascript_bundle())  # type: ignore[call-arg]  # its types lag behind


@cache
def _packed() -> bytes:
    return gzip.compress(_script().encode(), mtime=0)
