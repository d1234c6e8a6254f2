"""Findings: jobs first, narrowed by choice, each with its evidence, and taken along as files."""

import csv
import io
import json
from dataclasses import replace
from urllib.parse import quote

import polars as pl
import pytest

from qa_engine.demo import AS_OF
from qa_engine.report.as_csv import FORMULA_STARTS
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION


@pytest.fixture
def state(site):
    return site.app.extensions[EXTENSION].lookout.state(AS_OF)


@pytest.fixture
def told(site, state, monkeypatch):
    """Return a way to let the pages have findings of a test's own."""

    def tell(findings):
        lookout = site.app.extensions[EXTENSION].lookout
        inspection = replace(state.inspection, findings=findings)
        monkeypatch.setattr(lookout, "state", lambda as_of: replace(state, tell=lambda: inspection))

    return tell


def address(finding):
    return f"/findings/{quote(finding, safe='/@')}"


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_findings(site, role):
    assert site.visitor(role).get("/findings").status_code == 200


LISTS = {"part": "What settles them", "undecided": "What could not be decided"}


def whole(visitor, **choice):
    """Return the lists of the page in full: every portion of the two, and what has ended."""
    found = [section(visitor.get("/findings", query_string=choice).text, "Ended, latest first")]
    for name, heading in LISTS.items():
        number, more = 1, True
        while more:
            asked = {**choice, name: number}
            found.append(section(visitor.get("/findings", query_string=asked).text, heading))
            number += 1
            more = f"{name}={number}" in found[-1]
    return "".join(found)


def section(page, heading):
    """Return what stands under a heading of a page; nothing if it has none."""
    return page.partition(f"<h2>{heading}")[2].partition("<h2>")[0]


def test_every_finding_that_stands_is_linked_once_and_no_ended_one(site, state):
    page = whole(site.visitor("crew"))
    for finding, stands in state.findings.select("finding", "stands").rows():
        assert page.count(f'href="{address(finding)}"') == int(stands), finding


def test_undecided_findings_stand_apart_after_the_jobs_with_what_is_missing(site, told, state):
    one = state.findings.filter(pl.col("stands"), outcome="does not conform").head(1)
    open_ = one.with_columns(
        outcome=pl.lit("undecided"),
        finding=pl.lit("a/b/reading/open-1"),
        missing=pl.lit(["outlet_tds"]),
    )
    told(pl.concat([one, open_]))
    page = site.visitor("crew").get("/findings").text
    heading = page.index("What could not be decided, and what is missing")
    assert page.index(address(one["finding"][0])) < heading < page.index("a/b/reading/open-1")
    assert "<li>outlet TDS" in page[heading:]


def test_what_is_under_permission_stands_apart_and_counts_as_no_job(site, told, state):
    one = state.findings.filter(pl.col("stands"), outcome="does not conform").head(1)
    told(one.with_columns(permission=pl.lit("PM-7")))
    page = site.visitor("operator").get("/findings").text
    assert "Under permission" in page
    assert "PM-7" in page
    assert "What settles them" not in page
    assert "1 finding stands under permission." in page


@pytest.mark.parametrize("name", ["van", "tank", "rule_set", "grading", "outcome"])
def test_a_choice_shows_exactly_the_findings_that_fit_it(site, state, name):
    value = state.findings[name].drop_nulls()[0]
    page = whole(site.visitor("crew"), **{name: value, "life": "all"})
    for finding, held in state.findings.select("finding", name).rows():
        assert (f'href="{address(finding)}"' in page) == (held == value), finding


def test_a_choice_of_what_has_ended_shows_nothing_that_stands(site, state):
    page = site.visitor("crew").get("/findings?life=ended").text
    for finding, stands in state.findings.select("finding", "stands").rows():
        assert (f'href="{address(finding)}"' in page) != stands, finding


def test_the_page_of_a_finding_shows_message_correction_caution_and_evidence(site, state):
    row = state.findings.filter(rule="outlet-below-stop-limit").row(0, named=True)
    page = site.visitor("crew").get(address(row["finding"])).text
    for name in ("message", "correction", "caution"):
        assert row[name] in page
    for record in (*row["evidence"], *row["affected"], *row["closed_by"]):
        assert f"<code>{record}</code>" in page
    assert "30 mg/L" in page


def test_the_page_of_a_finding_explains_it_on_demand(site, state):
    row = state.findings.filter(rule="outlet-below-stop-limit").row(0, named=True)
    visitor = site.visitor("crew")
    assert "Is it met?" not in visitor.get(address(row["finding"])).text
    assert "Is it met? No" in visitor.get(address(row["finding"]) + "?explain=yes").text


def test_a_finding_that_is_not_there_is_said_not_to_be(site):
    assert site.visitor("crew").get("/findings/no/such/reading/R-1").status_code == 404


def test_each_file_holds_every_finding(site, state):
    visitor = site.visitor("auditor")
    rows = list(csv.DictReader(io.StringIO(visitor.get("/findings.csv").text)))
    report = json.loads(visitor.get("/findings.json").text)
    log = json.loads(visitor.get("/findings.sarif").text)
    wanted = state.findings["finding"].to_list()
    assert [row["finding"] for row in rows] == wanted
    assert [one["finding"] for one in report["findings"]] == wanted
    assert len(log["runs"][0]["results"]) == len(wanted)
    assert report["records"]["read"] == state.records + state.inspection.later


def test_files_are_offered_under_a_name_with_their_day(site):
    answer = site.visitor("auditor").get("/findings.sarif")
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=findings-20")


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_no_cell_of_the_csv_is_taken_for_a_formula(site, told, state, start):
    wicked = f"{start}HYPERLINK(1)"
    one = state.findings.head(1).with_columns(
        message=pl.lit(wicked),
        van=pl.lit(wicked),
        evidence=pl.lit([wicked]),
    )
    told(one)
    answer = site.visitor("auditor").get("/findings.csv")
    text = answer.data.decode()
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert [row[name] for name in ("message", "van", "evidence")] == ["'" + wicked] * 3
    assert not [cell for cell in row.values() if cell.startswith(FORMULA_STARTS)]


def test_markup_in_a_record_is_shown_as_text(site, told, state):
    one = state.findings.filter("stands").head(1)
    told(one.with_columns(message=pl.lit("<script>alert(1)</script>")))
    visitor = site.visitor("crew")
    for page in ("/findings", address(one["finding"][0])):
        text = visitor.get(page).text
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text


def test_a_finding_is_found_whatever_signs_its_subject_has(site, told, state):
    strange = "a/b/reading/R 1//2#3?4%5"
    told(state.findings.head(1).with_columns(finding=pl.lit(strange)))
    visitor = site.visitor("crew")
    page = visitor.get("/findings?life=all").text
    link = page.split('href="/findings/')[1].split('"')[0]
    assert visitor.get(f"/findings/{link}").status_code == 200


def test_of_many_ended_findings_the_latest_are_shown_and_the_rest_counted(site, told, state):
    ended = state.findings.filter(~pl.col("stands"))
    told(pl.concat([ended] * 3))
    page = site.visitor("crew").get("/findings?life=ended").text
    assert f"The latest 200 of {3 * ended.height} are shown" in page
    assert page.count('href="/findings/') == 200


def test_a_finding_tells_when_the_book_was_found_to_say_so(site, state):
    visitor = site.visitor("operator")
    first = state.findings.filter("stands")["finding"][0]
    page = visitor.get(f"/findings/{first}").text
    told = page.split("When the book was found to say so")[1].split("</ul>")[0]
    assert told.count("<li>") == 1
    assert f"with {state.entries:,} entries in the book" in told
