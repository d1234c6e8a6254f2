"""The handbook: true to the rules, safe against their texts, readable on any screen and paper."""

import re
from datetime import date
from html.parser import HTMLParser

import pytest

from qa_engine.cli.rule_files import offered
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.report.handbook import entry_of, handbook_of
from qa_engine.report.handbook_as_html import html_handbook
from qa_engine.report.handbook_as_markdown import escaped, markdown_handbook
from qa_engine.report.handbook_style import STYLE
from qa_engine.rulesets import read_rule_sets

FILE = """\
rule_set: {name}
title: {title}
edition: {edition}
in_force: {{from: {first}}}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    applies_if: sampled == "flowing"
    requires: outlet_tds < house_limit
    limits:
      house_limit: {{is: {limit}, basis: common practice, review_by: 2027-04-01}}
    grading: {grading}
    says: Outlet water read {{outlet_tds}}; the limit is {{house_limit}}.
    correction: Finish this vehicle, then change the resin.
    caution: See zero on a gauge before opening the tank.
    permission: never
    examples:
      conforms: [{{outlet_tds: 1 mg/L, sampled: flowing}}]
      does_not_conform: [{{outlet_tds: 40 mg/L, sampled: flowing}}]
      undecided: [{{sampled: flowing}}]
{more}"""

COMPLAINT = """\
  - rule: complaint-followed-by-reading
    title: Complaint followed by a reading
    subject: complaint
    requires: reading_followed
    within: 2 days
    grading: minor
    says: No reading followed.
    correction: Read the outlet.
    examples:
      conforms: [{reading_followed: yes}]
      does_not_conform: [{reading_followed: no}]
"""

CATALOGUE = Catalogue.of(ENGINE_FACTS)
MAY = date(2026, 5, 4)


def edition(
    edition="2026-01", first="2026-01-01", limit="25 mg/L", grading="minor", more="",
    name="house", title="House rules",
):  # fmt: skip
    """Return a rule file of the house."""
    text = FILE.format(
        edition=edition, first=first, limit=limit, grading=grading, more=more, name=name,
        title=title,
    )  # fmt: skip
    return (f"{name}-{edition}.yaml", text.encode())


def handbook(*files, on=MAY):
    return handbook_of(read_rule_sets(files, CATALOGUE), on)


@pytest.fixture(scope="module")
def shipped():
    """The handbook of the rules that ship."""
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    return handbook_of(read_rule_sets(offered(host), catalogue), MAY)


