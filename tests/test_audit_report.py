"""The audit report: what it counts, what it shows, and that it is the same file every time."""

import json
import re
import sys
import zlib
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files

import polars as pl
import pytest
import typst
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from qa_engine.audit import (
    CAUTIONS,
    Asked,
    Scope,
    audit_of,
    enter_remark,
    json_audit,
    pdf_audit,
    remarks_in,
    sentences,
)
from qa_engine.audit.as_pdf import TEMPLATE, inputs_of
from qa_engine.audit.lettering import lettered
from qa_engine.audit.paper import paper_of
from qa_engine.book import Submission, create_book
from qa_engine.book.heads import note_head, signed_head
from qa_engine.book.permission_body import body_of
from qa_engine.errors import AuditError
from qa_engine.intake import read_records, read_register
from qa_engine.permissions import CONCESSION, Permission
from qa_engine.subjects import Period

BEGUN = datetime(2026, 7, 1, tzinfo=UTC)
AS_OF = datetime(2026, 7, 20, 12, tzinfo=UTC)
JULY = Period(date(2026, 7, 1), date(2026, 7, 14))
HOSTILE = '#panic("x") *b* $y$ @z <script> \\ `q` 中\u202e'

REGISTER = """
operator: {name: Quillmere, time_zone: Europe/London}
vans:
  - {van: V1, base: north}
  - {van: V2, base: south}
tanks:
  - {tank: T1, van: V1, vessel_volume: 20 L}
  - {tank: T2, van: V2, vessel_volume: 20 L}
meters: [{meter: M1}]
"""
DAYS = """record,kind,at,van,tank,outlet_tds,sampled,meter
R0,reading,2026-06-20T08:00:00Z,V1,T1,9,flowing,M1
R1,reading,2026-07-02T08:00:00Z,V1,T1,35,flowing,M1
R2,reading,2026-07-03T08:00:00Z,V1,T1,35,flowing,M1
R3,reading,2026-07-10T08:00:00Z,V2,T1,35,flowing,M1
R4,reading,2026-07-04T08:00:00Z,V2,T2,5,flowing,M1
R5,reading,2026-07-18T08:00:00Z,V2,T2,5,flowing,M1
"""
RULES = """
rule_set: outlets
title: Outlets
edition: "1"
in_force: {from: 2026-01-01}
owner: Quillmere
rules:
  - rule: outlet-low
    title: Outlet is low
    subject: reading
    requires: outlet_tds <= most
    limits: {most: {is: 30 mg/L, basis: made up for this test}}
    grading: major
    says: Outlet of {tank} read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 30 mg/L}]
      does_not_conform: [{outlet_tds: 31 mg/L}]
"""


def rules(host):
    return [("outlets.yaml", RULES.encode())]


@pytest.fixture
def book(tmp_path):
    """A book begun on 1 July: everything was brought in on 5 July at noon."""
    (tmp_path / "register.yaml").write_text(REGISTER, encoding="utf-8")
    (tmp_path / "days.csv").write_text(DAYS, encoding="utf-8")
    register = read_register(tmp_path / "register.yaml")
    with create_book(
        tmp_path / "a.book",
        operator="Quillmere",
        time_zone="Europe/London",
        entered_at=BEGUN,
        entered_by="P-1",
        book_id="ab" * 16,
    ) as made:
        entered = {"entered_at": BEGUN + timedelta(days=4, hours=12), "entered_by": "P-1"}
        made.put_register(register, key="register", **entered)
        frames = read_records([tmp_path / "days.csv"], time_zone=None).frames
        made.add(frames, key="days", source="days.csv", **entered)
        yield made


def report_of(book, scope=None, period=JULY, as_of=AS_OF):
    asked = Asked(scope or Scope(), period, as_of)
    return audit_of(book, asked, [], rules)


def counts(report):
    row = report.judgement.coverage.row(0, named=True)
    return row["conforms"], row["does_not_conform"]


