"""The log where there is no network: kept on the device, sent once, and never as somebody else."""

import re
from collections import Counter

import pytest
from playwright.sync_api import expect

from qa_engine.book.versions import versions_of
from qa_engine.records import KINDS
from qa_engine.web.log.sheets import SHEETS

AT = "2026-07-31T05:00"
NOT_JUDGED = "Waits to be sent: kept, but not yet judged"


@pytest.fixture
def kept(browsed_site):
    """Return what the book has more than before the test, by note and writer."""
    kinds = ("rinse", "reading")
    before = _noted(browsed_site, kinds)

    def more():
        return _noted(browsed_site, kinds) - before

    return more


def _noted(site, kinds):
    frames = [f for f in site.book.frames(kinds=kinds).values() if "note" in f.columns]
    return Counter(row for f in frames for row in f.select("note", "by").iter_rows() if row[0])


@pytest.fixture
def phone(device):
    return device()


@pytest.fixture
def crew(phone):
    """A tab of the crew's on a phone that could now open the log without a network."""
    page = phone.sign_in(phone.page(), "crew", "/log")
    phone.ready(page)
    return page


def write(page, kind, note, **fields):
    """Fill in a form for tank T07, wherever it comes from, and save it."""
    page.goto(f"{page.url.split('/log')[0]}/log/{kind}?tank=T07")
    page.fill("#at", AT)
    page.fill("#note", note)
    for name, value in fields.items():
        page.fill(f"#{name}", value)
    page.click("form.log > button")


def waits(page, count):
    """Wait for the page of what is kept to list so many forms that wait."""
    page.wait_for_url("**/log/waiting")
    expect(page.locator("[data-list=waiting] li")).to_have_count(count)


def all_sent(page, count):
    expect(page.locator("[data-list=sent] li")).to_have_count(count)
    expect(page.locator("[data-list=waiting]")).to_be_hidden()


def test_three_forms_written_without_network_and_a_closed_tab_give_exactly_three_records(
    phone, crew, kept
):
    phone.no_network()
    write(crew, "rinse", "first of three", rinses="2")
    waits(crew, 1)
    write(crew, "rinse", "second of three", rinses="1")
    waits(crew, 2)
    write(crew, "reading", "third of three", outlet_tds="3")
    waits(crew, 3)
    expect(crew.locator("h2:visible")).to_have_text(NOT_JUDGED)
    crew.close()
    again = phone.page()
    again.goto(f"{phone.url}/log")
    expect(again.locator("#kept [data-of=waiting]")).to_contain_text("not yet judged: 3")
    assert not kept()
    phone.network()
    again.goto(f"{phone.url}/log/waiting")
    all_sent(again, 3)
    again.reload()
    all_sent(again, 3)
    each = ("first of three", "second of three", "third of three")
    assert kept() == Counter({(note, "P-01"): 1 for note in each})
    again.locator("[data-list=sent] li a:visible").first.click()
    expect(again.locator("h1")).to_contain_text("Kept.")
    expect(again.locator("#kept [data-of=sent] b")).to_have_text("2")


def test_when_it_happened_stays_as_written_and_when_it_was_entered_is_when_it_arrived(
    phone, crew, browsed_site
):
    phone.no_network()
    write(crew, "reading", "written at five", outlet_tds="2")
    waits(crew, 1)
    phone.network()
    all_sent(crew, 1)
    reading = browsed_site.book.frames(kinds=["reading"])["reading"]
    (row,) = reading.filter(note="written at five").to_dicts()
    assert row["at"].astimezone(browsed_site.book.register().zone).strftime("%H:%M") == "05:00"
    (version,) = versions_of(browsed_site.book, row["record"])
    assert version.at == browsed_site.clock.now
    assert row["van"], "the register knows on which van the tank is"


def test_the_network_s_return_alone_sends_what_waits_and_two_tabs_do_not_send_it_twice(
    phone, crew, kept
):
    other = phone.page()
    other.goto(f"{phone.url}/log/waiting")
    phone.no_network()
    write(crew, "rinse", "two tabs", rinses="2")
    waits(crew, 1)
    phone.network()
    all_sent(crew, 1)
    assert kept() == {("two tabs", "P-01"): 1}