class Page(HTMLParser):
    """A page taken apart: its text, its ids and links, and whether its elements are closed."""

    VOID = ("meta", "br")

    def __init__(self, page):
        super().__init__()
        self.open, self.ids, self.links, self.loads, self.texts = [], [], [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.ids += [told["id"]] if "id" in told else []
        self.links += [told["href"]] if "href" in told else []
        self.loads += [told["src"]] if "src" in told else []
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


def test_a_rule_is_told_with_limit_basis_examples_caution_and_terms():
    text = Page(html_handbook(handbook(edition()))).text
    for part in (
        "One requirement is in force on 4 May 2026, in one rule set: 1 minor.",
        "If the water sampled is “flowing”, then outlet TDS is below 25 mg/L.",
        "Every reading, if the water sampled is “flowing”.",
        "house limit 25 mg/L common practice 1 Apr 2027",
        "Finish this vehicle, then change the resin.",
        "Caution. See zero on a gauge before opening the tank.",
        "Outlet TDS is 40 mg/L; the water sampled is “flowing”",
        "The water sampled is “flowing”; the rest is not known",
        "No exception is ever permitted.",
        "requires: outlet_tds < house_limit",
        "It approves no vessel",
    ):
        assert part in text


def test_markdown_says_the_same():
    text = markdown_handbook(handbook(edition())).replace("\N{NO-BREAK SPACE}", " ")
    for part in (
        "**Must hold:** Outlet TDS is below 25 mg/L.",
        "**Judged:** Every reading, if the water sampled is “flowing”.",
        "| house limit | 25 mg/L | common practice | 1 Apr 2027 |",
        "> **Caution:** See zero on a gauge before opening the tank.",
        "- Does not conform: outlet TDS is 40 mg/L; the water sampled is “flowing”",
        '`house/outlet-below-house-limit: applies_if: sampled == "flowing"; requires: outlet',
    ):
        assert part in text


def test_each_day_has_the_edition_then_in_force():
    files = edition("2026-01", "2026-01-01"), edition("2026-06", "2026-06-01", "20 mg/L")
    last_day, first_day = date(2026, 5, 31), date(2026, 6, 1)
    assert "below 25 mg/L" in Page(html_handbook(handbook(*files, on=last_day))).text
    assert "below 20 mg/L" in Page(html_handbook(handbook(*files, on=first_day))).text
    before = handbook(*files, on=date(2025, 12, 31))
    assert before.summary == "No requirement is in force on 31 Dec 2025."
    assert "Not in force on this day" in Page(html_handbook(before)).text


def test_the_history_says_what_each_edition_changed():
    files = (
        edition("2026-01", "2026-01-01"),
        edition("2026-06", "2026-06-01", "20 mg/L", "major", COMPLAINT),
        edition("2026-09", "2026-09-01", "20 mg/L", "major"),
    )
    latest, middle, first = handbook(*files).chapters[0].history
    assert [one.is_current for one in (latest, middle, first)] == [False, False, True]
    assert (first.force, first.changes) == ("1 Jan 2026 to 31 May 2026", ())
    assert [text.replace("\N{NO-BREAK SPACE}", " ") for text in middle.changes] == [
        "Outlet water below the house limit: house limit 25 mg/L, now 20 mg/L; "
        "grading was minor, is now major.",
        "New: Complaint followed by a reading.",
    ]
    assert latest.changes == ("No longer asked for: Complaint followed by a reading.",)
    assert latest.force == "from 1 Sep 2026"


def test_a_change_of_what_is_required_is_told_in_words():
    name, text = edition("2026-06", "2026-06-01")
    changed = text.replace(b"outlet_tds < house", b"outlet_tds <= house")
    changed = changed.replace(b'    applies_if: sampled == "flowing"\n', b"")
    told = handbook(edition(), (name, changed)).chapters[0].history[0].changes[0]
    assert told.replace("\N{NO-BREAK SPACE}", " ") == (
        "Outlet water below the house limit: now requires that outlet TDS is at most 25 mg/L; "
        "now applies always."
    )


def test_time_and_confidence_are_told_among_the_terms():
    name, text = edition(more=COMPLAINT)
    guarded = (
        b"    decision: {acceptance: guarded, confidence: 95 %}\n    grading: minor\n    says: Out"
    )
    files = read_rule_sets(
        [(name, text.replace(b"    grading: minor\n    says: Out", guarded))], CATALOGUE
    )
    first, second = (entry_of(rule) for rule in files[0].rules)
    assert "a verdict must be 95 % sure" in first.terms[0].replace("\N{NO-BREAK SPACE}", " ")
    assert "within 2 days after" in second.terms[0].replace("\N{NO-BREAK SPACE}", " ")


def test_a_limit_by_grade_lists_a_value_for_each_word():
    name, text = edition()
    by = b"{by: grade, is: {standard mixed bed: 5 mg/L, two-bed: 0.01 g/L}, basis: common practice,"
    text = text.replace(b"{is: 25 mg/L, basis: common practice,", by)
    (limit,) = handbook((name, text)).entries[0].limits
    values = [value.replace("\N{NO-BREAK SPACE}", " ") for value in limit.values]
    assert (limit.name, values) == (
        "house limit, by the grade of the resin",
        ["standard mixed bed: 5 mg/L", "two-bed: 10 mg/L"],
    )


def test_hostile_texts_stay_texts_in_html():
    nasty = '"<script>alert(1)</script> & <img src=x onerror=alert(1)>"'
    page = Page(html_handbook(handbook(edition(title=nasty))))
    assert page.open == []
    assert page.loads == []
    assert "<script>alert(1)</script> & <img src=x onerror=alert(1)>" in page.text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a | b", r"a \| b"),
        ("<b>", r"\<b\>"),
        ("[x](javascript:y)", r"\[x\](javascript:y)"),
        ("19 08 06*", r"19 08 06\*"),
        ("# no heading", r"\# no heading"),
        ("- no list", r"\- no list"),
        ("1. no list", r"1\. no list"),
        ("two\nlines", "two lines"),
        ("below 20 mg/L - at most.", "below 20 mg/L - at most."),
    ],
)
def test_hostile_texts_stay_texts_in_markdown(text, shown):
    assert escaped(text) == shown


