"""Corrections on the pages: a wrong record gets a new version, and the verdict follows."""

import html
import re
from uuid import uuid4

import pytest
from markupsafe import escape

from qa_engine.book.verify import verify
from qa_engine.book.versions import versions_of
from qa_engine.records import KINDS
from qa_engine.report.sentences import failing
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION

SCRIPT = "<script>alert(1)</script>"
FIELD = re.compile(r'<input[^>]* name="([a-z_]+)"[^>]*? value="([^"]*)"')
CHOSEN = re.compile(
    r'<select [^>]*name="([a-z_]+)"[^>]*>(?:(?!</select>).)*?value="([^"]*)" selected'
)
UNCHECKED = re.compile(r'<input type="radio"[^>]*"(?! checked)>')
WRITTEN = re.compile(r'<textarea [^>]*name="([a-z_]+)"[^>]*>\n(.*?)</textarea>', re.S)


def state_of(site):
    return site.app.extensions[EXTENSION].lookout.state(site.clock())


def failing_reading(site):
    """Return the record and the finding of a reading whose outlet was too high."""
    found = failing(state_of(site).findings.filter("stands", subject_kind="reading"))
    row = found.filter(rule="outlet-below-house-limit").row(0, named=True)
    return row["subject"], row["finding"]


def filled(page):
    """Return what the form of a page holds, as a browser would send it back."""
    text = page.text.partition('<form class="card log"')[2].partition("</form>")[0]
    text = UNCHECKED.sub("", text)
    found = [*FIELD.findall(text), *CHOSEN.findall(text), *WRITTEN.findall(text)]
    return {name: html.unescape(value) for name, value in found}


@pytest.fixture
def wrong(own_site):
    return own_site, *failing_reading(own_site)


def correct(visitor, record, form=None, **changed):
    form = form or filled(visitor.get(f"/corrections/{record}"))
    return visitor.client.post(f"/corrections/{record}", data={**form, **changed})


def test_a_correction_is_a_new_version_and_the_verdict_follows(wrong):
    site, record, finding = wrong
    visitor = site.visitor("operator")
    assert f'href="/corrections/{record}"' in visitor.get(f"/findings/{finding}").text
    before = versions_of(site.book, record)[-1]
    page = correct(visitor, record, outlet_tds="3", why_wrong="A digit too many.")
    assert page.status_code == 303, page.text
    first, second = versions_of(site.book, record)
    assert first == before
    changed = {name for name in first.values if first.values[name] != second.values[name]}
    assert changed == {"outlet_tds"}
    assert (second.values["outlet_tds"], second.by) == (3.0, "P-02")
    assert second.reason == "A digit too many."
    page = " ".join(visitor.get(f"/corrections/{record}").text.split())
    assert "corrected 1 time." in page
    assert "A digit too many." in page
    assert "→ <b>3 mg/L</b>" in page
    assert not state_of(site).findings.filter(finding=finding)["stands"].any()
    assert verify(site.book) == []


def test_what_is_left_as_it_was_filled_in_keeps_its_exact_value_in_any_units(wrong):
    site, record, _ = wrong
    site.accounts.prefer("P-02", "US", "en")
    visitor = site.visitor("operator")
    page = correct(visitor, record, note="Read twice.", why_wrong="Note forgotten.")
    assert page.status_code == 303, page.text
    first, second = versions_of(site.book, record)
    changed = {name for name in first.values if first.values[name] != second.values[name]}
    assert changed == {"note"}


