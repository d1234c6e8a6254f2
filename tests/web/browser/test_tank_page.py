"""The page of a tank in a browser: charts under the strict policy, readouts, print."""

import re

import pytest
from playwright.sync_api import expect

LOOKS = [(390, "light"), (390, "dark"), (1280, "light"), (1280, "dark")]


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_the_charts_are_drawn_and_tell_their_numbers_to_the_pointer(device, width, scheme):
    desk = device(width, scheme)
    page = desk.sign_in(desk.page(), "auditor", "/tanks/T01")
    charts = page.locator("[data-chart] .drawn svg")
    expect(charts).to_have_count(2)
    expect(page.locator("[data-chart] picture")).to_have_count(0)
    charts.first.scroll_into_view_if_needed()
    desk.looked_at(page)
    # The last circle that can be pointed at is the last reading: 0 mg/L of 31 July.
    target = page.locator("[data-chart] .drawn").first.locator("path[opacity='0']").last
    target.hover(force=True)
    readout = page.locator("#vg-tooltip-element.visible")
    expect(readout).to_contain_text("0 mg/L")
    expect(readout).to_contain_text("31 Jul 2026, 16:43")


def test_a_script_in_a_records_name_stays_words_under_the_pointer(device):
    evil = "<img src=x onerror=alert(1)>"

    def altered(route):
        answer = route.fetch()
        chart = answer.json()
        chart["datasets"]["readings"][-1]["record"] = evil
        route.fulfill(response=answer, json=chart)

    desk = device(1280)
    page = desk.page()
    page.route("**/outlet.json*", altered)
    desk.sign_in(page, "crew", "/tanks/T01")
    expect(page.locator("[data-chart] .drawn svg")).to_have_count(2)
    expect(page.locator("[data-chart] picture")).to_have_count(0)
    page.locator("[data-chart] .drawn").first.locator("path[opacity='0']").last.hover(force=True)
    expect(page.locator("#vg-tooltip-element.visible")).to_contain_text(evil)
    expect(page.locator("#vg-tooltip-element img")).to_have_count(0)


def test_a_chart_has_the_colours_of_the_sheet_also_when_they_change(device):
    desk = device(1280, "dark")
    page = desk.sign_in(desk.page(), "crew", "/tanks/T01")
    axis = page.locator("[data-chart] .drawn text").first
    shown = []
    for media in ({"color_scheme": "dark"}, {"color_scheme": "light"}, {"media": "print"}):
        page.emulate_media(**media)
        shown.append(axis.evaluate("it => getComputedStyle(it).fill"))
    # --quiet: #a3b4b6 in the dark, #53615f in the light and on paper.
    assert shown == ["rgb(163, 180, 182)", "rgb(83, 97, 95)", "rgb(83, 97, 95)"]


def test_without_scripts_the_same_charts_stand_there_as_pictures(device):
    desk = device(390, java_script_enabled=False)
    page = desk.sign_in(desk.page(), "crew", "/tanks/T01")
    pictures = page.locator("[data-chart] img")
    expect(pictures).to_have_count(2)
    for picture in pictures.all():
        picture.scroll_into_view_if_needed()
        assert picture.evaluate("it => it.decode().then(() => it.naturalWidth > 300)")
    expect(pictures.first).to_have_attribute("alt", re.compile("The limit is 20 mg/L."))


def test_the_label_fits_its_sheet(device):
    desk = device(390)
    page = desk.sign_in(desk.page(), "operator", "/tanks/T07/label")
    desk.looked_at(page)
    page.emulate_media(media="print")
    inside = page.locator(".label").evaluate("it => it.scrollHeight <= it.clientHeight + 1")
    words = page.locator(".label > div").evaluate("it => it.scrollHeight <= it.clientHeight + 1")
    assert inside
    assert words


def test_a_long_name_leaves_the_caution_of_the_label_whole(device):
    desk = device(1280)
    page = desk.sign_in(desk.page(), "operator", "/tanks/T07/label")
    page.locator(".label .id").evaluate("it => { it.textContent = 'TANK-OF-THE-YARD-'.repeat(6) }")
    ends = "it => it.getBoundingClientRect().bottom"
    caution, label = (page.locator(one).evaluate(ends) for one in (".label .warn", ".label"))
    assert caution <= label
    assert page.locator(".label .warn").evaluate("it => it.scrollHeight <= it.clientHeight + 1")


def test_the_figures_can_be_read(device):
    desk = device(390, "dark")
    page = desk.sign_in(desk.page(), "auditor", "/tanks/T01/figures")
    desk.looked_at(page)
    page.goto(f"{desk.url}/tanks/T01/prediction")
    desk.looked_at(page)
