"""Actions on the pages: assigned, noted, done, withdrawn; by whom, once, and harmless."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from markupsafe import escape

from qa_engine.book.actions import actions_in
from qa_engine.demo import AS_OF
from qa_engine.report.jobs import jobs_of
from qa_engine.report.sentences import failing
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION

DAY = (AS_OF + timedelta(days=3)).date().isoformat()
SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>"
WORKERS, DIRECTORS = ("crew", "operator", "administrator"), ("operator", "administrator")


def state_of(site):
    return site.app.extensions[EXTENSION].lookout.state(site.clock())


def standing(site):
    found = failing(state_of(site).findings.filter("stands"))
    return found.row(0, named=True)


def plan(finding, **changed):
    told = {"what": "Change the resin.", "who": "P-01", "until": DAY, "key": str(uuid4())}
    return {"finding": finding, **told, **changed}


def send(visitor, action, **fields):
    """Send a form to its address with a token from a page that everybody has."""
    return visitor.submit("/people/me", action, key=fields.pop("key", str(uuid4())), **fields)


@pytest.fixture
def acted(own_site):
    """A site with one action on a finding that stands, and the finding."""
    finding = standing(own_site)["finding"]
    page = send(own_site.visitor("operator"), "/actions", **plan(finding))
    assert page.status_code == 303, page.text
    return own_site, finding


def seen(site):
    return actions_in(site.book)[0].entry


def test_a_finding_s_page_shows_who_will_do_what_and_by_when(acted):
    site, finding = acted
    page = site.visitor("auditor").get(f"/findings/{finding}").text
    assert "Change the resin." in page
    assert ">to do</span>" in page
    assert "P-01, by 3 Aug 2026" in page
    assert "An action changes no verdict" in page


def test_an_assigned_action_leaves_the_finding_standing(acted):
    site, finding = acted
    rows = state_of(site).findings.filter(finding=finding)
    assert rows["stands"].any()
    assert actions_in(site.book)[0].findings == (finding,)


def test_one_action_answers_all_findings_of_a_job(own_site):
    state = state_of(own_site)
    job = max(
        jobs_of(failing(state.findings.filter("stands")), state.editions),
        key=lambda one: len(one.findings),
    )
    names = [finding["finding"] for finding in job.findings]
    assert len(names) > 1, "the demo has a job that settles several findings"
    visitor = own_site.visitor("operator")
    link = next(
        found
        for found in re.findall(r'href="(/actions/new[^"]+)"', visitor.get("/findings").text)
        if found.count("finding=") == len(names)
    )
    form = visitor.get(link.replace("&amp;", "&")).text
    assert f"about these {len(names)} findings" in form
    assert send(visitor, "/actions", **plan(names)).status_code == 303
    assert set(actions_in(own_site.book)[0].findings) == set(names)
    page = visitor.get("/findings?answer=to+do").text
    for name in names:
        assert str(escape(name.rsplit("/", 1)[-1])) in page


@pytest.mark.parametrize("role", ROLES)
def test_each_post_is_open_to_the_roles_that_it_is_meant_for(acted, role):
    site, finding = acted
    number = seen(site)
    posts = {
        "/actions": (plan(finding), DIRECTORS),
        "/actions/notes": ({"finding": finding, "text": "Hm."}, WORKERS),
        "/actions/A-1/note": ({"text": "Hm."}, WORKERS),
        "/actions/A-1/done": ({"seen": 0, "on": "2026-07-30", "done": "Did."}, WORKERS),
        "/actions/A-1/change": ({"seen": 0, **plan(finding)}, DIRECTORS),
        "/actions/A-1/withdraw": ({"seen": number, "reason": "No."}, DIRECTORS),
    }
    visitor = site.visitor(role)
    for address, (fields, roles) in posts.items():
        status = send(visitor, address, **fields).status_code
        assert (status == 403) == (role not in roles), (address, status)
        assert status in (303, 403, 409), (address, status)


@pytest.mark.parametrize("address", ["/actions", "/actions/notes", "/actions/A-1/note"])
def test_nothing_is_taken_without_the_token_of_a_page_or_from_nobody(acted, address):
    site, finding = acted
    size = site.book.size()
    told = {**plan(finding), "text": "Hm."}
    assert site.visitor("operator").client.post(address, data=told).status_code == 400
    assert site.visitor().client.post(address, data=told).status_code in (400, 401)
    assert site.book.size() == size


def test_a_form_that_is_sent_twice_is_kept_once(own_site):
    visitor, told = own_site.visitor("operator"), plan(standing(own_site)["finding"])
    pages = [send(visitor, "/actions", **told) for _ in range(2)]
    assert {page.headers["Location"] for page in pages} == {"/actions/A-1"}
    assert len(actions_in(own_site.book)) == 1


def test_crew_report_it_done_and_the_page_says_that_the_finding_stands(acted):
    site, finding = acted
    told = {"seen": seen(site), "on": "2026-07-31", "done": "Changed it."}
    assert send(site.visitor("crew"), "/actions/A-1/done", **told).status_code == 303
    page = site.visitor("operator").get("/actions/A-1").text
    assert "P-01 did it on 31 Jul 2026: Changed it." in " ".join(page.split())
    assert "done, but the finding stands" in page
    assert "done, but the finding stands" in site.visitor("crew").get(f"/findings/{finding}").text
    assert "/actions/A-1/done" not in page


def test_an_action_whose_day_has_passed_is_overdue(acted):
    site, finding = acted
    site.clock.now = AS_OF + timedelta(days=4)
    page = site.visitor("operator").get("/actions").text
    assert "1 action is overdue." in page
    assert finding in site.visitor("operator").get("/findings?answer=overdue").text


def test_of_two_browsers_the_second_is_told_what_happened_and_keeps_its_words(acted):
    site, _ = acted
    number, operator, administrator = seen(site), *map(site.visitor, DIRECTORS)
    told = {"seen": number, "reason": "The van is sold."}
    assert send(operator, "/actions/A-1/withdraw", **told).status_code == 303
    size = site.book.size()
    page = send(administrator, "/actions/A-1/note", text="Still here.")
    assert page.status_code == 303, "a note overwrites nothing"
    page = send(administrator, "/actions/A-1/done", seen=number, on="2026-07-31", done="My words.")
    assert page.status_code == 409
    assert "Meanwhile P-04 changed A-1" in page.text
    assert "was withdrawn by P-02 (The van is sold.)" in page.text
    assert site.book.size() == size + 1


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"until": "31.08.2026"}, "by when: '31.08.2026' is not a day"),
        ({"until": "2026-02-30"}, "by when: '2026-02-30' is not a day of the calendar"),
        ({"until": "2026-07-01"}, "by when: 2026-07-01 has passed already"),
        ({"who": ""}, "who will do it: missing"),
        ({"what": "x" * 2001}, "what will be done: "),
    ],
)
def test_what_is_wrong_is_named_and_what_was_typed_is_still_there(own_site, changed, told):
    finding = standing(own_site)["finding"]
    page = send(own_site.visitor("operator"), "/actions", **{**plan(finding), **changed})
    assert page.status_code == 422
    assert told in page.text.replace("&#39;", "'")
    assert (changed.get("what") or "Change the resin.") in page.text
    assert actions_in(own_site.book) == ()


def test_stored_script_is_shown_as_text(own_site):
    finding = standing(own_site)["finding"]
    told = plan(finding, what=SCRIPT, note=SCRIPT, who="<b>P-01</b>")
    visitor = own_site.visitor("operator")
    assert send(visitor, "/actions", **told).status_code == 303
    send(visitor, "/actions/A-1/done", seen=seen(own_site), on="2026-07-31", done=SCRIPT)
    send(visitor, "/actions/notes", finding=finding, text=SCRIPT)
    for address in ("/actions", "/actions/A-1", "/actions/A-2", f"/findings/{finding}"):
        page = visitor.get(address).text
        for tag in ("<script>alert", "<img src=x", "<b>P-01"):
            assert tag not in page, address
        assert str(escape(SCRIPT)) in page, address


def test_an_action_or_finding_that_is_not_there_is_told(own_site):
    visitor = own_site.visitor("operator")
    assert visitor.get("/actions/A-7").status_code == 404
    assert visitor.get("/actions/new").status_code == 404
    assert send(visitor, "/actions", **plan("no/such/finding/R1")).status_code == 404
    assert send(visitor, "/actions/A-7/note", text="Hm.").status_code == 404


def test_a_key_that_is_none_is_refused(own_site):
    told = plan(standing(own_site)["finding"], key="once")
    assert send(own_site.visitor("operator"), "/actions", **told).status_code == 400


def test_findings_are_narrowed_to_those_about_which_nothing_is_done(acted):
    site, finding = acted
    page = site.visitor("crew").get("/findings?answer=nobody+yet").text
    assert f"/findings/{finding}" not in page.replace("%23", "#")
    assert ">nobody yet</span>" in page


@pytest.mark.parametrize(
    ("role", "offers"),
    [
        ("auditor", set()),
        ("crew", {"/actions/notes"}),
        ("operator", {"/actions/notes", "/actions"}),
        ("administrator", {"/actions/notes", "/actions"}),
    ],
)
def test_a_finding_s_page_offers_what_the_reader_may_do(site, role, offers):
    page = site.visitor(role).get(f"/findings/{standing(site)['finding']}").text
    assert set(re.findall(r'action="(/actions[^"]*)"', page)) == offers
    assert ("/corrections/" in page) == (role != "crew")
