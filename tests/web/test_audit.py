"""The audit: what was judged and by what, and whether the book is whole."""

import json
import re
import sqlite3
from html import unescape
from io import BytesIO
from urllib.parse import parse_qs, unquote, urlsplit
from uuid import uuid4

import pytest
from click.testing import CliRunner
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from markupsafe import escape

from qa_engine.audit import CAUTIONS, remarks_in
from qa_engine.book.breach import Breach
from qa_engine.book.heads import note_head, signed_head
from qa_engine.book.signing import FORM, SignedHead
from qa_engine.book.signing import sign as sign_head
from qa_engine.cli.program import program
from qa_engine.demo import AS_OF
from qa_engine.web import audit
from qa_engine.web.office import EXTENSION

WHOLE = "The book is whole"


@pytest.fixture
def state(site):
    return site.app.extensions[EXTENSION].lookout.state(AS_OF)


@pytest.fixture
def page(site):
    return site.visitor("auditor").get("/audit").text


@pytest.mark.parametrize("role", ["auditor", "operator", "administrator"])
def test_whoever_answers_for_the_fleet_sees_the_audit(site, role):
    assert site.visitor(role).get("/audit").status_code == 200


def test_crews_do_not(site):
    assert site.visitor("crew").get("/audit").status_code == 403


def test_every_rule_that_judged_has_its_row(state, page):
    rules = page.split("Coverage:")[1].split("Permissions")[0]
    assert rules.count("<tr><td>") == state.coverage.height
    for rule in state.coverage["rule"]:
        assert f"<small>{rule}</small>" in rules


def test_undecided_and_not_applicable_are_counted(state, page):
    totals = " ".join(page.split("In all:")[1].split("</p>")[0].split())
    for name in ("undecided", "not_applicable"):
        assert f"{state.coverage[name].sum():,} {name.replace('_', ' ')}" in totals


def test_editions_and_plugins_stand_with_their_digests(state, page):
    assert state.inspection.plugins
    for one in (*state.editions, *state.inspection.plugins):
        assert one.sha256 in page


def test_size_and_root_of_the_book_are_those_of_the_book(site, page):
    assert f"{site.book.size():,} entries" in page
    assert site.book.root().hex() in page
    assert site.book.about()["id"] in page


def test_a_whole_book_is_said_to_be_whole_only_once_verified(site, page):
    assert WHOLE not in page
    assert WHOLE in site.visitor("auditor").submit("/audit").text


def test_an_altered_record_is_named(own_site):
    path = own_site.book.engine.url.database
    with own_site.book.reading() as held:
        tables = held.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='trigger'")
        triggers = [row[0] for row in tables]
    with sqlite3.connect(path) as raw:
        for trigger in triggers:
            raw.execute(f'DROP TRIGGER "{trigger}"')
        (record,) = raw.execute("SELECT min(record) FROM reading").fetchone()
        raw.execute("UPDATE reading SET outlet_tds = 1 WHERE record = ?", [record])
    raw.close()
    page = own_site.visitor("auditor").submit("/audit").text
    assert WHOLE not in page
    assert record in page.split('role="alert"')[1].split("</div>")[0]


def test_every_breach_is_named(site, monkeypatch):
    found = [Breach("one is gone", 4), Breach("<b>another</b> differs", 7, 9)]
    monkeypatch.setattr(audit, "verify", lambda book: found)
    page = site.visitor("auditor").submit("/audit").text
    assert "2 things are not as they were entered." in page
    assert "<b>entry 4</b>: one is gone" in page
    assert "<b>entries 7 to 9</b>: &lt;b&gt;another&lt;/b&gt; differs" in page


def test_the_book_is_verified_for_nobody_without_the_form(site):
    assert site.visitor("auditor").client.post("/audit").status_code == 400


PERIOD = "from=2026-07-01&to=2026-07-30"
AS_OF_JULY = "as_of=2026-07-31T18:00:00Z"
SCRIPT = '<script>alert("x")</script> #panic("x") \u202e'