def test_the_blank_form_of_every_kind_opens_without_network_with_the_tanks_last_seen(phone, crew):
    phone.no_network()
    for kind, sheet in SHEETS.items():
        crew.goto(f"{phone.url}/log/{kind}")
        expect(crew.locator("h1")).to_have_text(sheet.title)
        expect(crew.locator("#at")).to_have_value(re.compile(r"^\d{4}-\d\d-\d\dT\d\d:\d\d$"))
        names = {field.get_attribute("name") for field in crew.locator("form.log [name]").all()}
        assert names >= {*sheet.fields, "key"}, kind
        assert "csrf_token" not in names, "no secret is copied"
        if KINDS[kind].item == "tank":
            expect(crew.locator("#list-tank option[value=T07]")).to_be_attached()


def test_a_tank_s_label_leads_to_its_forms_without_network_too(phone, crew):
    phone.no_network()
    crew.goto(f"{phone.url}/log?tank=T07")
    crew.click("a:has-text('Rinse')")
    expect(crew.locator("#tank")).to_have_value("T07")


def test_a_save_tapped_twice_keeps_one_record(phone, crew, kept):
    crew.goto(f"{phone.url}/log/rinse?tank=T07")
    crew.fill("#at", AT)
    crew.fill("#note", "tapped twice")
    twice = "form => { form.requestSubmit(); form.requestSubmit(); form.requestSubmit(); }"
    crew.locator("form.log").evaluate(twice)
    expect(crew.locator("h1")).to_contain_text("Kept.")
    assert kept() == {("tapped twice", "P-01"): 1}


def test_an_answer_that_is_lost_on_the_way_back_does_not_double_the_record(phone, crew, kept):
    lost = []

    def lose_first(route):
        if route.request.method != "POST" or lost:
            route.continue_()
            return
        lost.append(route.fetch().status)
        route.abort()

    phone.excused.append("net::ERR_FAILED")
    crew.route("**/log/rinse", lose_first)
    write(crew, "rinse", "answer lost", rinses="2")
    crew.wait_for_url("**/log/waiting")
    all_sent(crew, 1)
    assert lost == [201], "the server had taken it the first time"
    assert kept() == {("answer lost", "P-01"): 1}


def test_a_form_is_kept_when_the_session_has_ended_and_sent_after_signing_in(
    phone, crew, kept, browsed_site
):
    crew.goto(f"{phone.url}/log/rinse?tank=T07")
    browsed_site.accounts.close_all("P-01")
    crew.fill("#at", AT)
    crew.fill("#note", "session ended")
    crew.click("form.log > button")
    crew.wait_for_url(re.compile("/people/sign-in"))
    expect(crew.locator("#kept")).to_contain_text("not yet sent and not yet judged")
    expect(crew.locator("#kept b:visible")).to_have_text("P-01")
    assert not kept()
    phone.fill_in(crew, "crew")
    crew.wait_for_url("**/log/waiting")
    all_sent(crew, 1)
    assert kept() == {("session ended", "P-01"): 1}


def test_a_page_that_is_open_says_that_one_must_sign_in_to_send(phone, crew, browsed_site):
    phone.no_network()
    write(crew, "rinse", "must sign in", rinses="1")
    waits(crew, 1)
    browsed_site.accounts.close_all("P-01")
    phone.network()
    crew.click("#send")
    expect(crew.locator("[data-of=signed-out]")).to_contain_text("Sign in to send it")
    expect(crew.locator("[data-list=waiting] li")).to_have_count(1)


def test_forms_of_one_person_are_not_sent_as_another(phone, crew, kept):
    phone.no_network()
    write(crew, "rinse", "by the first", rinses="2")
    waits(crew, 1)
    phone.context.clear_cookies()
    phone.network()
    page = phone.sign_in(phone.page(), "operator", "/log/waiting")
    others = page.locator("#kept [data-of=others]")
    expect(others).to_contain_text("not sent from yours")
    expect(others.locator("b")).to_have_text("P-01")
    expect(page.locator("[data-list] li")).to_have_count(0)
    expect(page.locator("#none")).to_be_visible()
    # The first one's page, still open, sends nothing in the second one's name.
    crew.click("#send")
    expect(crew.locator("[data-of=signed-out]")).to_be_visible()
    write(page, "rinse", "by the second", rinses="1")
    expect(page.locator("h1")).to_contain_text("Kept.")
    assert kept() == {("by the second", "P-02"): 1}
    phone.context.clear_cookies()
    page = phone.sign_in(phone.page(), "crew", "/log/waiting")
    all_sent(page, 1)
    assert kept() == {("by the second", "P-02"): 1, ("by the first", "P-01"): 1}


