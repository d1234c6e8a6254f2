"""What is done with a file that was handed in: looked at, tried, taken in, by the intake's door."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from itertools import islice

from qa_engine.book import Book
from qa_engine.book.file_import import Manner, take_file, try_file
from qa_engine.errors import IntakeError
from qa_engine.intake import ColumnMap, WrittenFile, map_of, propose_map
from qa_engine.intake.column_map import check_answered
from qa_engine.intake.column_map.answering import answers_in, with_answers
from qa_engine.intake.record_files import batches_of
from qa_engine.register import Register
from qa_engine.web.imports.running import READING, TAKING, TRYING, Run, Runs
from qa_engine.web.imports.shelf import Asked, HandedIn, Shelf
from qa_engine.web.office import Office

MAP_NAME = "column map"


class Desk:
    """Where files are worked on.

    Args:
        office: what the front end works with.
        register: the ids and the time zone of the operator.
        shelf: where the files lie.
        runs: the work going on.
    """

    def __init__(self, office: Office, register: Register, shelf: Shelf, runs: Runs) -> None:
        self.shelf, self.runs = shelf, runs
        self._book: Book = office.book
        self._now: Callable[[], datetime] = office.settings.now
        self._register = register

    def look_at(self, handed_in: HandedIn, *, propose: bool = False) -> Run:
        """Find out what a file's columns mean.

        Args:
            handed_in: the file.
            propose: whether a map is proposed even if the columns bear our names.
        """

        def work(run: Run) -> None:
            file = self.shelf.written(handed_in)
            if not propose and bears_our_names(file):
                self.shelf.note(replace(handed_in, read=True, column_map="", asked={}))
                return
            proposed = propose_map(file, self._register, handed_in.told)
            text = with_answers(proposed.text, answers_in(handed_in.column_map))
            asked = {one.name: _asked(one.text, one.answers) for one in proposed.questions}
            self.shelf.note(replace(handed_in, read=True, column_map=text, asked=asked))

        return self.runs.begin(handed_in.digest, Run(READING), work)

    def try_(self, handed_in: HandedIn, by: str) -> Run:
        """Try a file against the book; nothing is added.

        Raises:
            ColumnMapError: its map cannot be used, or has questions left.
        """
        manner = self._manner(handed_in, by)

        def work(run: Run) -> None:
            file = self.shelf.written(handed_in)
            run.gathered = try_file(self._book, file, manner, told=run.told)

        return self.runs.begin(handed_in.digest, Run(TRYING, handed_in.map_digest), work)

    def take(self, handed_in: HandedIn, by: str, reason: str | None) -> Run:
        """Take a file in, as corrections if a reason is given.

        Raises:
            ColumnMapError: its map cannot be used, or has questions left.
        """
        manner = replace(self._manner(handed_in, by), correct=bool(reason), reason=reason)

        def work(run: Run) -> None:
            self.shelf.note(replace(handed_in, begun=True))
            file = self.shelf.written(handed_in)
            run.gathered = take_file(self._book, file, manner, told=run.told)
            if run.gathered.imported.conflicts:
                self.shelf.note(replace(handed_in, begun=False))
            else:
                self.shelf.remove(handed_in.digest)

        return self.runs.begin(handed_in.digest, Run(TAKING, handed_in.map_digest), work)

    def _manner(self, handed_in: HandedIn, by: str) -> Manner:
        column_map = usable_map(handed_in.column_map) if handed_in.column_map else None
        return Manner(by, self._now, self._register.zone.key, column_map)


def usable_map(text: str) -> ColumnMap:
    """Return a map that is ready to be used.

    Raises:
        ColumnMapError: it cannot be used, or has questions left; each is a problem.
    """
    column_map = map_of(MAP_NAME, text.encode())
    check_answered(column_map)
    return column_map


def bears_our_names(file: WrittenFile) -> bool:
    """Tell whether the columns of a file bear our names, so that it needs no map."""
    every_sheet = None if file.suffix == ".xlsx" else 1
    try:
        batches = list(islice(batches_of(file), every_sheet))
    except IntakeError:
        return False
    return any("record" in batch.cells.columns for batch in batches)


def _asked(text: str, answers: tuple[str, ...]) -> Asked:
    return Asked(text.partition(" Answer one of: ")[0] if answers else text, answers)
