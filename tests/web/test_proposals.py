"""Editions proposed on pages: typed or handed in, previewed, adopted by a second person."""

import csv
import io
import re
import threading
from functools import cache
from importlib.resources import files

import pytest
from markupsafe import escape

from qa_engine.book import Submission
from qa_engine.book.draft import LARGEST, draft_of
from qa_engine.book.proposals import proposals_in
from qa_engine.book.proposing import propose as enter
from qa_engine.book.verify import verify
from qa_engine.cli.rule_files import offered
from qa_engine.demo import AS_OF
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.rulesets import read_rule_sets
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import EXTENSION
from qa_engine.web.rules.previews import EXTENSION as PREVIEWS
from qa_engine.web.rules.source import WIDEST, lines_around
from qa_engine.yaml_tree import Problem, read_yaml

NEW = "/rules/proposals/new"
START = f"{NEW}?from=rinse-water/2025-01"
SHIPPED = (files("qa_engine.rules") / "rinse-water.yaml").read_text(encoding="utf-8")
KEY = "0f4bd8a0-3c5b-4a43-9f4e-3f6f0f7d1c11"
OTHER_KEY = "0f4bd8a0-3c5b-4a43-9f4e-3f6f0f7d1c12"
SCRIPT = "<script>alert(1)</script>"


def stricter(limit="15", edition="2026-08", first="2026-08-10"):
    """Return the rule set that ships with another house limit, and examples that fit it."""
    text = SHIPPED.replace("edition: 2025-01\n", f"edition: {edition}\n")
    text = text.replace("from: 2025-01-01", f"from: {first}")
    begin = text.index("rule: outlet-below-house-limit")
    end = text.index("  - rule:", begin)
    rule = text[begin:end].replace("20.1", f"{limit}.1").replace("20 mg/L", f"{limit} mg/L")
    return text[:begin] + rule.replace("19.9", f"{int(limit) - 1}.9") + text[end:]


def propose(site, text=None, role="operator", key=KEY, why="spots were seen at 16 mg/L"):
    text = stricter() if text is None else text
    return site.visitor(role).submit(START, NEW, text=text, why=why, key=key, do="propose")


@cache
def drafted(text):
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    return draft_of(text.encode(), read_rule_sets(offered(host), catalogue), catalogue)


def proposed(site, key=KEY, **wording):
    """Enter a proposal of the operator, without the page."""
    by = Submission(key, site.clock.now, "P-02", source="web")
    return enter(site.book, drafted(stricter(**wording)), "spots were seen at 16 mg/L", by)


def check(site, text, **fields):
    return site.visitor("operator").submit(
        START, NEW, **{"text": text, "why": "because", "key": KEY, "do": "check", **fields}
    )


def decide(site, what, role="administrator", key=OTHER_KEY, **fields):
    (one,) = [p for p in proposals_in(site.book) if p.proposal == "EP-1"]
    page = "/rules/proposals/EP-1"
    fields = {"seen": one.entry, "key": key, **fields}
    return site.visitor(role).submit(page, f"{page}/{what}", **fields)


def adopt(site, role="administrator", on="2026-08-10", **fields):
    return decide(site, "adopt", role, on=on, **fields)


def words(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.text).split())


def editions(site):
    state = site.app.extensions[EXTENSION].lookout.state(site.clock.now)
    return [str(one) for one in state.editions]


def test_the_editor_begins_with_the_edition_in_force(site):
    page = site.visitor("operator").get(START)
    # A line end right after <textarea> is not part of what it holds.
    (typed,) = re.findall(r'<textarea class="yaml"[^>]*>\n(.*?)</textarea>', page.text, re.S)
    assert "edition: 2025-01" in typed
    assert typed.count("\n") == SHIPPED.count("\n")


@pytest.mark.parametrize("name", ["no-such/1", "EP-99", "../../etc/passwd"])
def test_it_begins_with_nothing_that_is_not_there(site, name):
    assert site.visitor("operator").get(f"{NEW}?from={name}").status_code == 404


