"""What a proposal has to ask, each thing once."""

from collections.abc import Mapping, Sequence
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

    @property
    def choice(self) -> str:
        """The sentence that tells what may be answered; empty if the words are free."""
        return f" Answer one of: {', '.join(self.answers)}." if self.answers else ""


@dataclass
class Questions:
    """The questions of a proposal in the order in which they came up.

    Attributes:
        asked: the questions by name.
        told: what people said of columns without being asked: by head the field that it fills,
            of an instant also the part, as in ``at/day``; an empty one leaves the column out.
    """

    asked: dict[str, Asked] = field(default_factory=dict)
    told: Mapping[str, str] = field(default_factory=dict)

    def ask(self, name: str, text: str, answers: Sequence[str] = ()) -> Ref:
        """Ask, unless it has been asked under this name, and return what stands for the answer."""
        self.asked.setdefault(name, Asked(text, tuple(answers)))
        return Ref(name)
