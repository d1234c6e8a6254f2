"""Every address with every method, as everybody there is: open exactly to whom its view says."""

from dataclasses import dataclass
from datetime import timedelta

import pytest

from qa_engine.demo import AS_OF
from qa_engine.web.access import ANYONE, access_of
from qa_engine.web.accounts import ROLES, SCOPES
from qa_engine.web.hardening import BRAKE

PERSON = dict(zip(ROLES, ("P-01", "P-02", "P-03", "P-04"), strict=True))
RECORDS_COME_BY = ("log", "api", "imports", "corrections")


@dataclass(frozen=True)
class Caller:
    """Somebody who knocks: their role, the scope of their token, what became of the token."""

    role: str | None = None
    scope: str | None = None
    ended: str | None = None

    def __str__(self):
        return " ".join(filter(None, (self.ended, self.role or "anonymous", self.scope)))

    def may(self, access):
        """Tell whether a door is open to them, by what its view says alone."""
        if ANYONE in access.roles:
            return True
        mine = self.role in access.roles and not self.ended
        return mine and (self.scope is None or self.scope == access.scope)


EVERYBODY = (
    Caller(),
    *(Caller(role) for role in ROLES),
    *(Caller(role, scope) for role in ROLES for scope in SCOPES),
    Caller("administrator", "read", "revoked"),
    Caller("administrator", "add records", "expired"),
)


class Knocker:
    """A caller with a browser, or a program with a token, who goes from door to door."""

    def __init__(self, site, caller):
        self.site = site
        self.visitor = site.seated(caller.role) if caller.role and not caller.scope else None
        self.visitor = self.visitor or site.visitor()
        self.headers = {"Authorization": f"Bearer {token_of(site, caller)}"} if caller.scope else {}
        self.form = {"csrf_token": self.visitor.form_token()}

    def knock(self, door):
        """Return the answer at a door, at which a form is as good as an empty one can be."""
        self.site.app.extensions[BRAKE].storage.reset()
        # Buffered, or files that are sent would stay open.
        return self.visitor.client.open(
            door.address,
            method=door.method,
            headers=self.headers,
            data=None if door.method in ("GET", "HEAD") else self.form,
            buffered=True,
        )


def token_of(site, caller):
    """Return a token of a caller; one that has ended is good for nothing."""
    person = PERSON[caller.role]
    until = AS_OF + timedelta(days=-1 if caller.ended == "expired" else 9)
    token = site.accounts.hand_out(person, "matrix", caller.scope, until)
    if caller.ended == "revoked":
        for one in site.accounts.tokens(person):
            site.accounts.take_back(person, one["digest"])
    return token


def doors_of(site):
    """Return every door; the one by which people leave comes last."""
    return sorted(site.doors(), key=lambda door: door.endpoint == "people.sign_out")


def refused(door, answer):
    """Tell whether an answer is the one of a closed door, in the form that fits who knocked."""
    if answer.status_code == 302:
        return answer.headers["Location"].startswith("/people/sign-in?then=")
    wrong_password = door.endpoint == "people.signing_in" and answer.status_code == 401
    return answer.status_code in (401, 403) and not wrong_password


@pytest.mark.parametrize("caller", EVERYBODY, ids=str)
def test_each_door_is_open_exactly_to_whom_its_view_says(small_site, caller):
    wrong, failed = [], []
    knocker = Knocker(small_site, caller)
    for door in doors_of(small_site):
        answer = knocker.knock(door)
        access = access_of(small_site.app, door.endpoint)
        if refused(door, answer) == caller.may(access):
            wrong.append((door, answer.status_code))
        if answer.status_code >= 500:
            failed.append((door, answer.status_code))
    assert not wrong
    assert not failed, "an empty form is answered, never a failure"


def test_a_closed_door_leads_people_to_sign_in_and_tells_programs(small_site):
    person, program = Knocker(small_site, Caller()), Knocker(small_site, EVERYBODY[-1])
    for door in small_site.doors():
        if ANYONE in access_of(small_site.app, door.endpoint).roles:
            continue
        answer = person.knock(door)
        is_page = door.method in ("GET", "HEAD") and not door.address.startswith("/api/")
        assert answer.status_code == (302 if is_page else 401), door
        assert program.knock(door).status_code == 401, door


def test_an_auditor_brings_no_records_in(small_site):
    doors = [
        door.endpoint
        for door in small_site.doors()
        if door.method == "POST" and door.endpoint.partition(".")[0] in RECORDS_COME_BY
    ]
    assert {"log.save", "api.add_records"} <= set(doors)
    for endpoint in doors:
        assert "auditor" not in access_of(small_site.app, endpoint).roles, endpoint


def test_only_administrators_let_people_in_and_out(small_site):
    for name in ("people.all_people", "people.invite", "people.remove"):
        assert access_of(small_site.app, name).roles == ("administrator",)


def test_what_anybody_may_use_is_no_more_than_signing_in_and_what_holds_no_data(small_site):
    open_ = {
        endpoint
        for endpoint in small_site.app.view_functions
        if ANYONE in access_of(small_site.app, endpoint).roles
    }
    assert {"static", "people.sign_in", "people.signing_in"} <= open_
    nouns = {endpoint.partition(".")[0] for endpoint in open_}
    assert nouns.isdisjoint(("board", "tanks", "findings", "rules", "audit", "actions"))
