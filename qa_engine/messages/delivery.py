"""What comes of trying to deliver a message."""

from qa_engine.errors import QAEngineError


class NotDelivered(QAEngineError):  # noqa: N818 - it names what came of a try, not a fault of ours
    """A message was not taken.

    Args:
        reason: why, in a sentence for whoever runs the pages.
        for_good: whether trying again cannot help.
    """

    def __init__(self, reason: str, *, for_good: bool = False) -> None:
        super().__init__(reason)
        self.for_good = for_good
