"""The import pages: handing in, mending the map, trying, taking in, mending what was refused."""

import io
import re
import threading
import zipfile
from datetime import timedelta
from html import unescape

import openpyxl
import polars as pl
import pytest
from sqlalchemy import select

from qa_engine.book.refusals import count_refused
from qa_engine.book.schema import submissions
from qa_engine.demo import AS_OF
from qa_engine.web.accounts import ROLES
from qa_engine.web.imports import running as work
from qa_engine.web.imports.shelf import shelf_of, shown_name

PAGE = "/imports/"
HEAD = ["Date", "Time", "TDS before", "TDS after", "By"]
ROWS = [
    ["READINGS, tank T01"],
    HEAD,
    ["04/03/2026", "09:00", 180, 4, "AB"],
    [None, "16:30", 181, 6, "AB"],
    HEAD,
    ["05/03/2026", "08:45", 182, "lots", "CD"],
]
ANSWERS = {
    "answer-date order": "day-month-year",
    "answer-unit of TDS": "ppm",
    "answer-empty cells in Date": "yes",
}
OURS = (
    "record,kind,at,tank,outlet_tds [mg/L]\n"
    "R-1,reading,2026-07-01T08:00Z,T01,3\n"
    "R-2,reading,2026-07-02T08:00Z,T01,{second}\n"
)


def workbook(rows, merged=()):
    """The bytes of a workbook of one sheet, whose name is Log."""
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.active.title = "Log"
    for row in rows:
        book.active.append(row)
    for span in merged:
        book.active.merge_cells(span)
    book.save(out)
    return out.getvalue()


def bomb():
    """The bytes of a workbook of 17 thousand million cells, in a few kilobytes."""
    out = io.BytesIO()
    rows = '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    with zipfile.ZipFile(io.BytesIO(workbook([[1]]))) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            sheet = part.endswith("sheet1.xml")
            content = f"<worksheet><sheetData>{rows}</sheetData></worksheet>".encode()
            new.writestr(part, content if sheet else old.read(part))
    return out.getvalue()


@pytest.fixture(autouse=True)
def patient(monkeypatch):
    """Pages wait for work until it is done, so that a slow machine sees no page of progress."""
    monkeypatch.setattr(work, "GRACE_S", 60.0)


@pytest.fixture
def operator(own_site):
    return own_site.visitor("operator")


def hand_in(visitor, content, name="log.xlsx"):
    """Hand a file in and return the address of its page."""
    content = content.encode() if isinstance(content, str) else content
    answer = visitor.submit(PAGE, file=(io.BytesIO(content), name))
    assert answer.status_code == 303, answer.text
    return answer.headers["Location"]


def take(visitor, address, **fields):
    """Try a file, take it in and return the page that says what became of it."""
    visitor.submit(address, f"{address}/trial")
    of = re.search('name="of" value="([^"]*)"', visitor.get(f"{address}/trial").text)[1]
    answer = visitor.submit(f"{address}/trial", f"{address}/taken", of=of, **fields)
    return visitor.get(answer.headers["Location"]) if answer.status_code == 303 else answer


def says(answer):
    """The sentence that a page begins with."""
    return " ".join(unescape(re.search("<h1>(.*?)</h1>", answer.text, re.S)[1]).split())


def readings(site, *names):
    frame = site.book.frames(kinds=["reading"])["reading"]
    found = frame.filter(pl.col("record").str.contains("^R-|^Log-"))
    return found.sort("at").select(names).rows()


def test_a_messy_workbook_comes_in_after_three_answers(own_site, operator):
    """The rows of 4 March are kept, 16:30 among them; 'lots' is refused with its cell."""
    before = own_site.book.size()
    address = hand_in(operator, workbook(ROWS, ["A1:E1"]))
    page = operator.get(address)
    assert says(page) == "3 questions are open about this file."
    assert "Which comes first in a date, the day or the month?" in page.text
    assert "Answer one of" not in page.text.split("What only you can tell")[1].split("<details")[0]

    answer = operator.submit(address, f"{address}/answers", **ANSWERS)
    assert answer.status_code == 303
    assert "This is how the file will be read" in says(operator.get(address))
    operator.submit(address, f"{address}/trial")
    trial = operator.get(f"{address}/trial")
    assert says(trial) == "2 records would be added; 1 row would be refused."
    assert "log.xlsx: Sheet &#39;Log&#39;!D6" in trial.text
    assert own_site.book.size() == before, "a trial adds nothing"

    taken = take(operator, address)
    assert says(taken) == "2 entries were added. 1 row was refused."
    assert readings(own_site, "tank", "inlet_tds", "outlet_tds") == [
        ("T01", 180, 4),
        ("T01", 181, 6),
    ]
    assert shelf_of(own_site.book).all() == [], "a file that is taken in is removed"
    assert operator.get(address).status_code == 404