def correct(book, **changes):
    """Correct R1 on 6 July."""
    row = book.frames()["reading"].filter(record="R1")
    row = row.with_columns(pl.lit(value).alias(name) for name, value in changes.items())
    at = BEGUN + timedelta(days=5)
    why = "read upside down"
    book.correct({"reading": row}, key="c", entered_at=at, entered_by="P-2", reason=why)


def by(person="P-3", key="k1", at=AS_OF):
    return Submission(key, at, person)


def attached(pdf):
    """Return the file attached to a PDF, taken out by its raw object."""
    found = re.search(rb"/Length (\d+)/Type/EmbeddedFile[^>]*>>[^>]*>>\s*stream\r?\n", pdf)
    assert found
    return zlib.decompress(pdf[found.end() : found.end() + int(found[1])])


def text_of(book, **kw):
    return json.dumps(paper_of(report_of(book, **kw)), ensure_ascii=False)


def test_a_period_counts_the_verdicts_of_its_days_alone(book):
    """In 1 to 14 July: R1, R2, R3 fail, R4 conforms; R0 and R5 lie outside."""
    assert counts(report_of(book)) == (1, 3)


@pytest.mark.parametrize(
    ("scope", "expected"),
    [
        (Scope(tanks=("T1",)), (0, 3)),
        (Scope(vans=("V1",)), (0, 2)),
        (Scope(vans=("V2",)), (1, 1)),  # T1 was read on V2 on the 10th
        (Scope(bases=("south",)), (1, 1)),
        (Scope(bases=("north",), tanks=("T2",)), (1, 2)),  # places add up
    ],
)
def test_a_scope_counts_what_was_in_its_places_at_the_time(book, scope, expected):
    assert counts(report_of(book, scope)) == expected


def test_a_finding_belongs_to_every_van_that_one_of_its_events_was_on(book):
    """R1 to R3 are one run on T1, begun on V1 and ended on V2."""
    for van in ("V1", "V2"):
        found = report_of(book, Scope(vans=(van,))).judgement.findings
        assert found["evidence"].explode().is_in(["R1", "R2", "R3"]).all()
        assert found.height == 1
    assert report_of(book, Scope(tanks=("T2",))).judgement.findings.is_empty()


def test_scopes_of_all_bases_add_up_to_the_fleet(book):
    parts = [counts(report_of(book, Scope(bases=(base,)))) for base in ("north", "south")]
    assert tuple(map(sum, zip(*parts, strict=True))) == counts(report_of(book))


def test_findings_are_counted_by_rule_and_grading(book):
    row = report_of(book).by_rule.row(0, named=True)
    assert (row["rule"], row["grading"], row["findings"], row["stand"]) == (
        "outlet-low",
        "major",
        1,
        1,
    )


def test_a_finding_of_before_the_period_that_stands_is_told_apart(book):
    judgement = report_of(book, period=Period(date(2026, 7, 15), date(2026, 7, 19))).judgement
    assert judgement.findings.is_empty()
    assert judgement.before["evidence"].to_list() == [["R1", "R2", "R3"]]


def test_an_empty_scope_says_that_nothing_was_judged_and_not_that_all_conforms(book):
    period = Period(date(2026, 7, 5), date(2026, 7, 6))
    says = sentences(report_of(book, Scope(tanks=("T2",)), period))
    assert says[0] == "Nothing was judged in this scope and period, so nothing is said to conform."
    assert not any("finding" in text for text in says)


@pytest.mark.parametrize(
    ("scope", "says"),
    [
        (Scope(vans=("V3",)), "scope: there is no van 'V3'; known are V1, V2"),
        (Scope(bases=("everywhere else",)), "known are north, south"),
        (Scope(rule_sets=("outlet",)), "did you mean 'outlets'?"),
    ],
)
def test_a_name_that_stands_for_nothing_is_refused(book, scope, says):
    with pytest.raises(AuditError, match=re.escape(says)):
        report_of(book, scope)


