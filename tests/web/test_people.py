"""Signing in and out, invitations and tokens."""

import runpy
from datetime import timedelta

import pytest

from qa_engine.book import create_book
from qa_engine.demo import AS_OF
from qa_engine.web import passwords
from qa_engine.web.accounts import INVITED_FOR, SIGNED_IN_FOR, AccountError, Accounts

WORDS = "a long enough password"


def test_who_has_not_signed_in_is_led_to_where_one_does_and_then_on(site):
    visitor = site.visitor()
    assert visitor.get("/people/me").headers["Location"] == "/people/sign-in?then=/people/me"
    page = visitor.submit(
        "/people/sign-in", sign_in="crew", password="seven wet coaches", then="/people/me"
    )
    assert page.headers["Location"] == "/people/me"


@pytest.mark.parametrize(
    "then", ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", ""]
)
def test_signing_in_never_leads_to_another_site(site, then):
    page = site.visitor().submit(
        "/people/sign-in", sign_in="crew", password="seven wet coaches", then=then
    )
    assert page.headers["Location"] == "/"


def test_a_wrong_password_and_an_unknown_name_say_the_same(own_site):
    said = {
        own_site.visitor().submit("/people/sign-in", sign_in=name, password="wrong").status_code
        for name in ("crew", "nobody")
    }
    assert said == {401}


def test_guessing_is_stopped_after_ten_tries_in_a_minute(own_site):
    visitor = own_site.visitor()
    tries = [
        visitor.submit("/people/sign-in", sign_in="crew", password="wrong").status_code
        for _ in range(11)
    ]
    assert tries == [401] * 10 + [429]


def test_the_first_account_is_made_by_an_invitation_that_works_once(empty_site):
    assert not empty_site.accounts.any()
    secret = empty_site.accounts.invite("P-01", "administrator", AS_OF)
    page = f"/people/invitation/{secret}"
    visitor = empty_site.visitor()
    assert visitor.submit(page, sign_in="ada", password=WORDS).headers["Location"] == "/"
    assert visitor.get("/people/").status_code == 200
    assert empty_site.visitor().get(page).status_code == 404


def test_an_invitation_ends_after_three_days(own_site):
    secret = own_site.accounts.invite("P-09", "crew", AS_OF)
    assert own_site.accounts.invitation(secret, AS_OF + INVITED_FOR - timedelta(seconds=1))
    assert own_site.accounts.invitation(secret, AS_OF + INVITED_FOR) is None


def test_a_short_password_and_a_taken_name_are_said_and_use_up_nothing(own_site):
    page = f"/people/invitation/{own_site.accounts.invite('P-09', 'crew', AS_OF)}"
    visitor = own_site.visitor()
    short = visitor.submit(page, sign_in="nina", password="short")
    assert short.status_code == 422
    assert "at least 10 characters" in short.text
    taken = visitor.submit(page, sign_in="crew", password=WORDS)
    assert "choose another" in taken.text
    assert visitor.submit(page, sign_in="nina", password=WORDS).status_code == 302


def test_the_cookie_of_before_signing_in_is_nobody_s_afterwards(own_site):
    visitor = own_site.visitor()
    visitor.get("/people/sign-in")
    before = visitor.client.get_cookie("qa").value
    visitor.submit("/people/sign-in", sign_in="crew", password="seven wet coaches")
    assert visitor.client.get_cookie("qa").value != before
    stranger = own_site.visitor()
    stranger.client.set_cookie("qa", before)
    assert stranger.get("/people/me").status_code == 302


def test_a_copied_cookie_is_worth_nothing_after_signing_out(own_site):
    visitor = own_site.visitor("crew")
    copied = visitor.client.get_cookie("qa").value
    visitor.submit("/people/me", "/people/sign-out")
    thief = own_site.visitor()
    thief.client.set_cookie("qa", copied)
    assert thief.get("/people/me").status_code == 302