def test_who_entered_a_file_is_the_person_who_took_it_in(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second=4), "ours.csv"))
    latest = select(submissions).order_by(submissions.c.submission.desc()).limit(1)
    with own_site.book.reading() as held:
        row = held.execute(latest).one()
    operators = [one.person for one in own_site.accounts.all() if one.role == "operator"]
    assert [row.entered_by] == operators
    assert row.source == "ours.csv"


def test_a_file_whose_columns_bear_our_names_needs_no_map(own_site, operator):
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    assert "bear our names" in says(operator.get(address))
    assert says(take(operator, address)) == "2 entries were added."
    assert readings(own_site, "record", "outlet_tds") == [("R-1", 3), ("R-2", 4)]


def test_the_same_file_twice_adds_nothing(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second=4), "ours.csv"))
    size = own_site.book.size()
    address = hand_in(operator, OURS.format(second=4), "again.csv")
    operator.submit(address, f"{address}/trial")
    trial = says(operator.get(f"{address}/trial"))
    assert trial == "0 records would be added. 2 stand in the book already."
    assert "has this file already; nothing was added" in says(take(operator, address))
    assert own_site.book.size() == size


def test_an_import_that_is_submitted_twice_is_one(own_site, operator):
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    operator.submit(address, f"{address}/trial")
    form = {
        "csrf_token": re.search('csrf_token" value="([^"]+)', operator.get(address).text)[1],
        "of": re.search('name="of" value="([^"]*)"', operator.get(f"{address}/trial").text)[1],
    }
    first, second = (operator.client.post(f"{address}/taken", data=form) for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert says(operator.get(f"{address}/taken")) == "2 entries were added."
    assert len(readings(own_site, "record")) == 2


def test_a_corrected_file_adds_a_correction_with_its_reason(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second=4), "ours.csv"))
    size = own_site.book.size()
    address = hand_in(operator, OURS.format(second=5), "mended.csv")
    operator.submit(address, f"{address}/trial")
    trial = operator.get(f"{address}/trial")
    assert "1 stands there otherwise" in says(trial)
    assert "R-2" in trial.text

    without = take(operator, address, correct="yes")
    assert without.status_code == 422
    assert "Say why the book was wrong" in without.text
    assert own_site.book.size() == size

    left = take(operator, address)
    assert "stayed as they are" in left.text
    assert own_site.book.size() == size
    assert shelf_of(own_site.book).all() != [], "the file stays, it may be taken as corrections"

    assert "1 entry was added" in says(take(operator, address, correct="yes", reason="misread"))
    assert own_site.book.size() == size + 1
    assert readings(own_site, "record", "outlet_tds") == [("R-1", 3), ("R-2", 5)]


def test_a_corrected_spreadsheet_without_ids_corrects_what_time_and_tank_tell(own_site, operator):
    """The outlet of 9:00 was 4 and is 5; the other row is the same word for word."""
    rows = [["Date", "Tank", "TDS out (ppm)"], ["2026-07-01 09:00", "T01", 4]]
    rows += [["2026-07-02 09:00", "T01", 7]]
    told = {"field": ["at", "tank", "not in this map"]}
    address = hand_in(operator, workbook(rows))
    operator.submit(address, f"{address}/records", **told)
    assert "record_from: [at, tank]" in operator.get(address).text
    assert says(take(operator, address)) == "2 entries were added."
    rows[1][2] = 5
    address = hand_in(operator, workbook(rows))
    operator.submit(address, f"{address}/records", **told)
    corrected = take(operator, address, correct="yes", reason="misread")
    assert "1 entry was added" in says(corrected)
    assert readings(own_site, "outlet_tds") == [(5,), (7,)]