def test_what_is_wrong_is_shown_beside_its_line_and_nothing_typed_is_lost(site):
    text = (
        stricter()
        .replace("is: 15 mg/L", "is: 15 mgl")
        .replace("grading: minor", "grading: minr", 1)
    )
    answer = check(site, text, why="a reason, typed before")
    lines = {n for n, line in enumerate(text.split("\n"), 1) if "15 mgl" in line or "minr" in line}
    assert answer.status_code == 422
    assert {int(n) for n in re.findall(r"Line (\d+), column", answer.text)} == lines
    assert "did you mean &#39;mg/L&#39;?" in answer.text
    assert "2 things must be put right" in answer.text
    assert "is: 15 mgl" in answer.text
    assert "a reason, typed before" in answer.text
    assert f'value="{KEY}"' in answer.text


def test_examples_that_no_longer_fit_a_limit_are_said_with_what_would_do(site):
    text = stricter().replace("14.9", "19.9")
    told = words(check(site, text))
    assert "this example of &#39;outlet-below-house-limit&#39; is listed under conforms" in told
    assert "outlet_as_tds: 14 mg/L" in told


def test_checking_keeps_nothing_and_says_that_nothing_is_wrong(small_site):
    size = small_site.book.size()
    answer = check(small_site, stricter())
    assert (answer.status_code, small_site.book.size()) == (200, size)
    assert "Nothing is wrong in it. It is not proposed yet." in answer.text


def test_a_proposal_is_kept_and_shown_with_who_when_and_why(small_site):
    answer = propose(small_site)
    assert answer.headers["Location"] == "/rules/proposals/EP-1"
    told = words(small_site.visitor("auditor").get("/rules/proposals/EP-1"))
    assert "P-02 proposes it; another person decides." in told
    assert "spots were seen at 16 mg/L" in told
    assert "limits.house_limit.is 20 mg/L 15 mg/L" in told
    assert "14 rules stand as before." in told
    assert editions(small_site).count("rinse-water 2026-08") == 0
    assert verify(small_site.book) == []


def test_proposing_without_a_reason_loses_nothing(small_site):
    answer = propose(small_site, why=" ")
    assert answer.status_code == 422
    assert "edition: 2026-08" in answer.text
    assert proposals_in(small_site.book) == ()


def test_a_form_tapped_twice_proposes_once(small_site):
    first, second = propose(small_site), propose(small_site)
    assert first.headers["Location"] == second.headers["Location"]
    assert len(proposals_in(small_site.book)) == 1


def test_a_form_without_a_key_is_refused(small_site):
    assert propose(small_site, key="=1+1").status_code == 400


@pytest.mark.parametrize("field", ["why", "title"])
def test_a_script_that_was_typed_is_but_text(small_site, field):
    text = stricter()
    if field == "title":
        text = text.replace("title: Rinse water", f'title: "{SCRIPT}"', 1)
        text = text.replace("title: Outlet water below the house limit", f'title: "{SCRIPT}"')
    propose(small_site, text, why=SCRIPT)
    (one,) = proposals_in(small_site.book)
    assert SCRIPT in (one.why, one.title)
    adopt(small_site)
    visitor = small_site.visitor("administrator")
    for address in (
        "/rules",
        "/rules/proposals/",
        "/rules/proposals/EP-1",
        "/rules/sets/rinse-water/2026-08",
        f"{NEW}?from=EP-1",
    ):
        page = visitor.get(address)
        assert page.status_code == 200
        assert SCRIPT not in page.text


def test_a_script_in_a_text_with_problems_is_but_text(site):
    answer = check(site, f"rule_set: {SCRIPT}\n'</textarea>{SCRIPT}': 1")
    assert answer.status_code == 422
    assert SCRIPT not in answer.text


def test_the_text_of_a_file_is_taken_into_the_editor(site):
    file = (io.BytesIO(b"\xef\xbb\xbf" + stricter().replace("\n", "\r\n").encode()), "rules.yaml")
    answer = check(site, "typed before", do="take", file=file)
    assert answer.status_code == 200
    assert "edition: 2026-08" in answer.text
    assert "typed before" not in answer.text


ALIASES = "a: &a [x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{last}'] * 9)}]\n"
    for last, name in zip("abcdefgh", "bcdefghi", strict=True)
)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (ALIASES, "the alias &#39;*a&#39; is not taken"),
        ("a: " + "[" * 50_000, "exceeded maximum nesting depth"),
        ("- " * 50_000, "nested more than 20 deep"),
        ("x" * (LARGEST + 1), "at most 131,072 are taken here"),
        ("rule_set: a\0b", "cannot be seen and is not taken"),
        ("rule_set: caf\N{REPLACEMENT CHARACTER}", "could not be read as UTF-8"),
    ],
    ids=["aliases", "deep list", "deep dashes", "oversized", "hidden", "replaced"],
)
def test_a_hostile_text_is_refused_with_a_message_and_kept_in_the_editor(site, text, told):
    answer = check(site, text)
    assert answer.status_code == 422
    assert told in answer.text
    assert escape(text[:6]) in answer.text


