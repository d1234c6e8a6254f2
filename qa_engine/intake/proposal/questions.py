"""What a proposal has to ask, each thing once."""

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Ref:
    """Stands in a proposed map for the answer to a question."""

    name: str


@dataclass(frozen=True)
class Asked:
    """A question.

    Attributes:
        text: what is asked, and what was seen.
        answers: what may be answered.
    """

    text: str
    answers: tuple[str, ...]


@dataclass
class Questions:
    """The questions of a proposal in the order in which they came up."""

    asked: dict[str, Asked] = field(default_factory=dict)

    def ask(self, name: str, text: str, answers: Sequence[str] = ()) -> Ref:
        """Ask, unless it has been asked under this name, and return what stands for the answer."""
        self.asked.setdefault(name, Asked(text, tuple(answers)))
        return Ref(name)
