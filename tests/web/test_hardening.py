"""Pages against those who mean harm: fixed sessions, forged forms, bodies made to break things."""

import io
import re
from importlib.resources import files
from pathlib import Path
from uuid import UUID

import pytest

from qa_engine.records import RECORD_FIELDS
from qa_engine.web.access import ANYONE, SESSION, access_of
from qa_engine.web.accounts import ROLES
from qa_engine.web.hardening import BRAKE, HEADERS

TEMPLATES = Path(str(files("qa_engine.web"))) / "templates"
FIELD = re.compile(r'<(?:input|select|textarea|button)[^>]*?name="([a-z_]+)"')
BOUNDARY = "multipart/form-data; boundary=x"
HOSTILE = (
    "\x00",
    "=1+1",
    "<script>alert(1)</script>",
    "../../../etc/passwd",
    "9" * 400,
    "\N{RIGHT-TO-LEFT OVERRIDE}" * 50,
    "\N{PILE OF POO}" * 600,
    "NaN",
    "-1",
    "2026-13-45T99:99",
)
MALFORMED = {
    "no JSON": (b"{]", "application/json"),
    "JSON of another sort": (b'[[1, "2", null]]', "application/json"),
    "deep JSON": (b"[" * 50_000, "application/json"),
    "no multipart": (b"\x00\xff" * 500, BOUNDARY),
    "cut multipart": (b'--x\r\nContent-Disposition: form-data; name="', BOUNDARY),
    "multipart without boundary": (b"--x--", "multipart/form-data"),
    "no UTF-8": (b"kind=%ff%fe&tank=%c3%28&\xff=\xfe", "application/x-www-form-urlencoded"),
    "many fields": (b"&".join(b"a=1" for _ in range(5_000)), "application/x-www-form-urlencoded"),
    "no kind": (b"\x1f\x8b\x08\x00", ""),
    "a strange charset": (b"kind=1", "application/x-www-form-urlencoded; charset=nothing"),
}


def posts(site):
    """Return every door that takes what is sent; the one by which people leave comes last."""
    found = [door for door in site.doors() if door.method != "GET" and door.method != "HEAD"]
    return sorted(found, key=lambda door: door.endpoint == "people.sign_out")


def guest_of(site, door):
    """Return a browser of somebody to whom a door is open."""
    roles = access_of(site.app, door.endpoint).roles
    return site.visitor() if ANYONE in roles else site.seated(roles[-1])


def sent(site, guest, door, body, kind):
    """Return the answer to a body from a browser that brings the token of a page."""
    site.app.extensions[BRAKE].storage.reset()
    headers = {"X-CSRFToken": guest.form_token(), "Idempotency-Key": "K"}
    return guest.client.post(
        door.address, data=body, content_type=kind, headers=headers, buffered=True
    )


def names_in_forms():
    """Return the name of every field that any page has."""
    pages = (path.read_text(encoding="utf-8") for path in TEMPLATES.rglob("*.html"))
    named = {name for page in pages for name in FIELD.findall(page)}
    return sorted((named | set(RECORD_FIELDS)) - {"csrf_token"})


def kept(site):
    """Return what no refused form may change."""
    accounts = [(one.person, one.role, one.units) for one in site.accounts.all()]
    tokens = [site.accounts.tokens(person) for person, _, _ in accounts]
    return site.book.size(), accounts, tokens


# sessions


def test_a_session_planted_before_signing_in_is_not_the_one_that_is_signed_in(small_site):
    mallory = small_site.seated("crew")
    planted = mallory.client.get_cookie("qa").value
    victim = small_site.visitor()
    victim.client.set_cookie("qa", planted)
    assert "/people/me" in victim.get("/people/me").text
    page = victim.submit("/people/me", "/people/sign-out")
    assert page.status_code == 302
    victim.submit("/people/sign-in", sign_in="operator", password="seven wet coaches")
    assert victim.get("/people/me").status_code == 200
    assert mallory.get("/people/me").status_code == 302, "the planted one has ended"


def test_signing_in_takes_nothing_over_from_the_session_before(small_site):
    victim = small_site.visitor()
    with victim.client.session_transaction() as before:
        before["planted"] = "by somebody else"
    victim.submit("/people/sign-in", sign_in="operator", password="seven wet coaches")
    with victim.client.session_transaction() as after:
        assert "planted" not in after
        assert after[SESSION]


