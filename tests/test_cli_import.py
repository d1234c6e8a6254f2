"""Importing what people have: maps proposed and used, dry runs, mending, and a followed folder."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.cli.dropped_files import REFUSED, TAKEN, DropFolder
from qa_engine.cli.program import program
from qa_engine.errors import IntakeError

REGISTER = """
operator: {name: Puddlewick Coach Rinsing (invented), time_zone: Europe/London}
vans: [{van: Dewfall, base: Duckpond Yard}]
tanks: [{tank: T-01, van: Dewfall, vessel_volume: 20 L}]
"""
LOG = """Date;Tank;TDS out
25/03/2026 08:15;1;4
26/03/2026 08:15;1;lots
27/03/2026 08:15;1;6
"""
OURS = """record,kind,at,tank,outlet_tds
R1,reading,2026-03-01T08:00:00Z,T-01,12.5
"""


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """Return a folder with a book, a register and a log of the crew's own."""
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("log.csv").write_text(LOG)
    run("book", "create", "our.book", "--by", "P1", "--register", "register.yaml")
    return tmp_path


def run(*words, status=0):
    """Run the program and return what it writes to standard output and standard error."""
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


@pytest.fixture
def column_map(desk):
    """Return a map as proposed, with its one question answered."""
    text, told = run("book", "add", "our.book", "--propose-map", "log.csv")
    assert "To be answered, line 8: Does 'TDS out' (4; 6; lots) show ppm (mg/L) or uS/cm?" in told
    Path("map.yaml").write_text(text.replace("???\n\n", "ppm\n\n"))
    return "map.yaml"


def test_a_proposed_map_is_not_taken_before_it_is_answered(desk):
    words = ("book", "add", "--propose-map", "log.csv", "--register", "register.yaml")
    out, told = run(*words, "--out", "map.yaml")
    assert (out, told.splitlines()[0]) == ("", "Column map written to map.yaml.")
    refused = run("book", "add", "our.book", "log.csv", "--map", "map.yaml", "--by", "P1", status=2)
    assert "map.yaml:8:16: this must be answered: Does 'TDS out'" in refused[1]
    assert "there is such a file" in run(*words, "--out", "map.yaml", status=2)[1]


def test_a_dry_run_says_what_would_be_taken_and_adds_nothing(desk, column_map):
    words = ("book", "add", "our.book", "log.csv", "--map", column_map, "--dry-run")
    out, told = run(*words, status=3)
    assert out == (
        "log.csv: 3 rows read; would be taken: 2 reading.\n"
        "log.csv: 1 row would be refused, for the reasons on standard error.\n"
        "Nothing was added: this was a dry run.\n"
    )
    assert "log.csv:3, column 'TDS out': record row-" in told
    with open_book("our.book") as book:
        assert book.frames() == {}


def test_importing_twice_adds_nothing_and_a_mended_row_is_added_alone(desk, column_map):
    words = ("book", "add", "our.book", "log.csv", "--map", column_map, "--by", "P1")
    out, told = run(*words, "--to-mend", "mend.csv", status=3)
    assert out == "log.csv: 2 entries added, 1 refused.\n"
    assert "1 rows to mend written to mend.csv" in told
    again = run(*words, status=3)[0]
    assert again == "log.csv: 0 entries added, 2 kept before, 1 refused.\n"
    Path("mend.csv").write_text(Path("mend.csv").read_text().replace(",lots", ",5"))
    assert run("book", "add", "our.book", "mend.csv", "--by", "P1")[0] == (
        "mend.csv: 1 entry added.\n"
    )
    with open_book("our.book") as book:
        assert book.frames()["reading"].sort("at")["outlet_tds"].to_list() == [4, 5, 6]


