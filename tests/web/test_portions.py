"""Long lists come a portion at a time."""

import pytest
from flask import Flask

from qa_engine.web.portions import portion_of


def asked(address, total=45, size=20):
    app = Flask("portions")
    app.add_url_rule("/things/<kind>", "things", lambda kind: kind)
    with app.test_request_context(address):
        one = portion_of(list(range(1, total + 1)), size)
        return list(one.items), (one.first, one.last, one.total), one.before, one.after


def test_the_first_portion_leads_to_the_second_and_keeps_what_was_chosen():
    items, told, before, after = asked("/things/seals?van=Heron&van=Rill")
    assert (items[0], items[-1], told, before) == (1, 20, (1, 20, 45), None)
    assert after == "/things/seals?van=Heron&van=Rill&part=2"


def test_the_last_portion_is_as_short_as_what_is_left():
    items, told, before, after = asked("/things/seals?part=3")
    assert (items, told, after) == ([41, 42, 43, 44, 45], (41, 45, 45), None)
    assert before == "/things/seals?part=2"


@pytest.mark.parametrize("part", ["0", "4", "-1", "x", "", "²", "9" * 400, "1e9"])
def test_a_portion_that_is_none_gives_the_first(part):
    assert asked(f"/things/seals?part={part}")[1] == (1, 20, 45)


def test_nothing_has_one_portion_without_items():
    assert asked("/things/seals", total=0) == ([], (1, 0, 0), None, None)
