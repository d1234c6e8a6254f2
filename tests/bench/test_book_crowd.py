"""Many programs that add to one book at once lose nothing, double nothing and see no error."""

from importlib import import_module
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.fixture
def bench(monkeypatch):
    monkeypatch.syspath_prepend(HERE)
    return import_module


def test_eight_programs_that_add_at_once_all_get_their_turn(bench, book_url):
    seen = bench("book_crowd").crowd(book_url, programs=8, seconds=1.5)
    assert seen.complaints == ()
    assert seen.good
    assert min(seen.turns) > 0
    assert seen.added < sum(seen.turns), "no submission was handed in twice"