@pytest.mark.parametrize(
    ("first", "last", "says"),
    [
        (date(2026, 7, 9), date(2026, 7, 8), "it ends (2026-07-08) before it begins (2026-07-09)"),
        (date(2026, 7, 21), date(2026, 7, 22), "it begins on 2026-07-21, after the day of the"),
    ],
)
def test_a_period_that_cannot_be_looked_at_is_refused(book, first, last, says):
    with pytest.raises(AuditError, match=re.escape(says)):
        report_of(book, period=Period(first, last))


def test_late_entries_are_listed_with_their_delay(book):
    """R1 came in on 5 July at 12:00, 76 h after 2 July 8:00; R2 52 h; R4 28 h; R3 ahead."""
    late = report_of(book).entries.late
    assert late.select("record", "delay_h").rows() == [("R1", 76.0), ("R2", 52.0)]


def test_what_happened_before_the_book_was_begun_cannot_be_told_from_late(book):
    entries = report_of(book, period=Period(date(2026, 6, 1), date(2026, 7, 1))).entries
    assert (entries.records, entries.unknown, entries.late.height) == (1, 1, 0)
    says = " ".join(sentences(report_of(book, period=Period(date(2026, 6, 1), date(2026, 7, 1)))))
    assert "Of 1 record it cannot be told whether they came in late" in says


def test_a_correction_tells_each_field_and_who_and_why(book):
    correct(book, outlet_tds=5.0, note="copied")
    told = report_of(book).corrections
    assert told.select("id", "field", "before", "after").rows() == [
        ("R1", "note", None, "copied"),
        ("R1", "outlet_tds", "35", "5"),
    ]
    assert set(told["entered_by"]) == {"P-2"}
    assert set(told["reason"]) == {"read upside down"}


def test_a_correction_concerns_the_period_of_its_entry_and_of_its_record(book):
    correct(book, outlet_tds=5.0)  # of 2 July, entered on 6 July
    for day, count in ((2, 1), (6, 1), (9, 0)):
        period = Period(date(2026, 7, day), date(2026, 7, day))
        assert report_of(book, period=period).corrections.height == count
    assert report_of(book, Scope(vans=("V2",))).corrections.height == 0


def test_a_register_that_was_replaced_is_told_without_fields(book, tmp_path):
    (tmp_path / "register.yaml").write_text(REGISTER.replace("20 L", "30 L"), encoding="utf-8")
    register = read_register(tmp_path / "register.yaml")
    at = BEGUN + timedelta(days=6)
    book.put_register(register, key="r2", entered_at=at, entered_by="P-2", reason="measured")
    told = report_of(book).corrections.row(0, named=True)
    assert (told["kind"], told["field"], told["reason"]) == ("register", None, "measured")


PERMIT = Permission(
    permission="CO-1",
    type=CONCESSION,
    rule_set="outlets",
    rule="outlet-low",
    van="V1",
    tank=None,
    reason="The resin came on Friday.",
    requested_by="P-1",
    approved_by="P-2",
    requested_on=date(2026, 7, 4),
    approved_on=date(2026, 7, 5),
    begins=date(2026, 7, 2),
    until=date(2026, 7, 3),
    longest_d=30,
    source="permits.yaml",
    line=1,
    sha256="0" * 64,
)


def test_a_permission_stands_in_the_reports_that_it_touches(book):
    """It covers V1 on 2 and 3 July: R1 and R2, one finding apart from that of R3 on V2."""
    at = BEGUN + timedelta(days=5)
    book.put("permission", "CO-1", body_of(PERMIT), key="co", entered_at=at, entered_by="P-2")
    report = report_of(book)
    assert [(a.permission.permission, a.uses) for a in report.permissions] == [("CO-1", 1)]
    assert report.by_rule["findings"].sum() == 2
    assert report.by_rule["permitted"].sum() == 1
    assert "The resin came on Friday." in text_of(book)
    assert "1 is under permission" in " ".join(sentences(report))
    assert attached(pdf_audit(report)).decode() == json_audit(report)
    touched = [
        len(report_of(book, scope, period).permissions)
        for scope, period in (
            (Scope(bases=("north",)), JULY),
            (Scope(vans=("V2",)), JULY),
            (Scope(), Period(date(2026, 7, 3), date(2026, 7, 3))),
            (Scope(), Period(date(2026, 7, 4), date(2026, 7, 4))),
            (Scope(), Period(date(2026, 7, 1), date(2026, 7, 1))),
        )
    ]
    assert touched == [1, 0, 1, 0, 0]
    assert report_of(book, as_of=at - timedelta(hours=1)).permissions == ()


