"""The page of a tank."""

import re
from pathlib import Path

import pytest

from qa_engine.demo import AS_OF
from qa_engine.intake import read_records
from qa_engine.web.accounts import ROLES

EVIL = "<script>alert(1)</script>"


def text_of(html: str) -> str:
    """Return what a page says, without its tags and with single spaces."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


@pytest.fixture(scope="module")
def crew(site):
    return site.visitor("crew")


@pytest.fixture(scope="module")
def spent(crew):
    """Return the page of a tank whose outlet reads 36 mg/L against a limit of 20 mg/L."""
    return crew.get("/tanks/T07").text


def heading(html: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", html, re.DOTALL)
    assert found
    return text_of(found[1])


def test_the_page_of_a_spent_tank_says_first_that_it_needs_work(spent):
    assert heading(spent) == (
        "Tank T07 needs work before it rinses again. Its outlet has reached the limit of 20 mg/L."
    )


def test_the_work_stands_with_its_caution_its_evidence_and_a_way_to_log_it(spent):
    page = text_of(spent)
    assert "Stop rinsing from this tank. Change the resin and read the outlet again" in page
    assert "see zero on a gauge before opening it" in page
    assert "Evidence: RD-T07-260717-2 , RD-T07-260717-3 , RC-T07-260611" in page
    assert "In doubt: RN-T07-260717" in page
    assert "/log/resin_change?tank=T07&amp;van=Freshet" in spent


def test_a_spent_tank_has_no_vehicle_left_and_its_change_is_due_now(spent):
    page = text_of(spent)
    assert "Change by now" in page
    assert "No vehicle is left in it" in page


def test_a_tank_that_works_says_when_it_reaches_its_limit_and_what_is_left(crew):
    html = crew.get("/tanks/T01").text
    assert heading(html) == (
        "Everything that could be decided conforms at tank T01. "
        "It reaches its limit between 10 Aug 2026 and 27 Aug 2026."
    )
    # 1,373 to 1,723 L at 30 L a car: 45 to 57 cars.
    assert re.search(r"car 30 L 45 . 57 ", text_of(html))


def test_a_tank_without_a_model_says_why_there_is_no_forecast_and_which_facts_miss(crew):
    page = text_of(crew.get("/tanks/T12").text)
    assert "There is no forecast: no loaded model speaks for its grade of resin." in page
    assert "4 verdicts could not be given for lack of evidence." in page
    assert "Missing: grade outlet after" in page


def test_nobody_who_has_not_signed_in_sees_a_tank(site):
    assert site.visitor().get("/tanks/T07").status_code == 302


@pytest.mark.parametrize("tank", ["T99", "t07", "T07/more", "%3Cscript%3E"])
def test_a_tank_that_nobody_named_is_not_found(crew, tank):
    assert crew.get(f"/tanks/{tank}").status_code == 404


def test_the_page_keeps_to_the_strict_policy_no_inline_style_or_script(spent):
    assert "style=" not in spent
    assert "<style" not in spent
    assert re.findall(r"<script[^>]*>([^<]*)</script>", spent) == [""] * spent.count("<script")


def test_the_history_shows_the_thirty_latest_records_and_no_more(spent):
    table = spent.split("Last 30 records")[1]
    assert table.count("<code>") == 30
    assert table.index("RD-T07-260717-3") < table.index("RN-T07-260717")


def test_a_reader_of_us_units_sees_gallons(own_site):
    own_site.accounts.prefer(f"P-{ROLES.index('crew') + 1:02}", "US", "en")
    page = text_of(own_site.visitor("crew").get("/tanks/T01").text)
    # 30 L / 3.785412 = 7.93 gal; the outlet stays in mg/L.
    assert re.search(r"car 7.93 gal 45 . 57 ", page)
    assert "0 mg/L" in page
    assert not re.search(r"[0-9] L\b", page)


def test_a_script_in_a_tanks_id_or_a_note_stays_words(own_site, tmp_path):
    _log(
        own_site,
        tmp_path,
        f"record,kind,at,tank,outlet_tds,note\nX1,reading,2026-07-30T10:00Z,{EVIL},3,{EVIL}",
    )
    html = own_site.visitor("crew").get("/tanks/%3Cscript%3Ealert(1)%3C/script%3E").text
    assert "<script>" not in html
    assert heading(html).startswith("Tank &lt;script&gt;alert(1)&lt;/script&gt; needs work")
    assert '<p class="note">&lt;script&gt;alert(1)&lt;/script&gt;</p>' in html


def _log(site, folder: Path, text: str) -> None:
    path = folder / "more.csv"
    path.write_text(text + "\n", encoding="utf-8")
    intake = read_records([path], time_zone="UTC")
    assert intake.accepted == 1
    site.book.add(intake.frames, key="more", source="t", entered_at=AS_OF, entered_by="P-00")


def test_the_page_is_light_and_brings_the_script_of_charts_deferred(spent, crew):
    assert len(spent.encode()) < 100_000
    address = re.search(r'<script type="module" src="(/charts/[0-9a-f]{20}\.js)">', spent)
    assert address
    assert address[1] not in crew.get("/findings").text
