"""A program that is killed while it writes to a book leaves nothing torn and loses nothing."""

from importlib import import_module
from pathlib import Path

import pytest

HERE = Path(__file__).parent
KILLS = 3


@pytest.fixture
def bench(monkeypatch):
    monkeypatch.syspath_prepend(HERE)
    return import_module


@pytest.mark.parametrize("job", ["single additions", "import"])
def test_what_was_acknowledged_before_a_kill_is_kept_whole(bench, book_url, job, request, tmp_path):
    crash = bench("book_crash")
    undisturbed = str(tmp_path / "undisturbed.book")
    outcome = crash.trial(book_url, undisturbed, job, KILLS, seed=11)
    assert outcome.good
    assert outcome.kills == KILLS
    assert outcome.acknowledged > 0