def test_what_is_wrong_in_a_map_is_said_by_its_line_and_what_was_written_stays(operator):
    address = hand_in(operator, workbook(ROWS))
    text = "column_map: 1\ntables:\n  - head: 2\n    kind: readin\n    columns: []\n"
    answer = operator.submit(address, f"{address}/map", map=text.replace("\n", "\r\n"))
    assert answer.status_code == 422
    assert "Line 4, column 11" in answer.text
    assert "kind: readin" in answer.text.split("<textarea")[1]
    assert "3 questions are open" in says(operator.get(address)), "the kept map is the old one"


def test_a_map_written_as_text_is_kept_and_used(own_site, operator):
    address = hand_in(operator, workbook(ROWS))
    text = unescape(
        re.search("<textarea[^>]*>(.*?)</textarea>", operator.get(address).text, re.S)[1]
    )
    by_name = {"date order": "day-month-year", "unit of TDS": "ppm", "empty cells in Date": "no"}
    for name, said in by_name.items():
        text = re.sub(rf"(?m)^  {name}: .*$", f"  {name}: {said}", text)
    assert operator.submit(address, f"{address}/map", map=text).status_code == 303
    assert says(take(operator, address)).startswith("1 entry was added.")


def test_a_column_is_said_to_be_something_else_and_its_unit_is_asked_for(own_site, operator):
    """Ten gallons of the United States are 37.85411784 L."""
    rows = [["Date", "Time", "Tank", "Class", "Load", "Note"]]
    rows += [["2026-07-01", "08:00", "T01", "coach", 10, "x"]]
    address = hand_in(operator, workbook(rows))
    page = operator.get(address).text
    assert "Left out: Load" in page
    fields = {"column-Load": "water_used", "column-Note": "leave it out", "column-Time": "as it is"}
    assert operator.submit(address, f"{address}/columns", **fields).status_code == 303
    page = operator.get(address)
    assert says(page) == "1 question is open about this file."
    assert "In which unit is 'Load' (10)?" in unescape(page.text)
    assert "Left out: Note" in page.text
    operator.submit(address, f"{address}/answers", **{"answer-unit of Load": "gal"})
    assert says(take(operator, address)) == "1 entry was added."
    rinses = own_site.book.frames(kinds=["rinse"])["rinse"]
    row = rinses.filter(pl.col("record").str.starts_with("Log-")).row(0, named=True)
    assert row["water_used"] == pytest.approx(37.85411784)
    assert row.get("note") is None


def test_answers_are_kept_when_a_column_is_said_to_be_something_else(operator):
    address = hand_in(operator, workbook(ROWS))
    operator.submit(address, f"{address}/answers", **ANSWERS)
    operator.submit(address, f"{address}/columns", **{"column-By": "leave it out"})
    assert "This is how the file will be read" in says(operator.get(address))
    operator.submit(address, f"{address}/proposal")
    assert says(operator.get(address)) == "3 questions are open about this file."


def test_a_map_that_a_colleague_changed_after_the_trial_is_not_taken_unseen(own_site, operator):
    address = hand_in(operator, workbook(ROWS))
    operator.submit(address, f"{address}/answers", **ANSWERS)
    operator.submit(address, f"{address}/trial")
    of = re.search('name="of" value="([^"]*)"', operator.get(f"{address}/trial").text)[1]
    other = own_site.visitor("administrator")
    other.submit(address, f"{address}/answers", **(ANSWERS | {"answer-unit of TDS": "uS/cm"}))
    size = own_site.book.size()
    answer = operator.submit(address, f"{address}/taken", of=of)
    assert "changed meanwhile" in operator.get(answer.headers["Location"]).text
    assert own_site.book.size() == size


def test_a_map_with_questions_left_is_not_tried(operator):
    address = hand_in(operator, workbook(ROWS))
    answer = operator.submit(address, f"{address}/trial")
    assert answer.status_code == 422
    assert "this must be answered" in answer.text


def test_an_answer_that_is_not_one_of_those_offered_is_said(operator):
    address = hand_in(operator, workbook(ROWS))
    wrong = ANSWERS | {"answer-date order": "}]: <i>"}
    answer = operator.submit(address, f"{address}/answers", **wrong)
    assert answer.status_code == 422
    assert "'date_order'" in unescape(answer.text)
    assert ": <i>" not in answer.text


