"""How editions follow each other: days that none governs, ends that do not count, late starts."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby, pairwise

from qa_engine.rulesets.edition import Edition

ONE_DAY = timedelta(days=1)


def edition_notes(editions: Iterable[Edition], today: date) -> tuple[str, ...]:
    """Return what somebody should know about when editions judge, a sentence each.

    Tells gaps between editions of one set, ends stated after the next edition begins, sets whose
    last edition has ended, and editions whose days in force began before today: if such an edition
    is new, it turns verdicts that were given already.

    Args:
        editions: editions as read, each ended by the next of its set.
        today: the day on which they are looked at.
    """
    ordered = sorted(editions, key=lambda one: (one.rule_set, one.in_force_from))
    sets = [list(mine) for _, mine in groupby(ordered, key=lambda one: one.rule_set)]
    notes = [note for mine in sets for note in _of_a_set(mine, today)]
    return (*notes, *_in_the_past(ordered, today))


def _of_a_set(editions: Sequence[Edition], today: date) -> Iterator[str]:
    for one, after in pairwise(editions):
        until, begins = stated_until(one), after.in_force_from
        if until and until >= begins:
            yield (
                f"'{one}' says it is in force until {until}, but '{after}' takes over on {begins}; "
                f"from that day on only '{after}' judges."
            )
        if until and until + ONE_DAY < begins:
            yield (
                f"No edition of '{one.rule_set}' is in force from {until + ONE_DAY} to "
                f"{begins - ONE_DAY}, between '{one}' and '{after}'; nothing is judged then."
            )
    last = editions[-1]
    if last.in_force_until and last.in_force_until < today:
        yield (
            f"'{last}' ended on {last.in_force_until} and no edition follows; since then nothing "
            f"is judged by '{last.rule_set}'."
        )


def stated_until(edition: Edition) -> date | None:
    """Return the last day in force as the edition itself states it, whatever follows it."""
    written = edition.document.data["in_force"].get("until")
    return date.fromisoformat(written) if written else None


def _in_the_past(editions: Sequence[Edition], today: date) -> Iterator[str]:
    begun = [
        f"{one} on {one.in_force_from}"
        for one in editions
        if one.in_force_from < today and (one.in_force_until is None or one.in_force_until >= today)
    ]
    if begun:
        yield (
            f"In force since before today: {', '.join(begun)}. An edition that is adopted after "
            "its first day turns verdicts given since then; 'qa-engine rules compare' shows which."
        )
