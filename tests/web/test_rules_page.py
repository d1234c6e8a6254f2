"""The rules: each in plain words, with what its limits rest on and how often it fired."""

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from qa_engine.demo import AS_OF
from qa_engine.report.handbook import handbook_of
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION
from qa_engine.web.rules.told import force_of, overdue_of, told_of

STOP = "rinse-water--outlet-below-stop-limit"


@pytest.fixture
def state(site):
    return site.app.extensions[EXTENSION].lookout.state(AS_OF)


@pytest.fixture
def read(site):
    visitor = site.visitor("crew")
    return lambda address: " ".join(visitor.get(address).text.split())


@pytest.fixture
def page(read):
    return read("/rules")


@pytest.fixture
def water(read):
    return read("/rules/sets/rinse-water")


def part_of(page, key, end):
    return page[page.index(f'id="{key}"') :].split(end)[0].replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_rules(site, role):
    visitor = site.visitor(role)
    for address in ("/rules", "/rules/sets/rinse-water", "/rules/sets/rinse-water/2025-01"):
        assert visitor.get(address).status_code == 200


@pytest.mark.parametrize("address", ["/rules", "/rules/sets/rinse-water", "/rules/proposals/"])
def test_nobody_reads_them_without_signing_in(site, address):
    assert site.visitor().get(address).status_code == 302


def test_each_rule_in_force_is_there_once_with_its_counts(state, page):
    book = handbook_of(state.editions, AS_OF.astimezone(state.register.zone).date())
    assert len(book.entries) > 20
    for entry in book.entries:
        assert page.count(f'id="{entry.key}"') == 1
    (row,) = state.coverage.filter(rule="outlet-below-stop-limit", edition="2025-01").to_dicts()
    cells = re.findall(r">([\d,]+)<", part_of(page, STOP, "</tr>"))
    names = ("does_not_conform", "conforms", "undecided", "pending", "not_applicable")
    assert cells == [f"{row[name]:,}" for name in names]


def test_a_rule_that_was_not_met_leads_to_its_findings(site, page):
    (address,) = re.findall(r'href="(/findings[^"]+)"', part_of(page, STOP, "</tr>"))
    found = site.visitor("crew").get(address.replace("&amp;", "&"))
    assert found.status_code == 200
    assert "outlet-below-stop-limit" in found.text


def test_the_page_of_a_set_has_each_of_its_rules_in_words(state, water):
    (edition,) = [one for one in state.editions if one.rule_set == "rinse-water"]
    assert water.count("<article") == len(edition.rules)
    for rule in edition.rules:
        assert f'id="rinse-water--{rule.rule}"' in water
    assert "Examples, and the rule as written" in water


def test_a_rule_says_how_often_it_was_not_met(state, water):
    (row,) = state.coverage.filter(rule="outlet-below-stop-limit", edition="2025-01").to_dicts()
    part = part_of(water, STOP, "</article>")
    assert row["does_not_conform"] > 1
    assert f"Not met {row['does_not_conform']:,} times" in part
    assert f"in {row['conforms'] + row['does_not_conform']:,} verdicts" in part


def test_a_rule_shows_limit_basis_caution_and_condition_as_written(water):
    part = part_of(water, STOP, "</article>")
    assert "30 mg/L" in part
    assert "Rests on: common practice, no published source." in part
    assert "Caution." in part
    assert "requires: " in part


def test_a_review_that_is_overdue_is_said(small_site):
    # The rule sets that ship name 2027-04-01; a month later that day has passed.
    small_site.clock.now = AS_OF.replace(year=2027, month=5, day=1)
    visitor = small_site.visitor("crew")
    page = " ".join(visitor.get("/rules").text.split())
    assert re.search(r"The review of \d+ limits is overdue", page)
    assert "review overdue" in part_of(page, STOP, "</tr>")
    water = " ".join(visitor.get("/rules/sets/rinse-water").text.split())
    assert "review overdue" in part_of(water, STOP, "</article>")


def test_no_review_is_overdue_before_its_day(state, page):
    assert "is overdue" not in page
    assert "review overdue" not in page
    edition = next(one for one in state.editions if one.rule_set == "rinse-water")
    assert overdue_of([edition], date(2027, 4, 1)) == []
    late = overdue_of([edition], date(2027, 4, 2))
    assert {limit.review_by for _, _, limit in late} == {date(2027, 4, 1)}


def test_an_edition_is_in_force_from_its_first_to_its_last_day(state):
    first, last = date(2026, 1, 1), date(2026, 1, 31)
    one = replace(state.editions[0], in_force_from=first, in_force_until=last)
    day = timedelta(days=1)
    told = [force_of(one, on) for on in (first - day, first, last, last + day)]
    assert told == ["not in force yet", "in force", "in force", "no longer in force"]


def test_a_rule_that_never_judged_counts_nothing(state):
    edition = replace(state.editions[0], edition="2099-01")
    told = told_of(edition, state.coverage, AS_OF.date())
    assert {rule.judged for rule in told} == {0}


@pytest.mark.parametrize(
    "address",
    ["/rules/sets/no-such", "/rules/sets/rinse-water/2099-01", "/rules/sets/..%2f..%2fetc/passwd"],
)
def test_a_set_or_edition_that_is_not_there_is_not_found(site, address):
    assert site.visitor("crew").get(address).status_code == 404


def test_an_edition_is_given_as_written_to_the_byte(site, state):
    (edition,) = [one for one in state.editions if one.rule_set == "rinse-water"]
    answer = site.visitor("crew").get("/rules/sets/rinse-water/2025-01/as-written.yaml")
    assert answer.data.decode() == edition.document.text
    assert "attachment" in answer.headers["Content-Disposition"]


def test_crews_are_offered_no_proposals_and_auditors_no_editor(site, page):
    assert "/rules/proposals" not in page
    auditor = site.visitor("auditor").get("/rules").text
    assert "/rules/proposals/" in auditor
    assert "/rules/proposals/new" not in auditor


@pytest.mark.parametrize("address", ["/rules", "/rules/sets/rinse-water"])
def test_nothing_on_a_page_needs_a_style_of_its_own(read, address):
    page = read(address)
    assert "style=" not in page
    assert "<style" not in page


def test_the_first_page_of_rules_is_light(site):
    assert len(site.visitor("crew").get("/rules").data) < 100_000