def test_what_the_server_refuses_is_shown_beside_its_field_and_can_be_mended(phone, crew, kept):
    # The console notes an answer of 422.
    phone.excused.append("status of 422")
    phone.no_network()
    write(crew, "rinse", "two is a word", rinses="two", water_used="40")
    waits(crew, 1)
    phone.network()
    refused = crew.locator("[data-list=refused] li")
    expect(refused.locator(".wrong")).to_contain_text("'two' is not a number")
    phone.looked_at(crew)
    refused.locator("a:visible").click()
    expect(crew.locator("#wrong-rinses")).to_contain_text("'two' is not a number")
    expect(crew.locator("#refused")).to_contain_text("stays kept on this device")
    phone.looked_at(crew)
    kept_as_typed = {"#rinses": "two", "#water_used": "40", "#tank": "T07", "#at": AT}
    for field, value in kept_as_typed.items():
        expect(crew.locator(field)).to_have_value(value)
    assert not kept()
    crew.fill("#rinses", "2")
    crew.click("form.log > button")
    expect(crew.locator("h1")).to_contain_text("Kept.")
    expect(crew.locator("#kept")).to_be_hidden()
    assert kept() == {("two is a word", "P-01"): 1}


def test_what_is_changed_while_it_waits_is_sent_as_changed(phone, crew, kept):
    phone.no_network()
    write(crew, "reading", "first thought", outlet_tds="3")
    crew.click("[data-list=waiting] li a:visible")
    expect(crew.locator("#outlet_tds")).to_have_value("3")
    crew.fill("#note", "second thought")
    crew.click("form.log > button")
    waits(crew, 1)
    phone.network()
    all_sent(crew, 1)
    assert kept() == {("second thought", "P-01"): 1}


def test_what_is_thrown_away_is_never_sent(phone, crew, kept):
    phone.no_network()
    write(crew, "rinse", "thrown away", rinses="2")
    crew.click("[data-list=waiting] summary")
    crew.click("[data-list=waiting] details button")
    expect(crew.locator("#none")).to_be_visible()
    phone.network()
    crew.goto(f"{phone.url}/log")
    assert not kept()


def test_a_form_keeps_the_units_it_was_written_in(phone, crew, browsed_site):
    phone.no_network()
    write(crew, "rinse", "in litres", water_used="10")
    waits(crew, 1)
    browsed_site.accounts.prefer("P-01", "US", "en")
    try:
        phone.network()
        all_sent(crew, 1)
    finally:
        browsed_site.accounts.prefer("P-01", "metric", "en")
    rinses = browsed_site.book.frames(kinds=["rinse"])["rinse"]
    assert rinses.filter(note="in litres")["water_used"].to_list() == [10]


def test_after_signing_out_no_copy_of_a_page_is_left_but_forms_are(phone, crew):
    phone.no_network()
    write(crew, "rinse", "before signing out", rinses="2")
    waits(crew, 1)
    # It is to go on waiting: the network reaches the page to sign out, not the log.
    crew.route("**/log/rinse", lambda route: route.abort())
    phone.network()
    crew.goto(f"{phone.url}/people/me")
    crew.click("form[action='/people/sign-out'] button >> nth=0")
    expect(crew.locator("#kept [data-of=others] b")).to_have_text("P-01")
    assert crew.evaluate("caches.keys()") == []
    phone.no_network()
    with pytest.raises(Exception, match="net::ERR_"):
        crew.goto(f"{phone.url}/log")


def test_the_page_of_what_waits_is_clean_in_light_and_dark(device):
    for scheme in ("light", "dark"):
        phone = device(scheme=scheme)
        page = phone.sign_in(phone.page(), "crew", "/log")
        phone.ready(page)
        phone.no_network()
        write(page, "rinse", "looked at", rinses="2")
        waits(page, 1)
        phone.looked_at(page)
        page.click("[data-list=waiting] summary")
        page.click("[data-list=waiting] details button")


def test_the_log_can_be_installed(phone, crew):
    told = phone.context.new_cdp_session(crew)
    assert told.send("Page.getAppManifest")["errors"] == []
    problems = told.send("Page.getInstallabilityErrors")["installabilityErrors"]
    # A test's context counts as a private window, where nothing can be installed.
    assert {one["errorId"] for one in problems} <= {"in-incognito"}


def test_a_form_is_saved_without_scripts(device, kept):
    phone = device(java_script_enabled=False)
    page = phone.sign_in(phone.page(), "crew", "/log")
    page.goto(f"{phone.url}/log")
    write(page, "rinse", "without scripts", rinses="2")
    expect(page.locator("h1")).to_contain_text("Kept.")
    assert kept() == {("without scripts", "P-01"): 1}
