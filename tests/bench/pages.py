"""Measure how long pages take on a large record book, with many browsers at once.

    .venv/bin/python tests/bench/pages.py [RECORDS] [BROWSERS] [PAGES PER BROWSER]

The server is a process of its own, as ``qa-engine serve`` runs it; the browsers are threads of this
one, each asking for its next page as soon as it has the last. Times are from asking to the last
byte.
"""

import http.client
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.parse
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

from arrival import made
from fleet import Fleet

from qa_engine.book import open_book
from qa_engine.book.lookout import Lookout
from qa_engine.cli.rule_files import rule_sources
from qa_engine.plugin_host import installed_plugins
from qa_engine.web import Settings, create_app
from qa_engine.web.accounts import Accounts

RECORDS, BROWSERS, PAGES = 1_000_000, 16, 60
PORT = 8_977
PASSWORD = "seven wet coaches"
THREADS = 8


def serve(path: str, now: datetime) -> None:
    """Serve a book until killed."""
    import waitress

    with open_book(path) as book:
        lookout = Lookout(book, installed_plugins(), rule_sources([]))
        accounts = Accounts(book)
        accounts.accept(accounts.invite("P-1", "operator", now), "operator", PASSWORD, now)
        lookout.state(now).forecast  # noqa: B018 - the first look of the day
        app = create_app(book, lookout, Settings(b"k" * 32, lambda: now))
        waitress.serve(app, host="127.0.0.1", port=PORT, threads=THREADS, ident=None)


def cookie() -> str:
    """Sign in and return the cookie."""
    asked = http.client.HTTPConnection("127.0.0.1", PORT)
    asked.request("GET", "/people/sign-in")
    page = asked.getresponse()
    held = page.getheader("Set-Cookie", "").split(";")[0]
    token = re.search(r'name="csrf_token" value="([^"]+)"', page.read().decode())
    assert token
    fields = {"csrf_token": token[1], "sign_in": "operator", "password": PASSWORD}
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": held}
    asked.request("POST", "/people/sign-in", urllib.parse.urlencode(fields), kind)
    answer = asked.getresponse()
    answer.read()
    assert answer.status == 302, answer.status
    return answer.getheader("Set-Cookie", "").split(";")[0]


def browse(address: list[str], held: str) -> list[tuple[float, int]]:
    """Ask for pages one after the other; return time [s] and size [B] of each."""
    browser, told = http.client.HTTPConnection("127.0.0.1", PORT), []
    for one in address:
        began = time.perf_counter()
        browser.request("GET", one, headers={"Cookie": held})
        page = browser.getresponse()
        size = len(page.read())
        assert page.status == 200, (one, page.status)
        told.append((time.perf_counter() - began, size))
    return told


def measure(what: str, addresses: list[str], held: str, browsers: int, pages: int) -> None:
    """Print how long pages took, drawn from some addresses."""
    drawn = random.Random(4)
    asked = [[drawn.choice(addresses) for _ in range(pages)] for _ in range(browsers)]
    with ThreadPoolExecutor(browsers) as crowd:
        told = [one for some in crowd.map(lambda a: browse(a, held), asked) for one in some]
    ms = sorted(1000 * seconds for seconds, _ in told)
    size = max(size for _, size in told) / 1000
    late = ms[len(ms) * 95 // 100]
    print(
        f"{what}: median {statistics.median(ms):.0f} ms, 95 % within {late:.0f} ms, {size:.0f} kB"
    )


def main(records: int, browsers: int, pages: int) -> None:
    """Measure board, tank pages and findings of an invented fleet."""
    fleet = Fleet(records)
    now = fleet.ends + timedelta(hours=2)
    with tempfile.TemporaryDirectory() as folder:
        made(fleet, Path(folder)).close()
        book = str(Path(folder) / "fleet.book")
        server = subprocess.Popen([sys.executable, __file__, "serve", book, now.isoformat()])
        try:
            held = _when_up()
            tanks = [f"/tanks/T{n}" for n in range(fleet.tank_count)]
            measure("tank pages, each for the first time", tanks, held, browsers, pages)
            for what, addresses in (("tank", tanks), ("board", ["/"]), ("findings", ["/findings"])):
                measure(what, addresses, held, browsers, pages)
        finally:
            server.kill()
            server.wait()


def _when_up() -> str:
    for _ in range(600):
        try:
            return cookie()
        except ConnectionRefusedError:
            time.sleep(0.5)
    raise TimeoutError("the server did not come up")


if __name__ == "__main__":
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2], datetime.fromisoformat(sys.argv[3]))
    else:
        given = [int(one) for one in sys.argv[1:]]
        main(*(given + [RECORDS, BROWSERS, PAGES][len(given) :]))
