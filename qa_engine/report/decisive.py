"""What decided a finding, told in a line for each comparison, and the name to ask for more by."""

from collections.abc import Iterator, Mapping
from shlex import quote
from typing import Any

from qa_engine.explanation import Explanations


def decisive(row: Mapping[str, Any], explained: Explanations | None) -> Iterator[str]:
    """Yield the comparisons that a finding rests on, then its name for ``rules explain``.

    Args:
        row: the finding.
        explained: why findings are; None yields nothing.
    """
    if explained is None:
        return
    for part in explained[row["finding"], row["since"]].why.requires.comparisons:
        if part.decisive:
            says = f": {part.compared.says}" if part.compared else ""
            yield f"{' '.join(part.text.split())}{says}"
    yield quote(row["finding"])
