"""The way of each user from signing in to done, on a phone and a desk, in light and dark."""

import pytest
from playwright.sync_api import expect

from qa_engine.web.accounts import ROLES

LOOKS = [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")]
looks = pytest.mark.parametrize(("width", "scheme"), LOOKS)


def place(page, name):
    """Go to a place by the links on top of every page."""
    page.click(f"header nav a:text-is('{name}')")


@looks
def test_crew_logs_a_reading_and_sees_the_verdict(device, width, scheme):
    phone = device(width, scheme)
    page = phone.sign_in(phone.page(), "crew")
    place(page, "Log")
    page.select_option("#tank", "T07")
    page.click("form.choose button")
    phone.looked_at(page)
    page.click("a:has-text('Reading')")
    page.fill("#outlet_tds", "36")
    page.select_option("#sampled", "flowing")
    page.fill("#at", "2026-07-31T17:00")
    phone.looked_at(page)
    page.click("form.log > button")
    expect(page.locator("h1")).to_contain_text("Kept.")
    expect(page.locator("h1")).to_contain_text("Does not conform:")
    expect(page.locator(".verdict").first).to_contain_text("Stop rinsing from this tank.")
    expect(page.locator("#kept")).to_be_hidden()
    phone.looked_at(page)


@looks
def test_an_operator_goes_from_the_board_to_a_tank_and_its_finding(device, width, scheme):
    desk = device(width, scheme)
    page = desk.sign_in(desk.page(), "operator")
    expect(page.locator("h1")).to_contain_text("before they rinse again")
    desk.looked_at(page)
    page.click(".first a[href^='/tanks/'] >> nth=0")
    expect(page.locator("h1")).to_contain_text("T")
    desk.looked_at(page)
    place(page, "Findings")
    desk.looked_at(page)
    page.locator("main a[href^='/findings/']:not(.exports a):visible").first.click()
    expect(page.locator("h1")).to_be_visible()
    desk.looked_at(page)


@looks
def test_an_auditor_reads_what_was_judged(device, width, scheme):
    desk = device(width, scheme)
    page = desk.sign_in(desk.page(), "auditor")
    place(page, "Audit")
    expect(page.locator("h1")).to_contain_text("were judged")
    desk.looked_at(page)
    expect(page.locator("header nav a:text-is('Log')")).to_have_count(0)


@looks
def test_an_administrator_invites_somebody_who_then_gets_in(device, width, scheme):
    desk = device(width, scheme)
    page = desk.sign_in(desk.page(), "administrator")
    place(page, "People")
    expect(page.locator("h1")).to_contain_text("may sign in")
    page.fill("#person", f"P-{width}-{scheme}")
    page.select_option("#role", ROLES[0])
    page.click("form.narrow button")
    link = page.locator("code.secret").inner_text()
    desk.looked_at(page)
    phone = device(width, scheme)
    page = phone.page()
    page.goto(link)
    phone.looked_at(page)
    page.fill("#sign_in", f"new-{width}-{scheme}")
    page.fill("#password", "a long enough password")
    page.click("form.card button")
    expect(page.locator("header nav a:text-is('Log')")).to_be_visible()
