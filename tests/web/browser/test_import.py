"""The import of a spreadsheet in a browser, from the file to the mended row."""

import io
import threading
from collections.abc import Iterator

import openpyxl
import pytest
from playwright.sync_api import expect
from waitress import create_server
from waitress.wasyncore import close_all

from qa_engine.web.imports import running

LOOKS = [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")]
ROWS = [
    ["Date", "Tank", "TDS before", "TDS after", "By"],
    ["04/03/2026 09:00", "T01", 180, 4, "AB"],
    ["05/03/2026 09:00", "T01", 180, "lots <b>", "AB"],
]


@pytest.fixture
def own_server(own_site) -> Iterator[str]:
    """Return the address of a server over a book of one test's own."""
    server = create_server(own_site.app, host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    server.trigger.pull_trigger(lambda: close_all(server._map, ignore_all=True))
    thread.join()


@pytest.fixture
def spreadsheet():
    """What a browser takes for a file that was chosen."""
    book, out = openpyxl.Workbook(), io.BytesIO()
    for row in ROWS:
        book.active.append(row)
    book.save(out)
    return {"name": "log.xlsx", "mimeType": "", "buffer": out.getvalue()}


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_a_spreadsheet_is_handed_in_tried_taken_in_and_its_refused_row_mended(
    own_server, device, spreadsheet, width, scheme
):
    desk = device(width, scheme)
    desk.url = own_server
    page = desk.sign_in(desk.page(), "operator", "/imports/")
    desk.looked_at(page)
    page.set_input_files("#file", spreadsheet)
    page.get_by_role("button", name="Hand in").click()

    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text("2 questions are open about this file.")
    for details in page.locator("details").all():
        details.locator("summary").click()
    desk.looked_at(page)
    page.get_by_label("which comes first").select_option("day-month-year")
    page.get_by_label("show ppm").select_option("ppm")
    page.get_by_role("button", name="Keep the answers").click()
    expect(heading).to_contain_text("This is how the file will be read.")

    page.get_by_role("button", name="Try it").click()
    expect(heading).to_have_text("1 record would be added; 1 row would be refused.")
    desk.looked_at(page)
    page.get_by_role("button", name="Take it in").click()
    expect(heading).to_have_text("1 entry was added. 1 row was refused.")
    desk.looked_at(page)

    page.get_by_role("link", name="Mend refused rows").click()
    desk.looked_at(page)
    page.get_by_label("outlet tds").fill("6 ppm")
    page.get_by_role("button", name="Take it in").click()
    expect(heading).to_have_text("No refused row waits to be mended.")
    desk.looked_at(page)


def test_long_work_shows_its_progress_and_goes_on_to_its_end_by_itself(
    own_server, device, spreadsheet, monkeypatch
):
    go_on, told = threading.Event(), running.Run.told

    def waiting(run, rows, share):
        told(run, rows, 0.5)
        assert go_on.wait(60)

    monkeypatch.setattr(running, "GRACE_S", 0.1)
    monkeypatch.setattr(running.Run, "told", waiting)
    text = "record,kind,at,tank,outlet_tds\nR-1,reading,2026-07-01T08:00Z,T01,3\n"
    desk = device()
    desk.url = own_server
    page = desk.sign_in(desk.page(), "operator", "/imports/")
    page.set_input_files("#file", spreadsheet | {"name": "a.csv", "buffer": text.encode()})
    page.get_by_role("button", name="Hand in").click()
    page.get_by_role("button", name="Try it").click()
    try:
        heading = page.get_by_role("heading", level=1)
        expect(heading).to_contain_text("The file is being tried; nothing is added. 1 row is done.")
        desk.looked_at(page)
    finally:
        go_on.set()
    expect(heading).to_have_text("1 record would be added.")