def remark(site, role="auditor", **fields):
    """Send the form of a remark as somebody, with a key of its own."""
    given = {"sort": "rule", "about": "resin/full-charge-loaded", "text": "Seen.", **fields}
    given.setdefault("key", str(uuid4()))
    return site.visitor(role).submit("/people/me", "/audit/remarks", **given)


def sign(site):
    """Sign the tree head of a site's book; return it."""
    head = signed_head(site.book, Ed25519PrivateKey.from_private_bytes(b"k" * 32), AS_OF)
    note_head(site.book, head, entered_at=AS_OF, entered_by="P-02")
    return head


def bring(site, content, name="head.json"):
    """Bring a file as the head that an auditor kept."""
    return site.visitor("auditor").submit("/audit", "/audit/heads", head=(BytesIO(content), name))


def head_text(**wrong):
    """Return a signed head as somebody could have bent it."""
    head = {"form": FORM, "book": "ab", "size": 1, "root": "00" * 32, "key": "00" * 32}
    signed = {"time": "2026-07-01T00:00:00Z", "signature": "00" * 64}
    return json.dumps({**head, **signed, **wrong}).encode()


def words(answer):
    """Return the text of a page, blanks made one."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def test_a_report_says_as_of_when_it_is_so_that_its_files_are_the_same_report(site):
    answer = site.visitor("operator").get(f"/audit/report?{PERIOD}&base=Fernstep")
    assert answer.status_code == 302
    assert "as_of=2026-07-31T18:00:00Z" in unquote(answer.location)
    assert "base=Fernstep" in answer.location


def test_a_report_leads_with_its_verdicts_and_has_its_cautions(site):
    asked = f"/audit/report?{PERIOD}&{AS_OF_JULY}&base=Fernstep"
    page = words(site.visitor("auditor").get(asked))
    assert re.search(r"[\d,]+ verdicts were given: [\d,]+ conform", page)
    assert "base Fernstep; all rule sets" in page
    for caution in CAUTIONS:
        assert caution in page
    assert "cannot be told whether they came in late" in page


def test_page_and_command_make_the_same_paper_byte_for_byte(site, tmp_path):
    path = tmp_path / "report.pdf"
    asked = f"{PERIOD}&{AS_OF_JULY}&tank=T01&tank=T07"
    page = site.visitor("auditor").get(f"/audit/report.pdf?{asked}")
    days = ("--from", "2026-07-01", "--to", "2026-07-30", "--as-of", "2026-07-31T18:00:00Z")
    called = ("audit", "report", site.book.engine.url.database, *days)
    told = CliRunner().invoke(
        program, [*called, "--tank", "T01", "--tank", "T07", "--out", str(path)]
    )
    assert told.exit_code == 0, told.output
    assert page.data == path.read_bytes()
    assert page.content_type == "application/pdf"
    assert "audit-2026-07-01-to-2026-07-30.pdf" in page.headers["Content-Disposition"]


def test_the_json_of_a_report_is_what_the_engine_says(site):
    told = site.visitor("auditor").get(f"/audit/report.json?{PERIOD}&{AS_OF_JULY}").json
    assert told["operator"] == site.book.about()["operator"]
    assert told["book"]["root"] == site.book.root().hex()
    assert sum(told["totals"].values()) > 0


@pytest.mark.parametrize("form", ["", ".pdf", ".json"])
@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("to=2026-07-30", "the first day is missing; write it as YYYY-MM-DD"),
        ("from=2026-07-01&to=2026-07-40", "the last day: '2026-07-40' is not a day"),
        ("from=2026-07-09&to=2026-07-08", "it ends (2026-07-08) before it begins (2026-07-09)"),
        ("from=2026-08-09&to=2026-08-10", "it begins on 2026-08-09, after the day of the report"),
        (f"{PERIOD}&van=Mizle", "there is no van 'Mizle'; did you mean 'Mizzle'?"),
        (f"{PERIOD}&as_of=2027-01-01T00:00:00Z", "2027-01-01T00:00:00Z is still to come"),
        (f"{PERIOD}&as_of=once", "as of: 'once'"),
    ],
)
def test_what_cannot_be_reported_on_is_named(site, form, asked, says):
    if "as_of" not in asked:
        asked += f"&{AS_OF_JULY}"
    answer = site.visitor("auditor").get(f"/audit/report{form}?{asked}")
    assert answer.status_code == 422
    assert says in words(answer)


def test_a_hostile_scope_is_shown_as_text(site):
    asked = {"from": "2026-07-01", "to": SCRIPT, "van": SCRIPT, "as_of": SCRIPT}
    for wrong in ({}, {"to": "2026-07-30"}, {"to": "2026-07-30", "as_of": "2026-07-31T18:00:00Z"}):
        answer = site.visitor("auditor").get("/audit/report", query_string={**asked, **wrong})
        assert answer.status_code == 422
        assert "<script>alert" not in answer.text


@pytest.mark.parametrize("role", ["crew", None])
@pytest.mark.parametrize(
    "address",
    [
        f"/audit/report?{PERIOD}",
        f"/audit/report.pdf?{PERIOD}",
        f"/audit/report.json?{PERIOD}",
        "/audit/head.json",
        "/audit/verification.json",
        "/audit/remarks/new",
    ],
)
def test_crews_and_strangers_read_no_audit(site, role, address):
    answer = site.visitor(role).get(address)
    assert answer.status_code == (403 if role else 302)


@pytest.mark.parametrize("role", ["crew", "operator", "administrator"])
def test_only_auditors_enter_remarks(own_site, role):
    assert remark(own_site, role).status_code == 403
    assert own_site.visitor(role).get("/audit/remarks/new").status_code == 403
    assert remarks_in(own_site.book) == ()


@pytest.mark.parametrize("address", ["/audit/remarks", "/audit/heads"])
def test_nothing_comes_in_without_the_form(own_site, address):
    assert own_site.visitor("auditor").client.post(address).status_code == 400
    assert remarks_in(own_site.book) == ()


def test_a_remark_is_an_entry_of_the_auditor_and_everybody_who_reads_audits_sees_it(own_site):
    size = own_site.book.size()
    assert remark(own_site, text="Ask for\nthe certificate.").status_code == 303
    (kept,) = remarks_in(own_site.book)
    assert own_site.book.size() == size + 1
    assert (kept.by, kept.concerns) == ("P-03", "rule resin/full-charge-loaded")
    for role in ("operator", "administrator", "auditor"):
        page = own_site.visitor(role).get("/audit")
        assert "Ask for\nthe certificate." in page.text
        assert ("Enter a remark" in page.text) == (role == "auditor")


def test_a_form_sent_twice_is_one_remark(own_site):
    key = str(uuid4())
    assert {remark(own_site, key=key).status_code for _ in range(2)} == {303}
    assert len(remarks_in(own_site.book)) == 1


def test_a_remark_that_is_refused_keeps_what_was_typed(own_site):
    answer = remark(own_site, about="no rule", text="Do not lose this.")
    assert answer.status_code == 422
    assert "'no rule' is no rule; expected SET/RULE" in words(answer)
    assert "Do not lose this." in answer.text
    assert remarks_in(own_site.book) == ()


def test_hostile_remarks_are_text_on_page_and_paper(own_site):
    assert remark(own_site, sort="finding", about=SCRIPT, text=SCRIPT).status_code == 303
    visitor = own_site.visitor("auditor")
    asked = f"{PERIOD}&{AS_OF_JULY}&tank=T01"
    for page in ("/audit", f"/audit/report?{asked}"):
        text = visitor.get(page).text
        assert "<script>alert" not in text
        assert str(escape(SCRIPT)) in text
    assert visitor.get(f"/audit/report.pdf?{asked}").data.startswith(b"%PDF")


def test_a_finding_of_a_report_leads_auditors_to_a_remark_on_it(site):
    asked = f"/audit/report?{PERIOD}&{AS_OF_JULY}&tank=T07"
    link = re.search(r'href="(/audit/remarks/new\?[^"]+)"', site.visitor("auditor").get(asked).text)
    assert link
    form = site.visitor("auditor").get(unescape(link[1])).text
    about = parse_qs(urlsplit(unescape(link[1])).query)["about"][0]
    assert f'value="{escape(about)}"' in form
    assert "/audit/remarks/new" not in site.visitor("operator").get(asked).text


def test_an_auditor_notes_the_head_that_they_keep(own_site):
    book = own_site.book
    kept = {"sort": "head kept", "about": "", "text": "in my safe"}
    noted = remark(own_site, size=book.size(), root=book.root().hex(), **kept)
    assert noted.status_code == 303
    assert "in my safe" in own_site.visitor("operator").get("/audit").text
    wrong = remark(own_site, size=book.size(), root="00" * 32, **kept)
    assert wrong.status_code == 422
    assert "never had a head" in words(wrong)


def test_without_a_signed_head_there_is_none_to_take(own_site):
    visitor = own_site.visitor("auditor")
    assert "none was signed" in visitor.get("/audit").text
    assert visitor.get("/audit/head.json").status_code == 404


def test_the_signed_head_can_be_taken_and_brought_back(own_site):
    head = sign(own_site)
    taken = own_site.visitor("auditor").get("/audit/head.json")
    assert taken.text == head.text
    remark(own_site)
    answer = bring(own_site, taken.data)
    assert answer.status_code == 200
    says = f"The {head.size:,} entries that the head speaks of stand unchanged and in order."
    assert says in words(answer)


def test_a_head_that_the_book_does_not_agree_with_is_told(own_site):
    key = Ed25519PrivateKey.from_private_bytes(b"k" * 32)
    about = own_site.book.about()["id"]
    other = sign_head(SignedHead(about, 3, b"0" * 32, AS_OF, b""), key)
    answer = bring(own_site, other.text.encode())
    assert "does not agree with the head that you kept" in words(answer)
    beyond = sign_head(SignedHead(about, 10**9, b"0" * 32, AS_OF, b""), key)
    assert "more entries than the book has" in words(bring(own_site, beyond.text.encode()))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is no JSON"),
        (b"{", "is no JSON"),
        (b"[1]", "is no signed tree head"),
        (b'{"form": "signed tree head 1"}', "is missing or does not belong there"),
        (b"\xff\xfe\x00", "is no text in UTF-8"),
        (b"[" * 99_000, "is no JSON"),
        (head_text(time="0001-01-01T00:00:00+14:00"), "is no likely one"),
        (head_text(size=-1), "is not a number of entries"),
        (head_text(root="zz"), "is no signed tree head"),
        (head_text(proof=7), "is no signed tree head"),
        (b"x" * 200_000, "characters are no signed tree head"),
        (b'{"form": "<script>alert(1)</script>"}', "is no signed tree head"),
    ],
)
def test_a_file_that_is_no_signed_head_is_refused(site, content, says):
    answer = bring(site, content, name="<script>alert(1)</script>.json")
    assert answer.status_code == 422
    assert says in words(answer)
    assert "<script>alert" not in answer.text


def test_no_file_at_all_is_refused(site):
    answer = site.visitor("auditor").submit("/audit", "/audit/heads")
    assert answer.status_code == 422
    assert "choose the signed head that you kept" in words(answer)


def test_the_result_of_verifying_can_be_taken(site):
    told = site.visitor("auditor").get("/audit/verification.json").json
    assert told["whole"] is True
    assert (told["entries"], told["root"]) == (site.book.size(), site.book.root().hex())
    assert told["breaches"] == []