def test_the_page_needs_nothing_from_elsewhere(shipped):
    html = html_handbook(shipped)
    page = Page(html)
    assert page.open == []
    assert page.loads == []
    assert all(link.startswith("#") for link in page.links)
    assert not re.search(r"url\(|@import|https?://", STYLE)
    assert "<script" not in html


def test_every_link_leads_somewhere_and_no_id_stands_twice(shipped):
    page = Page(html_handbook(shipped))
    assert len(page.ids) == len(set(page.ids))
    assert {link[1:] for link in page.links} <= set(page.ids)
    anchors = set(re.findall(r'<a id="([^"]+)">', markdown_handbook(shipped)))
    assert set(re.findall(r"\]\(#([^)]+)\)", markdown_handbook(shipped))) == anchors


def test_every_rule_in_force_stands_once_at_a_glance_and_once_in_a_chapter(shipped):
    keys = [entry.key for entry in shipped.entries]
    glance = [entry.key for _, entries in shipped.by_job for entry in entries]
    assert len(keys) == len(set(keys)) > 70
    assert sorted(glance) == sorted(keys)


def test_at_a_glance_goes_by_job_and_the_gravest_come_first(shipped):
    jobs = [job for job, _ in shipped.by_job]
    assert jobs[:3] == ["Reading the water", "Rinsing", "Changing the resin"]
    order = {"major": 0, "minor": 1, "advice": 2}
    for _, entries in shipped.by_job:
        grades = [order[entry.rule.grading] for entry in entries]
        assert grades == sorted(grades)


def test_what_must_hold_never_shows_a_name_as_programs_write_it(shipped):
    told = " ".join(f"{entry.must} {entry.judged}" for entry in shipped.entries)
    assert re.findall(r"\b[a-z]+_[a-z_]+\b|==|<=|recorded\(", told) == []


def test_the_same_rules_give_the_same_bytes(shipped):
    assert html_handbook(shipped) == html_handbook(shipped)
    assert html_handbook(handbook(edition(), edition("2027", "2027-01-01"))) == html_handbook(
        handbook(edition("2027", "2027-01-01"), edition())
    )


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(
    ("ink", "under"),
    [
        ("ink", "paper"), ("ink", "sheet"), ("quiet", "paper"), ("quiet", "sheet"),
        ("water", "sheet"), ("water", "paper"), ("stop", "stop-pale"), ("care", "care-pale"),
        ("ink", "water-pale"), ("ink", "care-pale"),
    ],
)  # fmt: skip
def test_text_stands_out_from_what_is_under_it_by_4_5_to_1(ink, under, dark):
    found = re.findall(r"--([a-z-]+): light-dark\((#\w+), (#\w+)\)", STYLE)
    pairs = {name: (light, night) for name, light, night in found}
    bright, dim = sorted((luminance(pairs[name][dark]) for name in (ink, under)), reverse=True)
    assert (bright + 0.05) / (dim + 0.05) >= 4.5