def test_a_session_signed_with_another_key_is_nobody_s(small_site):
    secret = small_site.accounts.open_session("P-04", small_site.clock.now)
    app = small_site.app
    key, app.secret_key = app.secret_key, b"the key of somebody else, 32 b.."
    forger = small_site.visitor()
    with forger.client.session_transaction() as forged:
        forged[SESSION] = secret
    app.secret_key = key
    assert forger.get("/people/").status_code == 302


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(small_site):
    page = small_site.visitor().get("/people/sign-in")
    cookie = page.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie


# forms


@pytest.mark.parametrize("role", ROLES)
def test_no_form_is_taken_without_the_token_of_a_page_of_the_same_session(small_site, role):
    before, tried = kept(small_site), 0
    foreign = small_site.seated(role).form_token()
    for door in posts(small_site):
        roles = access_of(small_site.app, door.endpoint).roles
        if role not in roles and ANYONE not in roles:
            continue
        visitor = small_site.seated(role)
        for form in ({}, {"csrf_token": "made up"}, {"csrf_token": foreign}):
            small_site.app.extensions[BRAKE].storage.reset()
            answer = visitor.client.post(door.address, data=form)
            assert answer.status_code == 400, (door, form)
        assert visitor.get("/people/me").status_code == 200, "still signed in"
        tried += 1
    assert tried > 5
    assert kept(small_site) == before


def test_every_answer_carries_the_headers_that_keep_strange_scripts_out(small_site):
    for door in small_site.doors():
        answer = small_site.seated("administrator").client.get(door.address, buffered=True)
        for name in HEADERS:
            assert name in answer.headers, door


# bodies


@pytest.mark.parametrize("sort", MALFORMED)
def test_a_malformed_body_is_never_a_failure(small_site, sort):
    body, kind = MALFORMED[sort]
    for door in posts(small_site):
        answer = sent(small_site, guest_of(small_site, door), door, body, kind)
        assert answer.status_code < 500, door


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "text/plain", BOUNDARY])
def test_a_body_beyond_the_limit_is_refused_before_it_is_read(small_site, kind):
    before = kept(small_site)
    small_site.app.config["MAX_CONTENT_LENGTH"] = 10_000
    part = b'--x\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
    body = (part if kind == BOUNDARY else b"note=") + b"a" * 20_000
    for door in posts(small_site):
        guest = guest_of(small_site, door)
        answer = sent(small_site, guest, door, body, kind)
        # Where nothing in the body is looked at, what it holds cannot do harm either.
        assert answer.status_code < 500, door
        assert answer.status_code >= 300 or kind == "text/plain", door
        assert answer.status_code in (302, 303, 400, 401, 404, 413, 415, 422), door
    assert kept(small_site)[0] == before[0]


@pytest.mark.parametrize("value", HOSTILE, ids=lambda value: repr(value[:6]))
def test_hostile_words_in_every_field_are_never_a_failure(small_site, value):
    names = names_in_forms()
    assert {"note", "outlet_tds", "label", "key"} <= set(names)
    for door in posts(small_site):
        guest = guest_of(small_site, door)
        form = dict.fromkeys(names, value) | {"key": str(UUID(int=7))}
        small_site.app.extensions[BRAKE].storage.reset()
        headers = {"X-CSRFToken": guest.form_token()}
        answer = guest.client.post(door.address, data=form, headers=headers, buffered=True)
        assert answer.status_code < 500, door
        assert "<script>alert(1)" not in answer.text, door


def test_a_hostile_name_of_an_uploaded_file_is_never_a_failure(small_site, tmp_path):
    for door in posts(small_site):
        guest = guest_of(small_site, door)
        for name in ("../../escaped.csv", "\x00.csv", "a" * 3000, "C:\\x.csv", ".."):
            small_site.app.extensions[BRAKE].storage.reset()
            upload = {field: (io.BytesIO(b"a,b\n1,2\n"), name) for field in ("file", "records")}
            headers = {"X-CSRFToken": guest.form_token()}
            answer = guest.client.post(door.address, data=upload, headers=headers, buffered=True)
            assert answer.status_code < 500, (door, name)
            if door.endpoint == "people.sign_out":
                break
    assert not list(tmp_path.parent.rglob("escaped.csv"))