def test_a_refused_row_is_mended_on_the_page_and_comes_in_once(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second="lots"), "ours.csv"))
    page = operator.get("/imports/refused")
    assert says(page) == "1 row was refused and waits to be mended."
    form = dict(re.findall('name="(key|source|line|record)" value="([^"]*)"', page.text))
    cells = {"cell-kind": "reading", "cell-at": "2026-07-02T08:00Z", "cell-tank": "T01"}
    cells |= {"cell-record": "R-2"}

    still = operator.submit("/imports/refused", "/imports/refused/mended", **form, **cells,
                            **{"cell-outlet_tds": "many"})  # fmt: skip
    assert still.status_code == 422
    assert "&#39;many&#39; is not a number" in still.text

    good = form | cells | {"cell-outlet_tds": "4.5"}
    assert operator.submit("/imports/refused", "/imports/refused/mended", **good).status_code == 303
    again = operator.submit(PAGE, "/imports/refused/mended", **good)
    assert again.status_code == 404
    assert "mended or left out already" in again.text
    assert readings(own_site, "record", "outlet_tds") == [("R-1", 3), ("R-2", 4.5)]
    assert count_refused(own_site.book) == 0


def test_a_mended_row_that_the_book_has_otherwise_is_told_and_kept(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second="lots"), "ours.csv"))
    page = operator.get("/imports/refused").text
    form = dict(re.findall('name="(key|source|line|record)" value="([^"]*)"', page))
    cells = {"cell-record": "R-1", "cell-kind": "reading", "cell-at": "2026-07-02T08:00Z"}
    cells |= {"cell-tank": "T01", "cell-outlet_tds": "4"}
    answer = operator.submit("/imports/refused", "/imports/refused/mended", **form, **cells)
    assert answer.status_code == 409
    assert "The book has record R-1 otherwise" in answer.text
    assert count_refused(own_site.book) == 1


def test_a_row_that_is_no_record_is_left_out(own_site, operator):
    take(operator, hand_in(operator, OURS.format(second="lots"), "ours.csv"))
    page = operator.get("/imports/refused").text
    form = dict(re.findall('name="(key|source|line|record)" value="([^"]*)"', page))
    operator.submit("/imports/refused", "/imports/refused/left-out", **form)
    assert count_refused(own_site.book) == 0
    assert len(readings(own_site, "record")) == 1


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_refused_rows_fetched_as_a_file_hold_no_formula_and_can_be_handed_in(
    own_site, operator, start
):
    formula = f'"{start}cmd|calc"'
    take(operator, hand_in(operator, OURS.format(second=formula), "ours.csv"))
    content = operator.get("/imports/refused.csv").data
    row = pl.read_csv(io.BytesIO(content), infer_schema=False).row(0, named=True)
    assert row["record"] == "R-2"
    assert not [cell for cell in row.values() if cell and cell[0] in "=+-@\t\r\n"]
    mended = content.decode().replace(f"{row['outlet_tds']}", "4")
    address = hand_in(operator, mended, "mended.csv")
    assert "bear our names" in says(operator.get(address))


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("../../etc/passwd.csv", "passwd.csv"),
        ("..\\..\\boot.csv", "boot.csv"),
        ("/absolute/a.csv", "a.csv"),
        ("a\x00b\u202egnp.csv", "a?b?gnp.csv"),
        ("x" * 300 + ".xlsx", "x" * 95 + ".xlsx"),
    ],
)
def test_a_name_is_shown_short_and_without_its_folders(written, shown):
    assert shown_name(written) == shown


@pytest.mark.parametrize("name", ["../../../out.csv", "..\\out.csv", "/tmp/out.csv", "%2e%2fo.csv"])
def test_no_name_becomes_a_path(own_site, operator, name):
    folder = shelf_of(own_site.book).folder
    beside = sorted(folder.parent.iterdir())
    hand_in(operator, OURS.format(second=4), name)
    assert sorted(one for one in folder.parent.iterdir() if one != folder) == beside
    assert all(re.fullmatch(r"[0-9a-f]{64}(\.json)?", one.name) for one in folder.iterdir())
    assert folder.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("digest", ["..", "../demo.book", "a" * 64, "A" * 64, "%2e%2e%2fdemo.book"])
