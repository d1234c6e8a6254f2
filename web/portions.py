"""Long lists, a portion at a time, and put into words once for all readers alike."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from flask import request, url_for
from markupsafe import Markup

from qa_engine.book.lookout import FleetState
from qa_engine.web.access import signed_in

Item = TypeVar("Item")


@dataclass(frozen=True)
class Portion(Generic[Item]):
    """A portion of a list.

    Attributes:
        items: what is in it.
        name: the word of the address that says which portion is wanted.
        number: which one it is, from 1.
        first: the number of its first item in the whole list, from 1.
        total: how many items the whole list has.
        size: how many a portion has at most.
    """

    items: Sequence[Item]
    name: str
    number: int
    first: int
    total: int
    size: int

    @property
    def last(self) -> int:
        """Return the number of its last item in the whole list."""
        return self.first + len(self.items) - 1

    @property
    def before(self) -> str | None:
        """Return the address of the portion before; None for the first one."""
        return self._address(self.number - 1) if self.number > 1 else None

    @property
    def after(self) -> str | None:
        """Return the address of the next portion; None for the last one."""
        return self._address(self.number + 1) if self.last < self.total else None

    def _address(self, number: int) -> str:
        asked: dict[str, Any] = {**request.args.to_dict(flat=False), self.name: [str(number)]}
        return url_for(request.endpoint or "", **(request.view_args or {}), **asked)


def portion_of(items: Sequence[Item], size: int, name: str = "part") -> Portion[Item]:
    """Return the portion of a list that the address asks for; the first one if there is no such.

    Args:
        items: the whole list.
        size: how many items a portion has at most.
        name: the word of the address that says which one is wanted.
    """
    asked = request.args.get(name, "1")
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 9 else 1
    start = (number - 1) * size
    if not 0 <= start < len(items):
        number, start = 1, 0
    return Portion(items[start : start + size], name, number, start + 1, len(items), size)


def alike(state: FleetState, name: Hashable, put: Callable[[], str]) -> Markup:
    """Return a part of a page that reads the same to people of one role, language and units.

    Args:
        state: what the part tells of; it is put into words once for each state.
        name: what the part is, with everything it depends on but its readers. It may hold no form
            that is sent, since those carry a token of each reader.
        put: puts it into words.
    """
    reader = signed_in()
    names = (name, reader.role, reader.language, reader.units)
    return state.once(("in words", names), lambda: Markup(put()))
