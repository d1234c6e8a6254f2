"""Permissions on the pages: one asks, another decides, and the audit shows what was given."""

from uuid import uuid4

import pytest
from markupsafe import escape

from qa_engine.book.house import permissions_in
from qa_engine.book.permission_requests import requests_in
from qa_engine.report.sentences import failing
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION

SCRIPT = "<script>alert(1)</script>"
WORKERS, DIRECTORS = ("crew", "operator", "administrator"), ("operator", "administrator")


def state_of(site):
    return site.app.extensions[EXTENSION].lookout.state(site.clock())


def rules_of(state):
    return {(r.rule_set, r.rule): r for e in state.editions for r in e.rules}


def standing(site, permission="by request", **where):
    state = state_of(site)
    rules = rules_of(state)
    found = failing(state.findings.filter("stands", **where))
    rows = (row for row in found.iter_rows(named=True))
    return next(r for r in rows if rules[r["rule_set"], r["rule"]].permission == permission)


def send(visitor, action, **fields):
    """Send a form to its address with a token from a page that everybody has."""
    return visitor.submit("/people/me", action, key=fields.pop("key", str(uuid4())), **fields)


def permit(finding, **changed):
    told = {
        "finding": finding["finding"],
        "type": "deviation permit",
        "rule_set": finding["rule_set"],
        "rule": finding["rule"],
        "van": "",
        "tank": finding["tank"] or "",
        "begins": "2026-07-31",
        "until": "2026-08-07",
        "reason": "The resin comes on Friday.",
        "key": str(uuid4()),
    }
    return {**told, **changed}


@pytest.fixture
def asked(own_site):
    """A site where crew asked for a permission on a tank, and the finding."""
    finding = standing(own_site, subject_kind="tank")
    page = send(own_site.visitor("crew"), "/permissions", **permit(finding))
    assert page.status_code == 303, page.text
    return own_site, finding


def seen(site):
    return requests_in(site.book)[0].entry


def decide(site, role, what, **fields):
    return send(site.visitor(role), f"/permissions/PR-1/{what}", **{"seen": seen(site), **fields})


def test_what_is_asked_is_listed_in_a_sentence_and_the_finding_says_so(asked):
    site, finding = asked
    page = " ".join(site.visitor("auditor").get("/permissions").text.split())
    assert "1 permission is asked for and waits for a decision." in page
    about = f"{finding['rule_set']}/{finding['rule']}"
    asks = f"P-01 asks that {about} need not be met by tank {finding['tank']} from 31 Jul 2026"
    assert asks in page
    assert "The resin comes on Friday." in page
    assert ">permission asked for</span>" in site.visitor("crew").get("/findings").text
    assert permissions_in(site.book) == ()


def test_what_another_approves_covers_the_finding_and_stands_in_the_audit(asked):
    site, finding = asked
    assert decide(site, "operator", "approve").status_code == 303
    row = state_of(site).findings.filter(finding=finding["finding"]).row(-1, named=True)
    assert row["stands"]
    assert row["permission"] == "PR-1"
    page = " ".join(site.visitor("auditor").get("/audit").text.split())
    assert "<code>PR-1</code>" in page
    assert "in force<small>31 Jul 2026" in page
    assert "asked for by P-01, approved by P-02" in page
    assert "The resin comes on Friday." in page
    account = state_of(site).inspection.permissions[0]
    assert account.uses == 1
    assert account.faults == ()
    assert "under permission" in site.visitor("crew").get("/findings?answer=under+permission").text


def test_what_happened_once_is_permitted_by_a_concession_as_the_form_offers_it(own_site):
    finding = standing(own_site, subject_kind="reading")
    visitor = own_site.visitor("crew")
    form = visitor.get("/permissions/ask", query_string={"finding": finding["finding"]}).text
    assert '<option value="concession" selected>' in form
    zone = state_of(own_site).register.zone
    day = finding["since"].astimezone(zone).date().isoformat()
    last = finding["until"].astimezone(zone).date().isoformat()
    assert f'name="begins" required value="{day}"' in form
    told = permit(finding, type="concession", begins=day, until=last)
    assert send(visitor, "/permissions", **told).status_code == 303
    assert decide(own_site, "administrator", "approve").status_code == 303
    row = state_of(own_site).findings.filter(finding=finding["finding"]).row(-1, named=True)
    assert row["permission"] == "PR-1"


@pytest.mark.parametrize("role", ROLES)
def test_each_post_is_open_to_the_roles_that_it_is_meant_for(asked, role):
    site, finding = asked
    posts = {
        "": (permit(finding), WORKERS),
        "/PR-1/change": ({**permit(finding), "seen": 0}, WORKERS),
        "/PR-1/take-back": ({"seen": 0}, WORKERS),
        "/PR-1/approve": ({"seen": 0}, DIRECTORS),
        "/PR-1/refuse": ({"seen": 0, "why": "No."}, DIRECTORS),
    }
    visitor = site.visitor(role)
    for address, (fields, roles) in posts.items():
        status = send(visitor, f"/permissions{address}", **fields).status_code
        assert (status == 403) == (role not in roles), (address, status)
        assert status in (303, 403, 409), (address, status)


