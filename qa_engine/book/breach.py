"""What is found wrong in a record book when it is verified."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Breach:
    """One thing that is not as it was entered.

    Attributes:
        what: what is wrong, as a clause.
        entry: the entry concerned; the first of them if there are several.
        last: the last entry concerned, if there are several.
        kind: its kind.
        id: the record id, or what the entry is called.
    """

    what: str
    entry: int | None = None
    last: int | None = None
    kind: str | None = None
    id: str | None = None

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"

    @property
    def where(self) -> str:
        """Say which entries are concerned, or that it is the book as a whole."""
        if self.entry is None:
            return "book"
        if self.last is not None and self.last != self.entry:
            return f"entries {self.entry} to {self.last}"
        named = " ".join(part for part in (self.kind, self.id) if part)
        return f"entry {self.entry}" + (f" ({named})" if named else "")