def test_an_inspection_takes_files_with_a_map(desk, column_map):
    words = ("inspect", "log.csv", "--register", "register.yaml", "--map", column_map)
    out, told = run(*words, "--as-of", "2026-03-28T00:00:00Z", "--format", "json", status=3)
    assert '"read":3' in out
    assert "column 'TDS out'" in told


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "name the record BOOK"),
        (("our.book",), "say who enters it with --by PERSON"),
        (("our.book", "--by", "P1"), "or --follow FOLDER"),
        (("our.book", "log.csv", "--by", "P1", "--follow", "."), "--follow stands alone"),
        (("our.book", "--by", "P1", "--follow", "nowhere"), "nowhere: there is no such folder"),
        (("our.book", "log.csv", "--by", "P1", "--map", "no.yaml"), "no.yaml: cannot be read"),
    ],
)
def test_a_wrong_call_is_told_what_would_do(desk, words, says):
    assert says in run("book", "add", *words, status=2)[1]


def test_a_dropped_file_is_whole_once_it_stays_the_same_for_a_while(tmp_path):
    folder = DropFolder(tmp_path, settled_s=2)
    folder.prepare()
    file = tmp_path / "a.csv"
    file.write_text("x")
    (tmp_path / "b.csv.part").write_text("x")
    (tmp_path / ".hidden").write_text("x")
    (tmp_path / "empty.csv").touch()
    assert folder.whole(0.0) == []
    assert folder.whole(1.9) == []
    file.write_text("xy")
    assert folder.whole(2.1) == []  # it grew: the while begins again
    assert folder.whole(4.0) == []
    assert folder.whole(4.5) == [file]


def test_files_are_taken_in_the_order_in_which_they_were_dropped(tmp_path):
    for name, changed_s in (("b.csv", 1), ("a.csv", 2), ("c.csv", 1)):
        (tmp_path / name).write_text("x")
        os.utime(tmp_path / name, (changed_s, changed_s))
    folder = DropFolder(tmp_path, settled_s=0)
    folder.whole(0.0)
    assert [file.name for file in folder.whole(0.0)] == ["b.csv", "c.csv", "a.csv"]


def test_a_file_of_a_name_that_was_taken_before_gets_another(tmp_path):
    folder = DropFolder(tmp_path, settled_s=0)
    folder.prepare()
    names = []
    for text in ("one", "two"):
        (tmp_path / "a.csv").write_text(text)
        names.append(folder.put_away(tmp_path / "a.csv", TAKEN).name)
    assert names[0] == "a.csv"
    assert len({file.read_text() for file in (tmp_path / TAKEN).iterdir()}) == 2
    with pytest.raises(IntakeError, match="there is no such folder"):
        DropFolder(tmp_path / "none", 0).prepare()


def waited_for(path):
    until = time.monotonic() + 30
    while not path.exists() and time.monotonic() < until:
        time.sleep(0.05)
    return path.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="services are stopped otherwise there")
@pytest.mark.parametrize("asked", [signal.SIGTERM, signal.SIGINT])
def test_a_followed_folder_is_emptied_until_a_signal_says_stop(desk, asked):
    drop = desk / "drop"
    drop.mkdir()
    words = ["book", "add", "our.book", "--follow", "drop", "--settled", "0.1", "--by", "P1"]
    start = "from qa_engine.cli import main; main()"
    service = subprocess.Popen([sys.executable, "-c", start, *words], stderr=subprocess.PIPE)
    try:
        assert waited_for(drop / REFUSED)
        (desk / "whole.csv").write_text(OURS)
        (desk / "whole.csv").rename(drop / "whole.csv")
        (drop / "odd.csv").write_text("a,b\n1,2\n")
        (drop / "half.csv").write_text(OURS.replace("R1", "R2") + "R3,reading,yesterday,T-01,1\n")
        assert waited_for(drop / TAKEN / "whole.csv")
        assert waited_for(drop / TAKEN / "half.csv")
        assert waited_for(drop / REFUSED / "odd.csv.reason.txt")
        service.send_signal(asked)
        told = service.communicate(timeout=30)[1].decode()
    finally:
        service.kill()
    assert service.returncode == 0, told
    assert "Stopped following drop." in told
    assert "there is no column 'a'" in (drop / REFUSED / "odd.csv.reason.txt").read_text()
    assert "yesterday" in (drop / REFUSED / "half.csv.mend.csv").read_text()
    assert [file.name for file in drop.iterdir() if file.is_file()] == []
    with open_book("our.book") as book:
        assert book.frames()["reading"]["record"].to_list() == ["R1", "R2"]