def test_an_address_reaches_no_other_file(own_site, operator, digest):
    assert operator.get(f"/imports/{digest}").status_code in (404, 302, 308)
    assert operator.submit(PAGE, f"/imports/{digest}/removal").status_code in (302, 303, 404)
    assert shelf_of(own_site.book).find(digest) is None
    assert own_site.book.size() > 0


def test_names_and_cells_that_hold_markup_are_shown_as_text(own_site, operator):
    bad = "<img src=x onerror=alert(1)>"
    rows = [["Date", "Tank", "TDS out (ppm)", bad], ["2026-07-01 08:00", bad, f"'\"{bad}", bad]]
    address = hand_in(operator, workbook(rows), f"{bad}.xlsx")
    pages = [operator.get(PAGE), operator.get(address)]
    operator.submit(address, f"{address}/trial")
    pages += [operator.get(f"{address}/trial"), take(operator, address)]
    pages.append(operator.get("/imports/refused"))
    assert [page.status_code for page in pages] == [200] * 5
    assert not [page for page in pages if "<img" in page.text]
    assert "&lt;img" in pages[1].text
    assert "&lt;img" in pages[-1].text


def test_a_file_that_is_too_large_is_told_so_and_not_kept(own_site, operator):
    own_site.app.config["MAX_CONTENT_LENGTH"] = 10_000
    answer = operator.submit(PAGE, file=(io.BytesIO(b"x" * 20_000), "a.csv"))
    assert answer.status_code == 413
    assert "too large" in says(answer)
    assert shelf_of(own_site.book).all() == []


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("a.xlsx", b"PK\x03\x04 broken", "not a workbook in the XLSX form"),
        ("a.xlsx", bomb(), "too large"),
        ("a.parquet", b"PAR1 broken PAR1", "not a Parquet file"),
        ("a.csv", b'Date,TDS\n2026-07-01,"' + b"x" * 200_000, "quotation mark"),
        ("a.jsonl", b"[" * 100_000, "looks like a table"),
        ("a.csv", b"\x00\x01\x02\xff" * 100, "looks like a table"),
    ],
)
def test_a_malformed_file_is_refused_with_what_would_do(operator, name, content, told):
    page = operator.get(hand_in(operator, content, name))
    assert page.status_code == 422
    assert told in page.text
    assert "Nothing was added" in page.text


@pytest.mark.parametrize(("name", "content"), [("a.exe", b"MZ"), ("a", b"x"), ("a.csv", b"")])
def test_what_is_no_table_is_not_even_kept(own_site, operator, name, content):
    answer = operator.submit(PAGE, file=(io.BytesIO(content), name))
    assert answer.status_code == 422
    assert shelf_of(own_site.book).all() == []
    assert operator.submit(PAGE).status_code == 422


def test_a_file_that_nobody_takes_in_is_removed_after_a_day(own_site, operator):
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    own_site.clock.now = AS_OF + timedelta(days=1)
    operator.get(PAGE)
    assert operator.get(address).status_code == 200
    own_site.clock.now = AS_OF + timedelta(days=1, seconds=1)
    operator.get(PAGE)
    assert operator.get(address).status_code == 404
    assert list(shelf_of(own_site.book).folder.iterdir()) == []


def test_a_file_is_removed_when_asked(own_site, operator):
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    operator.submit(address, f"{address}/removal")
    assert list(shelf_of(own_site.book).folder.iterdir()) == []


def test_long_work_shows_how_far_it_has_come_and_is_begun_once(own_site, operator, monkeypatch):
    """The work waits until the test lets it go on; the page does not wait for the work."""
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    operator.submit(address, f"{address}/trial")
    of = re.search('name="of" value="([^"]*)"', operator.get(f"{address}/trial").text)[1]
    go_on, begun = threading.Event(), []
    told = work.Run.told

    def waiting(run, rows, share):
        told(run, rows, 0.5)
        begun.append(run)
        assert go_on.wait(60)

    monkeypatch.setattr(work.Run, "told", waiting)
    monkeypatch.setattr(work, "GRACE_S", 0.5)
    try:
        for _ in range(2):
            operator.submit(PAGE, f"{address}/taken", of=of)
        page = operator.get(f"{address}/taken")
        assert "2 rows are done" in says(page)
        assert 'value="50"' in page.text
        assert "being worked on" in operator.get(PAGE).text
    finally:
        go_on.set()
    begun[0]._over.wait(60)
    assert says(operator.get(f"{address}/taken")) == "2 entries were added."
    assert len(begun) == 1


