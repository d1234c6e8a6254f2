"""Finds the ids of the register in what people write."""

import re
from collections.abc import Iterable, Sequence

from qa_engine.register import Register

_CALLED = ("tank", "van", "truck", "meter", "no", "nr", "number", "unit", "")


class RegisterNames:
    """The ids that a register knows.

    Args:
        register: the register; none: no id is known.
    """

    def __init__(self, register: Register | None) -> None:
        tables = {"vans": "van", "tanks": "tank", "meters": "meter"}
        tables |= {"vehicle_classes": "vehicle_class", "sources": "source"}
        self._ids: dict[str, list[str]] = {}
        self._tanks: dict[str, set[str]] = {}
        if register is not None:
            for table, field in tables.items():
                self._ids[field] = register.table(table)[field].unique().sort().to_list()
            for van, tank in register.table("tanks").select("van", "tank").iter_rows():
                self._tanks.setdefault(van, set()).add(tank)

    def ids(self, field: str) -> Sequence[str]:
        """Return the ids that may stand in a field; none if the register does not hold them."""
        return self._ids.get(field, ())

    def meant(self, field: str, written: str) -> str:
        """Return the id that is meant, or nothing if none or several may be."""
        ids = self.ids(field)
        for fold in (str, _folded, _numbered, _singular):
            same = [one for one in ids if fold(one) and fold(one) == fold(written)]
            if same:
                return same[0] if len(same) == 1 else ""
        return ""

    def named_in(self, field: str, texts: Iterable[str]) -> list[str]:
        """Return the ids of a field that stand in texts as words of their own."""
        said = [text.casefold() for text in texts]
        return [
            one
            for one in self.ids(field)
            if any(re.search(rf"(?<!\w){re.escape(one.casefold())}(?!\w)", text) for text in said)
        ]

    def only_tank(self, van: str) -> str:
        """Return the tank of a van that never had another, or nothing."""
        tanks = self._tanks.get(van, set())
        return next(iter(tanks)) if len(tanks) == 1 else ""


def _folded(written: str) -> str:
    return re.sub(r"[\W_]+", "", written.casefold())


def _numbered(written: str) -> str:
    """Return the number in an id of a word and a number, so that 'Tank 1' is T-01."""
    found = re.fullmatch(r"([^\W\d]*)[\W_]*0*([0-9]+)", written.casefold().strip())
    if not found:
        return ""
    short = len(found[1]) <= 1 or found[1] in _CALLED
    return found[2] if short else ""


def _singular(written: str) -> str:
    folded = _folded(written)
    for end, instead in (("ies", "y"), ("sses", "ss"), ("ches", "ch"), ("ses", "s"), ("s", "")):
        if folded.endswith(end) and len(folded) > len(end) + 2:
            return folded.removesuffix(end) + instead
    return folded