def test_remarks_stand_in_the_report_and_change_no_verdict(book):
    before = counts(report_of(book))
    made = enter_remark(book, {"sort": "rule", "about": "outlets/outlet-low", "text": "Why?"}, by())
    report = report_of(book)
    assert made == "AU-1"
    assert [one.text for one in report.remarks] == ["Why?"]
    assert counts(report) == before


def test_the_same_form_sent_twice_makes_one_remark(book):
    body = {"sort": "period", "first": "2026-07-01", "last": "2026-07-14", "text": "Seen."}
    assert enter_remark(book, body, by()) == enter_remark(book, body, by())
    assert len(remarks_in(book)) == 1


def test_the_head_that_an_auditor_keeps_must_be_one_that_the_book_had(book):
    kept = {"sort": "head kept", "size": book.size(), "root": book.root().hex()}
    with pytest.raises(AuditError, match="the book never had a head of"):
        enter_remark(book, {**kept, "root": "00" * 32}, by(key="k2"))
    enter_remark(book, kept, by())
    assert remarks_in(book)[0].concerns == f"keeps the head of {kept['size']} entries"


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"sort": "finding", "text": "x"}, "which one: missing"),
        ({"sort": "rule", "about": "low", "text": "x"}, "'low' is no rule; expected SET/RULE"),
        ({"sort": "rule", "about": "a/b"}, "the remark: missing"),
        (
            {"sort": "period", "first": "2026-07-02", "last": "2026-07-01", "text": "x"},
            "the last day: 2026-07-01 is before the first one",
        ),
        (
            {"sort": "period", "first": "2026-07-40", "last": "2026-07-01", "text": "x"},
            "2026-07-40",
        ),
        ({"sort": "whim", "text": "x"}, "what it is about"),
        ({"sort": "rule", "about": "a/b", "text": "x" * 2001}, "has 2001 characters"),
    ],
)
def test_a_remark_that_cannot_be_kept_says_which_part(book, body, says):
    with pytest.raises(AuditError, match=re.escape(says)):
        enter_remark(book, body, by())
    assert remarks_in(book) == ()


def test_a_signed_head_is_told_with_what_came_in_since(book):
    key = Ed25519PrivateKey.from_private_bytes(b"k" * 32)
    at = BEGUN + timedelta(days=5)
    head = signed_head(book, key, at)
    note_head(book, head, entered_at=at, entered_by="P-1")
    told = report_of(book).book
    assert told.genuine
    says = f"Its tree head of {head.size} entries was signed on 2026-07-06; 1 entry came in since."
    assert told.signature_says == says
    early = report_of(book, as_of=at - timedelta(hours=1)).book
    assert early.signature_says == "No tree head of it was ever signed."


def test_a_breach_is_told(book):
    with book.engine.connect() as held:
        raw = held.connection.cursor()
        found = raw.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in found:
            raw.execute(f'DROP TRIGGER "{name}"')
        raw.execute("UPDATE reading SET outlet_tds = 1 WHERE record = 'R2'")
        held.connection.commit()
    report = report_of(book)
    assert "NOT whole" in report.book.says
    assert "R2" in text_of(book)
    assert json.loads(json_audit(report))["book"]["breaches"] != []


