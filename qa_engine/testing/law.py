"""What a law is: a sentence that holds for every right model or fact, and how one is broken."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from hypothesis import HealthCheck, Phase, Verbosity, given, settings
from hypothesis.errors import Flaky
from hypothesis.strategies import SearchStrategy

from qa_engine.errors import QAEngineError

Case = TypeVar("Case")
Tested = TypeVar("Tested")

# Examples are drawn alike in every run, so that a law that holds today holds tomorrow.
TRIALS = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    database=None,
    phases=(Phase.generate, Phase.shrink),
    suppress_health_check=list(HealthCheck),
    verbosity=Verbosity.quiet,
    report_multiple_bugs=False,
    print_blob=False,
)

# A fleet is drawn from one number, of which a smaller one would be no smaller fleet.
FLEET_TRIALS = settings(TRIALS, max_examples=6, phases=(Phase.generate,))

SAME_ANSWER = "same-question-same-answer"


class BrokenLawError(QAEngineError, AssertionError):
    """A law does not hold; says what is wrong, which smallest input shows it, what would do.

    Attributes:
        law: the name of the law.
        wrong: what is wrong, in one sentence.
        shown_by: the input that shows it; empty where no input is needed.
        would_do: what would do instead, in one sentence.
    """

    def __init__(self, law: str, wrong: str, shown_by: str, would_do: str) -> None:
        self.law, self.wrong, self.shown_by, self.would_do = law, wrong, shown_by, would_do
        shown = f"\n  Shown by: {shown_by}." if shown_by else ""
        super().__init__(f"{law}: {wrong}.{shown}\n  What would do: {would_do}.")


@dataclass(frozen=True)
class Law(Generic[Tested]):
    """One law, ready to be tried on what it speaks of.

    Attributes:
        name: in kebab-case, as messages and test reports show it.
        says: the law in one sentence.
        check: raises ``BrokenLawError`` if it does not hold.
        vital: whether there is no sense in trying the others where this one is broken.
    """

    name: str
    says: str
    check: Callable[[Tested], None]
    vital: bool = False

    def __str__(self) -> str:
        return self.name


def for_all(
    cases: SearchStrategy[Case], holds: Callable[[Case], None], trials: settings = TRIALS
) -> None:
    """Try a law on many cases; the smallest case that breaks it is the one that is told.

    Raises:
        BrokenLawError: as ``holds`` raised it, or because one case gave two different answers.
    """

    def trial(case: Case) -> None:
        holds(case)

    try:
        trials(given(cases)(trial))()
    except Flaky as flaky:
        raise BrokenLawError(
            SAME_ANSWER,
            "a law broke for an input, and held for the same input a moment later",
            "asking twice",
            "answer from the arguments alone, without chance, clock or memory of earlier calls",
        ) from flaky


def breaches(laws: Iterable[Law[Tested]], tested: Tested) -> tuple[BrokenLawError, ...]:
    """Return the first breach of each law that does not hold, in the order of the laws."""
    found: dict[str, BrokenLawError] = {}
    for law in laws:
        try:
            law.check(tested)
        except BrokenLawError as broken:
            found.setdefault(broken.law, broken)
            if law.vital:
                break
    return tuple(found.values())


def check_all(laws: Iterable[Law[Tested]], tested: Tested) -> None:
    """Try every law and tell of all that are broken at once.

    Raises:
        AssertionError: lists each broken law.
    """
    found = breaches(laws, tested)
    if found:
        raise AssertionError("\n\n".join(["broken laws:", *map(str, found)]))
