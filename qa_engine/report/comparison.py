"""A comparison of editions as it is handed over: the preview and what became of the records."""

from dataclasses import dataclass, field

from qa_engine.preview import Preview
from qa_engine.report.outcome import INCOMPLETE, NONE_FAILS, Tally


@dataclass(frozen=True)
class Comparison:
    """A preview together with what became of the records it was given."""

    preview: Preview
    tally: Tally = field(default_factory=Tally)

    @property
    def complete(self) -> bool:
        """Tell whether everything given was judged by both sides."""
        whole = not self.preview.plugins_failed and self.tally.refused == 0
        return whole and self.preview.judged > 0

    @property
    def exit_status(self) -> int:
        """Return 3 if the comparison is incomplete, else 0; a change is no failure."""
        return NONE_FAILS if self.complete else INCOMPLETE