def test_a_correction_that_changes_nothing_is_told(wrong):
    site, record, _ = wrong
    page = correct(site.visitor("operator"), record, why_wrong="Looked again.")
    assert page.status_code == 422
    assert "Nothing is changed in it." in page.text
    assert len(versions_of(site.book, record)) == 1


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"outlet_tds": "3,1"}, "3,1"),
        ({"outlet_tds": "-5"}, "below 0"),
        ({"at": "2026-02-30T10:00"}, "2026-02-30T10:00"),
        ({"at": ""}, "missing"),
        ({"why_wrong": ""}, "Say why the record was wrong."),
    ],
)
def test_what_is_wrong_is_named_beside_the_field_and_nothing_is_kept(wrong, changed, told):
    site, record, _ = wrong
    given = {"outlet_tds": "3", "why_wrong": "Typed wrong.", **changed}
    page = correct(site.visitor("operator"), record, **given)
    assert page.status_code == 422
    assert told in html.unescape(page.text)
    assert f'id="wrong-{next(iter(changed))}"' in page.text
    assert len(versions_of(site.book, record)) == 1


@pytest.mark.parametrize("role", ROLES)
def test_who_may_correct_and_who_may_look(wrong, role):
    site, record, _ = wrong
    form = filled(site.visitor("operator").get(f"/corrections/{record}"))
    visitor = site.visitor(role)
    page = visitor.get(f"/corrections/{record}")
    assert (page.status_code == 200) == (role != "crew")
    assert ("<form" in page.text.partition("<main")[2]) == (role in ("operator", "administrator"))
    told = {**form, "outlet_tds": "3", "why_wrong": "Slip."}
    told.pop("csrf_token")
    answer = visitor.submit("/people/me", f"/corrections/{record}", **told)
    assert answer.status_code == (303 if role in ("operator", "administrator") else 403)


def test_nothing_is_corrected_without_the_token_of_a_page(wrong):
    site, record, _ = wrong
    visitor = site.visitor("operator")
    form = filled(visitor.get(f"/corrections/{record}"))
    page = correct(visitor, record, form, csrf_token="", why_wrong="Slip.", outlet_tds="3")
    assert page.status_code == 400
    assert len(versions_of(site.book, record)) == 1


def test_of_two_browsers_the_second_is_told_who_corrected_it_meanwhile_and_why(wrong):
    site, record, _ = wrong
    operator, administrator = site.visitor("operator"), site.visitor("administrator")
    late = filled(administrator.get(f"/corrections/{record}"))
    assert correct(operator, record, outlet_tds="3", why_wrong="Slip.").status_code == 303
    page = correct(administrator, record, late, outlet_tds="4", why_wrong="Other slip.")
    assert page.status_code == 409
    assert f"Meanwhile P-02 corrected {record} (Slip.)" in page.text
    assert "Other slip." in page.text
    assert len(versions_of(site.book, record)) == 2


def test_a_form_that_is_sent_twice_is_kept_once(wrong):
    site, record, _ = wrong
    visitor = site.visitor("operator")
    form = filled(visitor.get(f"/corrections/{record}"))
    told = {"outlet_tds": "3", "why_wrong": "Slip.", "key": str(uuid4())}
    assert [correct(visitor, record, form, **told).status_code for _ in "ab"] == [303, 303]
    assert len(versions_of(site.book, record)) == 2


def test_stored_script_is_shown_as_text(wrong):
    site, record, finding = wrong
    visitor = site.visitor("operator")
    assert correct(visitor, record, note=SCRIPT, why_wrong=SCRIPT, by=SCRIPT).status_code == 303
    for address in (f"/corrections/{record}", f"/findings/{finding}"):
        page = visitor.get(address).text
        assert "<script>alert" not in page
        assert str(escape(SCRIPT)) in page


def test_a_record_that_is_not_there_is_told(site):
    assert site.visitor("operator").get("/corrections/NO-SUCH").status_code == 404


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_record_of_any_kind_comes_back_from_its_form_as_it_was(own_site, kind):
    frame = own_site.book.frames(kinds=[kind]).get(kind)
    if frame is None:
        pytest.skip(f"the demo has no {kind}")
    record = frame["record"][frame.height // 2]
    visitor = own_site.visitor("operator")
    page = correct(visitor, record, note="Only this.", why_wrong="Note forgotten.")
    assert page.status_code == 303, page.text
    first, second = versions_of(own_site.book, record)
    changed = {name for name in first.values if first.values[name] != second.values[name]}
    assert changed == {"note"}
