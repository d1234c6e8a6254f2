"""A real browser at a real server: pages as people see them, scripts and all.

The browser is Chromium, named by the environment variable CHROMIUM or found on the PATH. Where
there is none these tests are left out, loudly; with QA_BROWSER=required they fail instead.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from threading import Thread

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from waitress import create_server
from waitress.wasyncore import close_all

PASSWORD = "seven wet coaches"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage")
LACKING = (
    "no Chromium was found: on Debian and Ubuntu 'apt-get install chromium' brings one; or name "
    "one by the environment variable CHROMIUM; or leave these tests out with -m 'not browser'"
)
PATIENCE_MS = 10_000
COPIES_ARE_THERE = """async () => {
    for (let tries = 0; tries < 200; tries += 1) {
        const names = await caches.keys();
        const copy = names.length && await (await caches.open(names[0])).match("/log/waiting");
        const worker = await navigator.serviceWorker.getRegistration("/log");
        if (copy && worker?.active?.state === "activated") return;
        await new Promise((resolve) => setTimeout(resolve, 50));
    }
    throw new Error("no copies of the log's pages were made");
}"""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker("browser")


@dataclass
class Seen:
    """A device with a browser, and what its console complained of."""

    context: BrowserContext
    url: str
    complaints: list[str] = field(default_factory=list)
    excused: list[str] = field(default_factory=list)

    def page(self) -> Page:
        """Return a new tab, on no page yet."""
        page = self.context.new_page()
        page.on("console", self._heard)
        page.on("pageerror", lambda error: self.complaints.append(f"script failed: {error}"))
        return page

    def sign_in(self, page: Page, role: str, then: str = "/") -> Page:
        """Sign in as a person would."""
        page.goto(f"{self.url}/people/sign-in?then={then}")
        self.fill_in(page, role)
        page.wait_for_url(lambda address: "/people/sign-in" not in address)
        return page

    def fill_in(self, page: Page, role: str) -> None:
        """Fill in the page to sign in, and send it."""
        page.fill("#sign_in", role)
        page.fill("#password", PASSWORD)
        page.click("form.card button")

    def ready(self, page: Page) -> None:
        """Open the log and wait until it could be opened without a network."""
        page.goto(f"{self.url}/log")
        page.evaluate(COPIES_ARE_THERE)

    def no_network(self) -> None:
        """Cut the device off; that its console notes each failed request is no complaint."""
        self.excused.append("net::ERR_")
        self.context.set_offline(True)

    def network(self) -> None:
        """Bring the network back, of which the browser tells every tab."""
        self.context.set_offline(False)
        for page in self.context.pages:
            page.evaluate("dispatchEvent(new Event('online'))")

    def looked_at(self, page: Page) -> None:
        """Fail if axe finds something on a page, or if it goes sideways."""
        found = Axe().run(page).response["violations"]
        told = [f"{one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]
        assert told == [], page.url
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0, f"{page.url} goes sideways by {wide} px"

    def _heard(self, message: object) -> None:
        told = f"{message.type}: {message.text}"
        if message.type in ("error", "warning") and not any(one in told for one in self.excused):
            self.complaints.append(told)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One browser for all tests; each has devices of its own."""
    found = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if found is None and os.environ.get("QA_BROWSER") == "required":
        pytest.fail(LACKING, pytrace=False)
    if found is None:
        pytest.skip(LACKING)
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def served(browsed_site) -> Iterator[str]:
    """Return the address of a server, whose clock stands, over a book of these tests' own."""
    server = create_server(browsed_site.app, host="127.0.0.1", port=0, threads=6)
    thread = Thread(target=server.run)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    # Its loop ends when nothing is left to listen to; only the loop's own thread may say so.
    server.trigger.pull_trigger(lambda: close_all(server._map, ignore_all=True))
    thread.join()


@pytest.fixture
def device(chromium, served, browsed_site) -> Iterator[Callable[..., Seen]]:
    """Return a maker of devices; at the end none may have complained."""
    made: list[Seen] = []
    # A page that signs in often is no guesser here.
    browsed_site.app.extensions["brake"].storage.reset()

    def make(width: int = 390, scheme: str = "light", **more: object) -> Seen:
        size = {"width": width, "height": 900}
        context = chromium.new_context(viewport=size, color_scheme=scheme, **more)
        context.set_default_timeout(PATIENCE_MS)
        made.append(Seen(context, served))
        return made[-1]

    yield make
    for one in made:
        one.context.close()
    assert [told for one in made for told in one.complaints] == []