@pytest.mark.parametrize("address", ["", "/PR-1/approve", "/PR-1/refuse", "/PR-1/take-back"])
def test_nothing_is_taken_without_the_token_of_a_page(asked, address):
    site, finding = asked
    size, told = site.book.size(), {**permit(finding), "seen": seen(site), "why": "No."}
    page = site.visitor("administrator").client.post(f"/permissions{address}", data=told)
    assert page.status_code == 400
    assert site.visitor().client.post(f"/permissions{address}", data=told).status_code in (400, 401)
    assert site.book.size() == size


def test_who_asked_is_offered_no_decision_and_the_engine_refuses_one(own_site):
    finding = standing(own_site, subject_kind="tank")
    operator = own_site.visitor("operator")
    send(operator, "/permissions", **permit(finding))
    page = operator.get("/permissions/PR-1").text
    assert "another person decides" in page
    assert "/approve" not in page
    page = decide(own_site, "operator", "approve")
    assert page.status_code == 422
    assert "P-02 asked for PR-1; another person must approve it" in page.text
    assert permissions_in(own_site.book) == ()


def test_of_two_who_decide_on_the_same_page_one_wins_and_the_other_is_told(asked):
    site, _ = asked
    number = seen(site)
    operator, administrator = map(site.visitor, DIRECTORS)
    address = "/permissions/PR-1"
    first = send(operator, f"{address}/refuse", seen=number, why="There is resin.")
    assert first.status_code == 303
    size = site.book.size()
    page = send(administrator, f"{address}/approve", seen=number)
    assert page.status_code == 409
    assert "Meanwhile P-02 refused PR-1 (There is resin.)" in page.text
    assert site.book.size() == size
    assert permissions_in(site.book) == ()


def test_who_approves_what_was_edited_meanwhile_sees_what_is_asked_now(asked):
    site, finding = asked
    number = seen(site)
    told = {**permit(finding), "seen": number, "until": "2026-08-20"}
    assert send(site.visitor("crew"), "/permissions/PR-1/change", **told).status_code == 303
    page = send(site.visitor("operator"), "/permissions/PR-1/approve", seen=number)
    assert page.status_code == 409
    assert "Meanwhile P-01 changed what PR-1 asks for" in page.text
    assert "to 20 Aug 2026" in page.text
    assert permissions_in(site.book) == ()


def test_a_form_that_is_sent_twice_is_kept_once(asked):
    site, finding = asked
    told, visitor = permit(finding), site.visitor("crew")
    pages = [send(visitor, "/permissions", **told) for _ in range(2)]
    assert {page.headers["Location"] for page in pages} == {"/permissions/PR-2"}
    key = str(uuid4())
    assert [decide(site, "operator", "approve", key=key).status_code for _ in range(2)] == [
        303,
        303,
    ]
    assert len(permissions_in(site.book)) == 1


def test_a_rule_that_takes_no_permission_offers_none_and_the_engine_refuses_it(own_site):
    finding = standing(own_site, permission="never")
    visitor = own_site.visitor("operator")
    page = visitor.get(f"/findings/{finding['finding']}").text
    assert "This rule takes no permission." in page
    assert "/permissions/ask" not in page
    page = send(visitor, "/permissions", **permit(finding))
    assert page.status_code == 422
    assert "takes no permission" in page.text
    assert requests_in(own_site.book) == ()


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (
            {"until": "7.8.2026"},
            "until: '7.8.2026' is not a day; expected a day written YYYY-MM-DD",
        ),
        ({"until": "2026-07-01", "begins": "2026-06-01"}, "until: 2026-07-01 has passed already"),
        ({"begins": "2026-08-09"}, "before it begins"),
        ({"until": "2027-07-31"}, "for more than 90 days"),
        ({"tank": "T99"}, "register has no tank 'T99'"),
        ({"reason": ""}, "the reason: missing"),
    ],
)
def test_what_is_wrong_is_named_and_what_was_typed_is_still_there(own_site, changed, told):
    finding = standing(own_site, subject_kind="tank")
    page = send(own_site.visitor("crew"), "/permissions", **permit(finding, **changed))
    assert page.status_code == 422
    assert told in page.text.replace("&#39;", "'")
    assert requests_in(own_site.book) == ()


def test_stored_script_is_shown_as_text(own_site):
    finding = standing(own_site, subject_kind="tank")
    send(own_site.visitor("crew"), "/permissions", **permit(finding, reason=SCRIPT))
    visitor = own_site.visitor("operator")
    addresses = ["/permissions", "/permissions/PR-1", f"/findings/{finding['finding']}"]
    for address in addresses:
        page = visitor.get(address).text
        assert "<script>alert" not in page, address
        assert str(escape(SCRIPT)) in page, address
    decide(own_site, "operator", "approve")
    page = visitor.get("/audit").text
    assert "<script>alert" not in page
    assert str(escape(SCRIPT)) in page


def test_a_request_or_finding_that_is_not_there_is_told(site):
    visitor = site.visitor("operator")
    assert visitor.get("/permissions/PR-9").status_code == 404
    assert visitor.get("/permissions/ask?finding=no/such").status_code == 404


def test_every_link_of_the_pages_leads_somewhere(asked):
    site, finding = asked
    visitor = site.visitor("operator")
    addresses = ["/permissions", "/permissions/PR-1", f"/findings/{finding['finding']}"]
    addresses.append(f"/permissions/ask?finding={finding['finding']}")
    for address in addresses:
        page = visitor.get(address).text
        assert 'href=""' not in page, address
        assert 'href="/findings"' in page, address
