"""The rules in force: each in plain words, with its limits and how often it was not met."""

import pytest

from qa_engine.demo import AS_OF
from qa_engine.report.handbook import handbook_of
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION


@pytest.fixture
def state(site):
    return site.app.extensions[EXTENSION].lookout.state(AS_OF)


@pytest.fixture
def page(site):
    return " ".join(site.visitor("crew").get("/rules").text.split())


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_rules(site, role):
    assert site.visitor(role).get("/rules").status_code == 200


def test_each_rule_in_force_is_there_once_with_its_title(state, page):
    book = handbook_of(state.editions, AS_OF.astimezone(state.register.zone).date())
    assert len(book.entries) > 20
    for entry in book.entries:
        assert page.count(f'id="{entry.key}"') == 1
    assert page.count("<article") == len(book.entries)


def test_a_rule_says_how_often_it_was_not_met(state, page):
    (row,) = state.coverage.filter(rule="outlet-below-stop-limit", edition="2025-01").to_dicts()
    part = page[page.index('id="rinse-water--outlet-below-stop-limit"') :].split("</article>")[0]
    assert row["does_not_conform"] > 1
    assert f"Not met {row['does_not_conform']:,} times" in part
    assert f"in {row['conforms'] + row['does_not_conform']:,} verdicts" in part


def test_a_rule_shows_limit_caution_and_condition_as_written(page):
    part = page[page.index('id="rinse-water--outlet-below-stop-limit"') :].split("</article>")[0]
    assert "30 mg/L" in part.replace("\N{NO-BREAK SPACE}", " ")
    assert "Caution." in part
    assert "requires: " in part


def test_nothing_on_the_page_needs_a_style_of_its_own(page):
    assert "style=" not in page
    assert "<style" not in page
