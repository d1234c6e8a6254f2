"""What a rule judges, and the made-up subjects of its examples, in plain words."""

from qa_engine.conditions import read_quantity
from qa_engine.errors import UnitError
from qa_engine.fields import NO, YES
from qa_engine.plain_words.quantities import quantity
from qa_engine.plain_words.things import named, noun, statement
from qa_engine.rulesets import Example

_SUBJECTS = {
    "charge": "every charge of resin",
    "base": "every base",
    "out_of_use": "everything taken out of use",
    "return_to_use": "everything returned to use",
    "water_analysis": "every water analysis",
}


def subject_in_words(kind: str) -> str:
    """Return a kind of subject as what a rule judges: ``every reading``."""
    return _SUBJECTS.get(kind) or f"every {named(kind)}"


def example_in_words(example: Example) -> str:
    """Return an example of a rule: what is known of a made-up subject."""
    facts = "; ".join(_stated(name, value) for name, value in example.stated.items())
    if example.listed_under != "undecided":
        return facts or "nothing is recorded"
    return f"{facts}; the rest is not known" if facts else "nothing is known"


def _stated(name: str, value: str | None) -> str:
    if value is None:
        return f"{noun(name)} is not recorded"
    answer = value.casefold()
    if answer in (*YES, *NO):
        return statement(name, answer in YES)
    told = quantity(value) if _is_quantity(value) else f"“{value}”"
    return f"{noun(name)} is {told}"


def _is_quantity(value: str) -> bool:
    try:
        read_quantity(value)
    except UnitError:
        return False
    return True
