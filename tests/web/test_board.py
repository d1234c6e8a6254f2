"""The fleet board: its first sentence counts tanks and places, not jobs."""

import re

from qa_engine.demo import AS_OF


def heading(page):
    found = re.search(r"<h1>(.*?)</h1>", page, re.S)
    return " ".join(found[1].split())


def test_tanks_that_must_not_rinse_are_told_from_other_places(site):
    state = site.app.extensions["qa_engine"].lookout.state(AS_OF)
    majors = state.findings.filter(stands=True, grading="major", outcome="does not conform")
    tanks = majors["tank"].drop_nulls().n_unique()
    others = majors.filter(majors["tank"].is_null())
    says = heading(site.visitor("operator").get("/").text)
    assert says.startswith(f"{tanks} tanks need work before they rinse again.")
    assert f"{others['item'].n_unique()} more places have a major finding." in says
    assert majors.height > tanks + others.height, "one tank has several, and is counted once"


def test_a_board_that_is_narrowed_to_a_quiet_van_says_so(site):
    says = heading(site.visitor("crew").get("/?van=Spindrift").text)
    assert says.startswith("Nothing must stop; 1 place needs care.")


def test_the_register_is_asked_for_once_however_much_a_page_shows(site, monkeypatch):
    lookout = site.app.extensions["qa_engine"].lookout
    asked = []
    whole = type(lookout).register.fget
    monkeypatch.setattr(
        type(lookout), "register", property(lambda self: asked.append(1) or whole(self))
    )
    visitor = site.visitor("crew")
    asked.clear()
    assert visitor.get("/").text.count("<time") >= 1
    # Once for the page, and once for the day in the lookout's own state.
    assert len(asked) <= 2