def test_the_same_report_can_be_made_again_after_the_book_has_grown(book):
    before = json_audit(report_of(book)), pdf_audit(report_of(book))
    row = book.frames()["reading"].filter(record="R4").with_columns(record=pl.lit("R9"))
    later = AS_OF + timedelta(days=1)
    book.add({"reading": row}, key="later", entered_at=later, entered_by="P-1")
    assert (json_audit(report_of(book)), pdf_audit(report_of(book))) == before
    assert json_audit(report_of(book, as_of=later)) != before[0]


def test_the_json_has_the_members_that_its_form_promises(book):
    told = json.loads(json_audit(report_of(book, Scope(vans=("V1",)))))
    assert list(told) == [
        *("audit_report", "operator", "time_zone", "as_of", "scope", "period", "engine"),
        *("complete", "says", "cautions", "totals", "outside_scope", "rule_sets", "plugins"),
        *("coverage", "findings_by_rule", "findings", "findings_before", "permissions"),
        *("corrections", "remarks", "late", "book"),
    ]
    assert told["scope"] == {"bases": [], "vans": ["V1"], "tanks": [], "rule_sets": []}
    assert told["period"] == {"from": "2026-07-01", "to": "2026-07-14"}
    assert [one["record"] for one in told["late"]["entries"]] == ["R1", "R2"]
    assert told["rule_sets"][0]["sha256"] in text_of(book)
    assert told["book"]["root"] == book.root().hex()


def test_the_paper_is_an_archive_file_with_the_report_attached_to_the_byte(book):
    report = report_of(book)
    pdf = pdf_audit(report)
    assert pdf.startswith(b"%PDF-1.7")
    assert b"<pdfaid:part>3</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    assert b"/AFRelationship/Source" in pdf
    assert attached(pdf).decode() == json_audit(report)
    assert b"2026-07-20" in pdf


def test_what_people_write_is_never_taken_for_markup(book):
    correct(book, note=HOSTILE)
    enter_remark(book, {"sort": "finding", "about": HOSTILE, "text": HOSTILE}, by())
    report = report_of(book)
    told = json.dumps(paper_of(report), ensure_ascii=False)
    assert '#panic(\\"x\\") *b* $y$ @z <script> \\\\ `q` <U+4E2D><U+202E>' in told
    assert json.loads(attached(pdf_audit(report)))["remarks"][0]["text"] == HOSTILE


def test_every_letter_that_is_shown_as_it_is_can_be_set():
    shown = [chr(code) for code in range(0x20, 0x3000) if lettered(chr(code)) == chr(code)]
    assert len(shown) > 1_400
    source = b'#set text(font: "Libertinus Serif")\n#for c in sys.inputs.all.clusters() [#c ]'
    typst.compile(
        source,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"all": "".join(shown)},
        pdf_standards=["a-3a"],
    )


@pytest.mark.parametrize(
    "letter", ["\u202e", "\u200b", "\x00", "中", "\U0001f600", "\ufffe", "\xad"]
)
def test_a_letter_without_shape_or_font_is_shown_by_its_number(letter):
    assert lettered(f"a{letter}b") == f"a<U+{ord(letter):04X}>b"


def test_the_paper_never_goes_without_its_cautions_and_numbers_its_pages(book):
    report = report_of(book)
    template = inputs_of(report)
    assert all(caution in template["paper"] for caution in CAUTIONS)
    assert "data plate, local codes and licensed" in CAUTIONS[0]
    source = files("qa_engine.audit").joinpath(TEMPLATE).read_text()
    assert 'counter(page).display("1 of 1", both: true)' in source


def test_a_long_table_says_how_many_rows_only_the_attached_report_has(book, monkeypatch):
    monkeypatch.setattr("qa_engine.audit.sections.MOST_ROWS", 1)
    assert "1 more stand in the attached report." in text_of(book)
    assert len(json.loads(json_audit(report_of(book)))["late"]["entries"]) == 2


def test_without_the_typesetter_it_says_what_to_install(book, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(AuditError, match=re.escape("install qa-engine[pdf]")):
        pdf_audit(report_of(book))