def test_signing_out_everywhere_ends_the_session_on_the_other_phone(own_site):
    phone, tablet = own_site.visitor("crew"), own_site.visitor("crew")
    assert tablet.get("/people/me").status_code == 200
    phone.submit("/people/me", "/people/sign-out", everywhere="yes")
    assert tablet.get("/people/me").status_code == 302


def test_a_session_ends_by_itself(own_site):
    visitor = own_site.visitor("crew")
    own_site.clock.now = AS_OF + SIGNED_IN_FOR - timedelta(seconds=1)
    assert visitor.get("/people/me").status_code == 200
    own_site.clock.now = AS_OF + SIGNED_IN_FOR
    assert visitor.get("/people/me").status_code == 302


def test_a_form_without_the_token_of_a_page_is_refused(own_site):
    visitor = own_site.visitor("administrator")
    page = visitor.client.post("/people/invite", data={"person": "P-66", "role": "crew"})
    assert page.status_code == 400


def test_a_token_is_shown_once_and_kept_only_as_a_digest(own_site):
    visitor = own_site.visitor("crew")
    page = visitor.submit("/people/me", "/people/me/tokens", label="till", scope="read", days=30)
    secret = page.text.split('class="secret">')[1].split("<")[0]
    assert own_site.accounts.of_token(secret, AS_OF).scope == "read"
    assert secret not in visitor.get("/people/me").text
    assert own_site.accounts.of_token(secret, AS_OF + timedelta(days=30)) is None


def test_a_token_that_is_taken_back_speaks_for_nobody(own_site):
    until = AS_OF + timedelta(days=9)
    secret = own_site.accounts.hand_out("P-01", "till", "read", until)
    digest = own_site.accounts.tokens("P-01")[0]["digest"]
    own_site.visitor("operator").submit("/people/me", f"/people/me/tokens/{digest}/take-back")
    assert own_site.accounts.of_token(secret, AS_OF) is not None, "another person's token"
    own_site.visitor("crew").submit("/people/me", f"/people/me/tokens/{digest}/take-back")
    assert own_site.accounts.of_token(secret, AS_OF) is None


def test_a_person_who_is_removed_is_signed_out_and_their_tokens_end(own_site):
    visitor = own_site.visitor("crew")
    secret = own_site.accounts.hand_out("P-01", "till", "read", AS_OF + timedelta(days=9))
    own_site.visitor("administrator").submit("/people/", "/people/P-01/remove")
    assert visitor.get("/people/me").status_code == 302
    assert own_site.accounts.of_token(secret, AS_OF) is None


def test_nobody_removes_their_own_account(own_site):
    page = own_site.visitor("administrator").submit("/people/", "/people/P-04/remove")
    assert page.status_code == 422
    assert "another administrator can" in page.text


def test_a_role_that_does_not_exist_cannot_be_invited(own_site):
    with pytest.raises(AccountError, match="'owner' is no role"):
        own_site.accounts.invite("P-09", "owner", AS_OF)


def test_passwords_are_kept_as_argon2id_over_64_mib():
    """The second recommended option of RFC 9106, 4 (from memory): 3 passes, 64 MiB, 4 lanes."""
    as_people_have_it = runpy.run_path(passwords.__file__)
    kept = as_people_have_it["hashed"](WORDS)
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert as_people_have_it["matches"](kept, WORDS)
    assert not as_people_have_it["matches"](kept, WORDS + " ")


def test_accounts_are_kept_in_either_database(book_url):
    with create_book(
        book_url, operator="Quillmere", time_zone="UTC", entered_at=AS_OF, entered_by="P-1"
    ) as book:
        accounts = Accounts(book)
        accounts.accept(accounts.invite("P-1", "crew", AS_OF), "crew", WORDS, AS_OF)
        session = accounts.open_session("P-1", AS_OF)
        assert accounts.of_session(session, AS_OF).person == "P-1"
        assert accounts.of_session(session, AS_OF + SIGNED_IN_FOR + timedelta(seconds=1)) is None
