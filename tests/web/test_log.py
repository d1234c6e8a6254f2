"""Logging: forms for crews, kept through the door of all records, judged once kept."""

import re
from uuid import uuid4

import pytest

from qa_engine.demo import AS_OF
from qa_engine.records import KINDS
from qa_engine.web.log.sheets import NAMED, SHEETS

AT = "2026-07-31T05:00"
PLACE = {"tank": {"tank": "T07"}, "van": {"van": "Rill"}, "meter": {"meter": "C-7"}}


def place_of(kind):
    return PLACE.get(KINDS[kind].item, {"base": "Crabwater"})


def logged(site, kind, role="crew", **fields):
    """Fill in a form as a browser would, with its one-time key."""
    page = f"/log/{kind}?tank=T07"
    sent = {"key": str(uuid4()), "at": AT, **place_of(kind), **fields}
    return site.visitor(role).submit(page, f"/log/{kind}", **sent)


def records(site, kind):
    return site.book.frames(kinds=[kind])[kind]


@pytest.mark.parametrize("kind", SHEETS)
def test_a_form_asks_every_field_of_its_kind_once(kind):
    assert sorted(SHEETS[kind].fields) == sorted(KINDS[kind].own_fields)


def test_every_name_of_a_field_names_one():
    assert set(NAMED) <= {name for kind in SHEETS for name in KINDS[kind].fields}


def test_every_kind_keeps_a_minimal_record(own_site):
    for kind in SHEETS:
        before = records(own_site, kind)
        answer = logged(own_site, kind)
        assert answer.status_code == 303, kind
        after = records(own_site, kind)
        assert after.height == before.height + 1, kind
        (new,) = after.filter(~after["record"].is_in(before["record"].to_list())).to_dicts()
        assert new["by"] == "P-01", "whoever is signed in"
        # 05:00 by the operator's clock
        assert new["at"].astimezone(own_site.book.register().zone).hour == 5


def test_the_page_of_tiles_leads_to_every_form(site):
    text = site.visitor("crew").get("/log?tank=T07").text
    for kind in SHEETS:
        assert f'href="/log/{kind}?tank=T07' in text


def test_a_form_of_a_tank_asks_first_which_tank(site):
    text = site.visitor("crew").get("/log/reading").text
    assert 'href="?tank=T07"' in text
    assert 'name="outlet_tds"' not in text


def test_a_form_offers_the_names_used_last_but_nothing_measured_or_ticked(site):
    crew = site.visitor("crew")
    change = crew.get("/log/resin_change?tank=T07").text
    last = records(site, "resin_change").filter(tank="T07").sort("at")["grade"][-1]
    assert f'name="grade" autocomplete="off" value="{last}"' in change
    for kind in SHEETS:
        text = crew.get(f"/log/{kind}?tank=T07").text
        measured = re.findall(r'inputmode="decimal" autocomplete="off" value="([^"]*)"', text)
        assert set(measured) <= {""}, kind
        assert not re.search(r'value="(yes|no)" checked', text), kind
        assert not re.search(r'<option value="[^"]+" selected', text), kind


def test_a_wrong_number_is_named_beside_its_field_and_the_rest_is_kept(own_site):
    before = records(own_site, "reading").height
    answer = logged(
        own_site, "reading", outlet_tds="31,5", inlet_tds="240", note="at the gate", meter="C-7"
    )
    assert answer.status_code == 422
    beside = re.search(r'id="wrong-outlet_tds">([^<]*)<', answer.text)
    assert "31,5" in beside[1]
    assert "is not a number; expected a number in mg/L" in beside[1]
    assert answer.text.count('id="wrong-') == 1
    for kept in ('value="31,5"', 'value="240"', 'value="C-7"', "at the gate", f'value="{AT}"'):
        assert kept in answer.text
    assert records(own_site, "reading").height == before


def test_a_save_tapped_twice_keeps_one_record(own_site):
    before, key = records(own_site, "rinse").height, str(uuid4())
    first, second = (logged(own_site, "rinse", key=key, rinses="2") for _ in range(2))
    assert first.headers["Location"] == second.headers["Location"]
    assert records(own_site, "rinse").height == before + 1