def test_a_form_too_large_for_the_server_says_so(site):
    # With a file, forms are sent in parts, of which none that is typed may have more than 500 kB.
    answer = check(site, "x" * 600_000, file=(io.BytesIO(b""), "rules.yaml"))
    answer.request.environ["wsgi.input"].close()  # what the test sent lies in a file of its own
    assert answer.status_code == 413
    assert "what is typed into a form" in answer.text


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"rule_set: caf\xe9", "byte 0xe9 is not UTF-8"),
        (b"x" * (LARGEST + 1), "at most 131,072 are taken here"),
        (b"\x89PNG\r\n\x1a\n\0\0", "is not UTF-8"),
    ],
    ids=["Latin-1", "oversized", "picture"],
)
def test_a_file_that_cannot_be_taken_leaves_the_editor_as_it_was(site, content, told):
    file = (io.BytesIO(content), "../../rules.yaml")
    answer = check(site, "typed: before", do="take", file=file)
    assert answer.status_code == 422
    assert told in answer.text
    assert "typed: before" in answer.text


def test_taking_a_file_without_one_and_proposing_with_one_are_asked_back(small_site):
    assert "Choose a file first" in check(small_site, "typed", do="take").text
    file = (io.BytesIO(b"x"), "rules.yaml")
    answer = check(small_site, stricter(), do="propose", file=file)
    assert (answer.status_code, proposals_in(small_site.book)) == (409, ())
    assert "A file is chosen as well" in answer.text


def test_the_lines_shown_are_numbered_and_a_long_one_is_cut_around_its_place():
    text = "\n".join([*(f"line {n}" for n in range(1, 9)), "a" * 300 + "!" + "b" * 300])
    problems = [Problem("x", 3, 6, "there"), Problem("x", 9, 301, "here")]
    lines = lines_around(text, problems)
    assert [line.number for line in lines] == [1, 2, 3, 4, 5, 7, 8, 9]
    assert [line.number for line in lines if not line.follows] == [7]
    assert (lines[2].before, lines[2].at, lines[2].after) == ("line ", "3", "")
    assert lines[-1].at == "!"
    assert len(lines[-1].before + lines[-1].at + lines[-1].after) == WIDEST
    assert lines_around(text, []) == []


def test_a_problem_behind_the_last_line_stands_at_the_last_line():
    problems = read_yaml("x", b"a: [\n").problems
    assert [line.number for line in lines_around("a: [", problems) if line.problems] == [1]


def previewed(site, role="auditor"):
    answer = site.visitor(role).submit("/rules/proposals/EP-1", "/rules/proposals/EP-1/preview")
    assert answer.status_code == 303
    return answer.headers["Location"]


def test_the_preview_says_what_would_newly_fail_and_exports_all_of_it(small_site):
    proposed(small_site)
    address = previewed(small_site)
    visitor = small_site.visitor("auditor")
    told = words(visitor.get(address))
    rows = list(csv.DictReader(io.StringIO(visitor.get(f"{address}/changes.csv").text)))
    # By hand: of 12, 16, 19.9 and 25 mg/L, the second and the third lie from 15 up to 20 mg/L.
    assert [(row["subject"], row["change"]) for row in rows] == [
        ("R2", "newly fails"),
        ("R3", "newly fails"),
    ]
    assert {row["rule"] for row in rows} == {"outlet-below-house-limit"}
    assert "Two readings would newly fail; in the last 90 days 2." in told
    assert "2 verdicts would change" in told
    assert "verdicts on what happened before its first day stay as they are" in told


def test_a_preview_is_reckoned_once_for_the_same_book_and_anew_when_it_has_grown(small_site):
    proposed(small_site)
    first = previewed(small_site)
    assert previewed(small_site, "operator") == first
    proposed(small_site, OTHER_KEY, edition="2026-09", first="2026-09-01")
    page = words(small_site.visitor("auditor").get(first))
    assert "The book has grown by 1 entry since this was reckoned." in page
    assert previewed(small_site) != first