def test_an_import_that_was_broken_off_goes_on_where_it_was(own_site, operator, monkeypatch):
    """A server that is stopped keeps nothing of its work but what the book has."""
    monkeypatch.setattr("qa_engine.book.file_import.ROWS_PER_CHUNK", 1)
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    monkeypatch.setattr(work, "MOST_ROWS", 1)
    size = own_site.book.size()
    operator.submit(address, f"{address}/trial")
    assert "more than 1 rows" in operator.get(f"{address}/trial").text

    monkeypatch.setattr(work, "MOST_ROWS", 2)
    operator.submit(address, f"{address}/trial")
    of = re.search('name="of" value="([^"]*)"', operator.get(f"{address}/trial").text)[1]
    monkeypatch.setattr(work, "MOST_ROWS", 1)
    operator.submit(address, f"{address}/taken", of=of)
    broken = operator.get(f"{address}/taken")
    assert "broken off" in says(broken)
    assert own_site.book.size() > size

    del own_site.app.extensions[work.EXTENSION]
    assert "goes on where it was" in operator.get(address).text
    monkeypatch.setattr(work, "MOST_ROWS", 2)
    take(operator, address)
    assert own_site.book.size() == size + 2
    assert len(readings(own_site, "record")) == 2


ADDRESSES = (
    ("GET", "/imports/"),
    ("POST", "/imports/"),
    ("GET", "/imports/{digest}"),
    ("POST", "/imports/{digest}/answers"),
    ("POST", "/imports/{digest}/columns"),
    ("POST", "/imports/{digest}/map"),
    ("POST", "/imports/{digest}/records"),
    ("POST", "/imports/{digest}/proposal"),
    ("POST", "/imports/{digest}/trial"),
    ("GET", "/imports/{digest}/trial"),
    ("POST", "/imports/{digest}/taken"),
    ("GET", "/imports/{digest}/taken"),
    ("POST", "/imports/{digest}/removal"),
    ("GET", "/imports/refused"),
    ("GET", "/imports/refused.csv"),
    ("POST", "/imports/refused/mended"),
    ("POST", "/imports/refused/left-out"),
)


def test_the_addresses_tested_are_all_there_are(site):
    named = {(method, re.sub("{digest}", "<digest>", rule)) for method, rule in ADDRESSES}
    rules = [rule for rule in site.app.url_map.iter_rules() if rule.rule.startswith("/imports")]
    assert {(m, r.rule) for r in rules for m in r.methods & {"GET", "POST"}} == named


@pytest.mark.parametrize("role", ROLES)
def test_operators_and_administrators_import_and_nobody_else_does(own_site, role):
    address = hand_in(own_site.visitor("operator"), OURS.format(second=4), "ours.csv")
    digest, visitor = address.rpartition("/")[2], own_site.visitor(role)
    token = re.search('csrf_token" value="([^"]+)', visitor.get("/people/me").text)[1]
    for method, rule in ADDRESSES:
        data = {"csrf_token": token} if method == "POST" else None
        answer = visitor.client.open(rule.format(digest=digest), method=method, data=data)
        allowed = role in ("operator", "administrator")
        assert (answer.status_code != 403) == allowed, (method, rule, answer.status_code)
    assert (">Import</a>" in visitor.get("/people/me").text) == allowed


def test_no_form_is_taken_without_the_token_of_a_page(own_site, operator):
    address = hand_in(operator, OURS.format(second=4), "ours.csv")
    size = own_site.book.size()
    for method, rule in ADDRESSES:
        if method == "POST":
            answer = operator.client.post(rule.format(digest=address.rpartition("/")[2]))
            assert answer.status_code == 400, rule
    assert operator.get(address).status_code == 200
    assert own_site.book.size() == size
