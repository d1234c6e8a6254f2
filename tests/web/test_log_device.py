"""What the log's scripts ask of the server, and what they may send."""

import json
import re
from uuid import uuid4

import pytest

from qa_engine.web.log.device import FILES
from qa_engine.web.log.sheets import SHEETS

AT = "2026-07-31T05:00"
SCRIPT = {"Accept": "application/json"}


def read(visitor, address):
    """Return the status, the type and the text of what stands at an address."""
    with visitor.get(address) as answer:
        return answer.status_code, answer.mimetype, answer.text


def known(visitor):
    return visitor.get("/log/device", headers=SCRIPT).json


def sent(visitor, **fields):
    """Send a form as the script does, with the token that it has just asked for."""
    values = {"csrf_token": known(visitor)["token"], "key": str(uuid4()), "at": AT, "tank": "T07"}
    return visitor.client.post("/log/rinse", data={**values, **fields}, headers=SCRIPT)


def rinses(site):
    return site.book.frames(kinds=["rinse"])["rinse"]


def test_a_script_learns_who_is_signed_in_and_every_copy_it_is_to_make_can_be_had(site):
    crew = site.visitor("crew")
    told = known(crew)
    assert told["person"] == "P-01"
    assert {f"/log/blank/{kind}" for kind in SHEETS} < set(told["copies"])
    assert {read(crew, address)[0] for address in told["copies"]} == {200}


def test_every_script_of_the_log_is_copied(site):
    crew = site.visitor("crew")
    pages = [crew.get(address).text for address in ("/log", "/log/waiting", "/log/blank/rinse")]
    named = set(re.findall(r'(?:src|href)="/static/([^"]+)"', " ".join(pages)))
    for name in [one for one in named if one.endswith(".js")]:
        named |= set(re.findall(r'from "\./([^"]+)"', read(crew, f"/static/{name}")[2]))
    assert named <= set(FILES)


def test_a_page_that_is_copied_holds_no_secret_and_no_record(site):
    crew = site.visitor("crew")
    records = [record for frame in site.book.frames().values() for record in frame["record"]]
    for address in known(crew)["copies"]:
        text = read(crew, address)[2]
        assert "csrf_token" not in text or address.endswith(".js"), address
        assert not [one for one in records if one in text], address


@pytest.mark.parametrize("address", ["/log/device", "/log/waiting", "/log/blank/rinse"])
def test_nobody_but_loggers_may_ask(site, address):
    assert site.visitor("auditor").get(address).status_code == 403
    assert site.visitor().get(address).status_code == 302


def test_the_worker_may_rule_the_log_and_nothing_else(site):
    answer = site.visitor().get("/log/worker.js")
    assert answer.headers["Service-Worker-Allowed"] == "/log"
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.mimetype == "text/javascript"


def test_the_manifest_is_one_and_its_icon_is_there(site):
    visitor = site.visitor()
    _, sort, text = read(visitor, "/static/log.webmanifest")
    told = json.loads(text)
    assert sort == "application/manifest+json"
    assert read(visitor, f"/static/{told['icons'][0]['src']}")[1] == "image/svg+xml"
    assert told["start_url"] == "/log"


def test_a_script_is_told_where_the_verdict_is_and_the_same_key_again_gives_the_same(own_site):
    crew, key, before = own_site.visitor("crew"), str(uuid4()), rinses(own_site).height
    first, again = (sent(crew, key=key, rinses="2") for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json == again.json
    assert "Kept." in crew.get(first.json["address"]).text
    assert rinses(own_site).height == before + 1


def test_a_script_is_told_what_is_wrong_by_field(own_site):
    key = str(uuid4())
    answer = sent(own_site.visitor("crew"), key=key, rinses="two")
    assert answer.status_code == 422
    assert answer.json["key"] == key, "mended, it is still the same form"
    assert answer.json["wrong"].keys() == {"rinses"}


def test_a_key_that_the_book_has_with_other_values_comes_back_as_a_new_one(own_site):
    crew, key = own_site.visitor("crew"), str(uuid4())
    sent(crew, key=key, rinses="2")
    answer = sent(crew, key=key, rinses="3")
    assert answer.status_code == 409
    assert answer.json["key"] != key
    assert "kept before, with other values" in answer.json["wrong"][""]


def test_a_form_that_another_person_wrote_is_refused(own_site):
    before = rinses(own_site).height
    answer = sent(own_site.visitor("operator"), person="P-01")
    assert answer.status_code == 403
    assert "only P-01 can send it" in answer.text
    assert rinses(own_site).height == before


def test_a_token_of_before_signing_in_again_is_refused(own_site):
    crew = own_site.visitor("crew")
    old = known(crew)["token"]
    crew.submit("/people/me", "/people/sign-out")
    crew.submit("/people/sign-in", sign_in="crew", password="seven wet coaches")
    assert sent(crew, csrf_token=old).status_code == 400
    assert sent(crew).status_code == 201


def test_two_tabs_that_ask_for_a_token_at_once_both_get_one_that_holds(own_site):
    crew = own_site.visitor("crew")
    cookie = crew.client.get_cookie("qa").value
    tokens = []
    for _ in range(2):
        crew.client.set_cookie("qa", cookie)
        tokens.append(known(crew)["token"])
    assert [sent(crew, csrf_token=one).status_code for one in tokens] == [201, 201]


def test_a_script_without_a_session_is_told_so(own_site):
    answer = own_site.visitor().client.post("/log/rinse", data={}, headers=SCRIPT)
    assert answer.status_code == 401


def test_a_number_is_read_in_the_units_that_its_form_showed(own_site):
    own_site.accounts.prefer("P-01", "US", "en")
    crew = own_site.visitor("crew")
    sent(crew, units="metric", water_used="10", note="litres")
    sent(crew, units="US", water_used="10", note="gallons")
    kept = {row["note"]: row["water_used"] for row in rinses(own_site).to_dicts() if row["note"]}
    # a US gallon is 3.785411784 L
    assert kept == {"litres": 10, "gallons": pytest.approx(37.85411784)}


def test_a_form_of_a_tank_gets_the_van_that_the_register_has_it_on(own_site):
    sent(own_site.visitor("crew"), note="no van typed")
    (row,) = rinses(own_site).filter(note="no van typed").to_dicts()
    assert row["van"] == own_site.book.register().table("tanks").filter(tank="T07")["van"][-1]