def test_a_preview_that_is_not_kept_any_more_leads_back_to_the_proposal(small_site):
    proposed(small_site)
    address = previewed(small_site)
    del small_site.app.extensions[PREVIEWS]
    visitor = small_site.visitor("auditor")
    assert visitor.get(address).headers["Location"] == "/rules/proposals/EP-1"
    assert visitor.get(f"{address}/changes.csv").status_code == 404


def test_a_preview_is_not_shown_under_another_proposal(small_site):
    proposed(small_site)
    proposed(small_site, OTHER_KEY, edition="2026-09", first="2026-09-01")
    address = previewed(small_site).replace("EP-1", "EP-2")
    assert small_site.visitor("auditor").get(f"{address}/changes.csv").status_code == 404


def test_a_preview_keeps_no_records(small_site):
    proposed(small_site)
    key = previewed(small_site).rsplit("/", 1)[1]
    assert small_site.app.extensions[PREVIEWS].get(key).preview.assignment.frames == {}


def test_who_proposed_cannot_adopt_whatever_form_they_send(small_site):
    proposed(small_site)
    assert "/adopt" not in small_site.visitor("operator").get("/rules/proposals/EP-1").text
    answer = adopt(small_site, "operator")
    assert answer.status_code == 422
    assert "another person must adopt it" in answer.text
    assert small_site.book.bodies("rule_set") == {}


def test_after_adoption_the_new_edition_judges_from_its_day_and_the_old_one_before_it(small_site):
    before = editions(small_site)
    proposed(small_site)
    assert adopt(small_site).status_code == 303
    assert editions(small_site) == sorted([*before, "rinse-water 2026-08"])
    told = words(small_site.visitor("crew").get("/rules"))
    assert "1 edition is adopted and not in force yet." in told
    small_site.clock.now = AS_OF.replace(month=8, day=11)
    set_page = words(small_site.visitor("crew").get("/rules/sets/rinse-water"))
    assert "Edition 2026-08 in force" in set_page
    assert "1 Jan 2025 to 9 Aug 2026" in set_page


def test_past_verdicts_stay_as_they_are_when_a_later_edition_is_adopted(small_site):
    lookout = small_site.app.extensions[EXTENSION].lookout
    before = lookout.state(AS_OF).coverage
    proposed(small_site)
    adopt(small_site)
    after = lookout.state(AS_OF).coverage
    assert after.filter(edition="2025-01").equals(before)
    assert after.filter(edition="2026-08")["conforms"].sum() == 0


def test_a_day_in_the_past_is_adopted_only_with_a_word(small_site):
    proposed(small_site)
    refused = adopt(small_site, on="2026-07-01")
    assert refused.status_code == 422
    assert "2026-07-01 has passed already" in refused.text
    assert adopt(small_site, on="2026-07-01", past_too="on").status_code == 303
    coverage = small_site.app.extensions[EXTENSION].lookout.state(AS_OF).coverage
    assert coverage.filter(edition="2026-08")["conforms"].sum() > 0


@pytest.mark.parametrize("on", ["", "soon", "2026-02-30"])
def test_a_day_that_is_none_is_asked_back(small_site, on):
    proposed(small_site)
    answer = adopt(small_site, on=on)
    assert answer.status_code == 422
    assert "Name the day" in answer.text


def test_an_edition_that_begins_with_another_is_refused_with_its_line(small_site):
    proposed(small_site)
    proposed(small_site, "0f4bd8a0-3c5b-4a43-9f4e-3f6f0f7d1c13", edition="2026-09")
    adopt(small_site)
    (one,) = [p for p in proposals_in(small_site.book) if p.proposal == "EP-2"]
    page = "/rules/proposals/EP-2"
    fields = {"seen": one.entry, "key": "0f4bd8a0-3c5b-4a43-9f4e-3f6f0f7d1c14", "on": "2026-08-10"}
    answer = small_site.visitor("administrator").submit(page, f"{page}/adopt", **fields)
    assert answer.status_code == 422
    assert "is in force from 2026-08-10 too" in answer.text


def test_adopting_tapped_twice_adopts_once(small_site):
    proposed(small_site)
    (one,) = proposals_in(small_site.book)
    assert adopt(small_site).status_code == 303
    size = small_site.book.size()
    assert adopt(small_site, seen=one.entry).status_code == 303
    assert small_site.book.size() == size