def test_a_kept_form_that_comes_again_with_other_values_says_that_these_are_not_kept(own_site):
    key = str(uuid4())
    logged(own_site, "rinse", key=key, rinses="2")
    again = logged(own_site, "rinse", key=key, rinses="3")
    assert again.status_code == 409
    assert "was kept before, with other values" in again.text
    assert 'value="3"' in again.text
    assert key not in again.text, "saving this page logs another record"


def test_a_key_that_is_none_is_refused(own_site):
    assert logged(own_site, "rinse", key="records").status_code == 400


def test_units_of_the_reader_are_stated_and_converted(own_site):
    own_site.accounts.prefer("P-01", "US", "en")
    page = own_site.visitor("crew").get("/log/rinse?tank=T07").text
    assert "<span>gal</span>" in page
    logged(own_site, "rinse", water_used="10", note="in gallons")
    # 10 US gallons of 3.785411784 L
    kept = records(own_site, "rinse").filter(note="in gallons")["water_used"].to_list()
    assert kept == [pytest.approx(37.85411784)]


def test_a_script_in_a_note_is_shown_as_text(own_site):
    answer = logged(own_site, "reading", note="<script>alert(1)</script>", outlet_tds="wet")
    assert "<script>alert" not in answer.text
    assert "&lt;script&gt;alert(1)" in answer.text


@pytest.mark.parametrize("page", ["/log", "/log/reading?tank=T07", "/log/reading/RD-1"])
def test_an_auditor_logs_nothing(site, page):
    assert site.visitor("auditor").get(page).status_code == 403


def test_an_auditor_cannot_save(own_site):
    auditor = own_site.visitor("auditor")
    answer = auditor.submit("/people/me", "/log/reading", key=str(uuid4()), tank="T07", at=AT)
    assert answer.status_code == 403


def test_there_is_no_form_of_another_kind_and_no_verdict_on_an_unknown_record(site):
    crew = site.visitor("crew")
    assert crew.get("/log/out_of_use").status_code == 404
    assert crew.get("/log/reading/W-none").status_code == 404


def verdict(site, **fields):
    at = site.clock.now.astimezone(site.book.register().zone)
    answer = logged(site, "reading", at=f"{at:%Y-%m-%dT%H:%M}", **fields)
    return site.visitor("crew").get(answer.headers["Location"]).text


def test_36_mg_l_of_flowing_water_does_not_conform_and_the_verdict_says_what_to_do(own_site):
    text = verdict(own_site, outlet_tds="36", sampled="flowing", meter="C-7")
    heading = re.search(r"<h1[^>]*>(.*?)</h1>", text, re.DOTALL)[1]
    assert heading.startswith("Kept.")
    assert "Does not conform:" in heading
    assert "36 mg/L" in heading
    assert "Stop rinsing from this tank." in text
    assert "see zero on a gauge" in text, "the caution of the work"


def test_clean_water_is_kept_without_a_finding_against_its_outlet(own_site):
    text = verdict(own_site, outlet_tds="1", sampled="flowing", meter="C-7")
    assert "Kept." in text
    assert "Outlet 1 mg/L" not in text


def test_a_record_of_later_on_gets_no_verdict_yet(own_site):
    answer = logged(own_site, "reading", at="2026-12-24T08:00", outlet_tds="36", sampled="flowing")
    text = own_site.visitor("crew").get(answer.headers["Location"]).text
    assert "No verdict is given on it yet." in text
    assert AS_OF.year == 2026


@pytest.mark.parametrize(
    ("kind", "field"), [("complaint", "van"), ("meter_check", "meter"), ("disposal", "base")]
)
def test_what_a_kind_cannot_do_without_is_asked_for_beside_its_field(own_site, kind, field):
    answer = logged(own_site, kind, **{field: " "})
    assert answer.status_code == 422
    assert "missing; expected an id" in re.search(rf'id="wrong-{field}">([^<]*)<', answer.text)[1]


def test_a_tank_that_is_no_id_is_asked_for_again(own_site):
    answer = logged(own_site, "reading", tank="T" * 65)
    assert answer.status_code == 422
    assert 'id="wrong-tank"' in answer.text


def test_what_is_no_time_is_refused_beside_when(own_site):
    zone = own_site.book.register().zone
    answer = logged(own_site, "reading", at="yesterday")
    assert answer.status_code == 422
    assert "is not a time" in re.search(r'id="wrong-at">([^<]*)<', answer.text)[1]
    assert f"by the clock of {zone.key}" in answer.text
