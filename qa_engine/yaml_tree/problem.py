"""What is wrong in a file, said so that it can be found and put right."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice

MOST_PROBLEMS = 100
"""After so many problems the rest of a file is not looked at."""

ENOUGH = f"there are more than {MOST_PROBLEMS} problems; the rest was not looked at"
"""What then stands in the place of the next one."""


@dataclass(frozen=True)
class Problem:
    """Something in a file that cannot be used: where it stands, what is wrong, what would do.

    Attributes:
        source: the file, as the reader named it.
        line, column: where it stands, both counted from 1.
        message: one sentence that stands alone.
        help: what would do; may be empty.
        excerpt: the source line with a caret below.
    """

    source: str
    line: int
    column: int
    message: str
    help: str = ""
    excerpt: str = ""

    def __str__(self) -> str:
        message = " ".join(self.message.splitlines())  # what is quoted in it must not pass for more
        head = f"{self.source}:{self.line}:{self.column}: {message}"
        hint = f"  help: {self.help}" if self.help else ""
        return "\n".join(part for part in (head, self.excerpt, hint) if part)


def first_of(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that are worth reading at a time, and a note if there are more."""
    found = list(islice(problems, MOST_PROBLEMS + 1))
    if len(found) > MOST_PROBLEMS:
        found[-1] = replace(found[-1], message=ENOUGH, help="")
    return found
