"""Who may use what: every view says it, and nobody else gets in."""

import pytest
from flask import Flask

from qa_engine.web.access import ANYONE, Access, access_of, guard, open_to
from qa_engine.web.accounts import ROLES, Account


def test_every_view_says_who_may_use_it(site):
    silent = [e for e in site.app.view_functions if access_of(site.app, e) is None]
    assert silent == []


def test_a_view_that_says_nothing_is_closed(own_site):
    app = own_site.app
    app._got_first_request = False
    app.add_url_rule("/silent", "silent", lambda: "open")
    assert own_site.visitor("administrator").get("/silent").status_code == 403


@pytest.mark.parametrize("role", ROLES)
def test_a_page_is_refused_to_every_role_that_it_is_not_open_to(site, role):
    visitor = site.visitor(role)
    for rule in site.app.url_map.iter_rules():
        access = access_of(site.app, rule.endpoint)
        if "GET" not in rule.methods or rule.arguments or ANYONE in access.roles:
            continue
        status = visitor.get(rule.rule).status_code
        assert (status == 403) == (role not in access.roles), (rule.rule, status)


def test_nobody_gets_in_without_signing_in(site):
    visitor = site.visitor()
    for rule in site.app.url_map.iter_rules():
        if "GET" in rule.methods and not rule.arguments:
            open_ = ANYONE in access_of(site.app, rule.endpoint).roles
            status = visitor.get(rule.rule).status_code
            assert (status in (302, 401)) != open_, (rule.rule, status)


def test_a_token_opens_only_what_names_its_scope():
    reader = Account("P-01", "crew", "crew", scope="read")
    assert Access(("crew",), "read").admits(reader)
    assert not Access(("crew",), "add records").admits(reader)
    assert not Access(("crew",)).admits(reader)
    assert not Access(("operator",), "read").admits(reader)


def test_a_role_that_does_not_exist_is_refused_when_the_view_is_made():
    with pytest.raises(ValueError, match="no such role: owner"):
        open_to("owner")


def test_every_page_carries_the_policy_that_keeps_strange_scripts_out(site):
    headers = site.visitor("crew").get("/").headers
    assert "script-src 'self'" in headers["Content-Security-Policy"]
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"


def test_guarding_covers_the_static_files():
    app = Flask("bare")
    guard(app)
    assert access_of(app, "static").roles == (ANYONE,)
