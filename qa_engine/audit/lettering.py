"""Letters that the paper can show.

PDF/A forbids letters that no font at hand has, and only the fonts of the typesetter are used, so
that the same report has the same bytes everywhere. Any other letter is shown by its number, and so
are those that have no shape or turn the direction of writing, with which one text could pass for
another. The JSON report in the PDF has them all as they were written.
"""

import re

SHOWN = (
    "\n\x20-\x7e\xa0-\xac\xae-\u024f\u0384-\u038a\u038c\u038e-\u03a1\u03a3-\u0482\u048a-\u04ff"
    "\u1e00-\u1eff\u2010-\u2027\u2030-\u2040\u2044-\u2052\u20a0-\u20c0\u2100-\u211e\u2122\u2126"
    "\u2190-\u226f"
)
"""The letters that are shown, as the inside of a class of characters."""

_OTHER = re.compile(f"[^{SHOWN}]")


def lettered(text: str) -> str:
    """Return a text in which every letter can be shown; others stand by number, as <U+4E2D>."""
    return _OTHER.sub(lambda found: f"<U+{ord(found[0]):04X}>", text)