def test_of_two_browsers_that_adopt_at_once_one_wins_and_the_other_is_told(small_site):
    accounts = small_site.accounts
    link = accounts.invite("P-77", "operator", AS_OF)
    accounts.accept(link, "second", "seven wet coaches", AS_OF)
    proposed(small_site)
    (one,) = proposals_in(small_site.book)
    page = "/rules/proposals/EP-1"
    visitors = [small_site.visitor("administrator"), small_site.visitor()]
    visitors[1].submit("/people/sign-in", sign_in="second", password="seven wet coaches")
    answers = {}

    def adopting(number):
        key = f"0f4bd8a0-3c5b-4a43-9f4e-3f6f0f7d1c2{number}"
        fields = {"seen": one.entry, "key": key, "on": "2026-08-10"}
        answers[number] = visitors[number].submit(page, f"{page}/adopt", **fields)

    both = [threading.Thread(target=adopting, args=(number,)) for number in (0, 1)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert sorted(answer.status_code for answer in answers.values()) == [303, 409]
    (late,) = [answer for answer in answers.values() if answer.status_code == 409]
    assert "adopted EP-1, in force from 2026-08-10" in late.text
    assert "Nothing of yours was written" in late.text
    assert list(small_site.book.bodies("rule_set")).count("rinse-water/2026-08") == 1


def test_a_proposal_is_withdrawn_with_a_reason_and_stays_on_file(small_site):
    proposed(small_site)
    assert decide(small_site, "put-aside", "operator", reason=" ").status_code == 422
    assert decide(small_site, "put-aside", "operator", reason="too soon").status_code == 303
    told = words(small_site.visitor("auditor").get("/rules/proposals/"))
    assert "No proposal waits." in told
    assert "withdrawn" in told
    assert "too soon" in told


def test_another_person_declines(small_site):
    proposed(small_site)
    decide(small_site, "put-aside", "administrator", reason="no source")
    told = words(small_site.visitor("auditor").get("/rules/proposals/EP-1"))
    assert "declined by" in told
    assert "no source" in told


GETS = ("", "/new", "/EP-1")
POSTS = ("/new", "/EP-1/preview", "/EP-1/adopt", "/EP-1/put-aside")
MAY = {
    "crew": (),
    "auditor": ("", "/EP-1", "/EP-1/preview"),
    "operator": (*GETS, *POSTS),
    "administrator": (*GETS, *POSTS),
}


@pytest.mark.parametrize("role", ROLES)
def test_each_role_reaches_only_what_is_open_to_it(small_site, role):
    proposed(small_site)
    visitor = small_site.visitor(role)
    for path in GETS:
        status = visitor.get(f"/rules/proposals{path or '/'}").status_code
        assert (status == 403) == (path not in MAY[role]), (path, status)
    for path in POSTS:
        status = visitor.submit("/people/me", f"/rules/proposals{path}", key=KEY).status_code
        assert (status == 403) == (path not in MAY[role]), (path, status)
        assert status < 500


@pytest.mark.parametrize("path", POSTS)
def test_a_form_that_is_not_ours_is_refused(small_site, path):
    proposed(small_site)
    size = small_site.book.size()
    answer = small_site.visitor("administrator").client.post(
        f"/rules/proposals{path}", data={"key": OTHER_KEY, "on": "2026-08-10", "reason": "x"}
    )
    assert answer.status_code == 400
    assert small_site.book.size() == size


def test_a_token_proposes_and_adopts_nothing(small_site):
    proposed(small_site)
    until = AS_OF.replace(year=2027)
    token = small_site.accounts.hand_out("P-04", "program", "add records", until)
    for path in POSTS:
        answer = small_site.app.test_client().post(
            f"/rules/proposals{path}", headers={"Authorization": f"Bearer {token}"}
        )
        assert answer.status_code in (401, 403)


def test_the_list_is_empty_at_first(site):
    told = words(site.visitor("auditor").get("/rules/proposals/"))
    assert "No proposal waits." in told
    assert "Nobody proposed an edition yet." in told


def test_where_to_begin_is_offered_per_rule_set(site):
    page = site.visitor("operator").get(NEW).text
    assert "from=rinse-water/2025-01" in page or "from=rinse-water%2F2025-01" in page
    assert "A new rule set" in page
