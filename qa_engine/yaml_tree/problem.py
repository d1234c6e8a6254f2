"""What is wrong in a file, said so that it can be found and put right."""

from dataclasses import dataclass


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
        head = f"{self.source}:{self.line}:{self.column}: {self.message}"
        hint = f"  help: {self.help}" if self.help else ""
        return "\n".join(part for part in (head, self.excerpt, hint) if part)
