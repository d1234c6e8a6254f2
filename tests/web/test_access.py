"""Who may use what: every view says it, and nobody else gets in."""

import pytest
from flask import Flask

from qa_engine.web.access import ANYONE, Access, access_of, guard, open_to
from qa_engine.web.accounts import Account


def test_every_view_says_who_may_use_it(site):
    silent = [e for e in site.app.view_functions if access_of(site.app, e) is None]
    assert silent == []


def test_a_view_that_says_nothing_is_closed(own_site):
    app = own_site.app
    app._got_first_request = False
    app.add_url_rule("/silent", "silent", lambda: "open")
    assert own_site.visitor("administrator").get("/silent").status_code == 403


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
