"""What a book answers to what comes in."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Conflict:
    """A record that was not taken: the book has a different one under its id.

    Attributes:
        record: the id.
        kind: the kind as handed in.
        fields: the fields that differ; ``kind`` alone if that does.
        entry: the entry that the book has.
    """

    record: str
    kind: str
    fields: tuple[str, ...]
    entry: int


@dataclass(frozen=True)
class Receipt:
    """What became of a submission; whoever holds it knows that it is kept.

    Attributes:
        submission: its number; if it brought nothing new, that of the book's last one.
        first_entry: its first entry; if it brought nothing new, the next one there will be.
        entries: how many entries it made.
        root: the root of the tree with them.
        known: whether the book had this key before; then nothing was added now.
        repeated: how many records the book had already, word for word.
        conflicts: records that were not taken.
    """

    submission: int
    first_entry: int
    entries: int
    root: bytes
    known: bool = False
    repeated: int = 0
    conflicts: tuple[Conflict, ...] = ()
