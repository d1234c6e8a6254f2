"""The language of the pages: English in the source, others from gettext catalogues."""

from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from io import BytesIO

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from flask import Flask

from qa_engine.web.access import who

SOURCE = "en"
CATALOGUES = files("qa_engine.web") / "languages"


def languages() -> tuple[str, ...]:
    """Return the codes of the languages that pages can be read in, the source first."""
    if not CATALOGUES.is_dir():
        return (SOURCE,)
    found = (file.name.removesuffix(".po") for file in CATALOGUES.iterdir())
    return (SOURCE, *sorted(found))


def translated(text: str) -> str:
    """Return a text of ours in the language of whoever reads the page."""
    return _catalogue(language()).gettext(text)


def translated_count(one: str, many: str, count: int) -> str:
    """Return the form of a text that fits a count, in the reader's language."""
    return _catalogue(language()).ngettext(one, many, count)


def language() -> str:
    """Return the language of whoever reads the page."""
    reader = who()
    return reader.language if reader else SOURCE


def speak(app: Flask) -> None:
    """Let an app's templates speak: ``_('text')`` and ``_n('one', 'many', count)``."""
    app.jinja_env.globals.update(
        _=translated, _n=translated_count, language=language, languages=languages
    )


@cache
def _catalogue(code: str) -> NullTranslations:
    if code not in languages() or code == SOURCE:
        return NullTranslations()
    compiled = BytesIO()
    write_mo(compiled, read_po(BytesIO((CATALOGUES / f"{code}.po").read_bytes())))
    compiled.seek(0)
    return GNUTranslations(compiled)
