"""``qa-engine audit report``: an audit report on a scope and a period, to be filed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.cli.book_options import BOOK, FILE
from qa_engine.cli.instants import instant, period
from qa_engine.cli.output import writable

if TYPE_CHECKING:
    from qa_engine.audit import AuditReport

BREACHED, INCOMPLETE = 1, 3
FORMATS = (".pdf", ".json")


@click.command("report")
@BOOK
@click.option("--from", "first", required=True, metavar="DATE", help="First day of the period.")
@click.option("--to", "last", required=True, metavar="DATE", help="Last day of the period.")
@click.option("--base", "bases", multiple=True, help="A base in the scope; may be repeated.")
@click.option("--van", "vans", multiple=True, help="A van in the scope; may be repeated.")
@click.option("--tank", "tanks", multiple=True, help="A tank in the scope; may be repeated.")
@click.option("--rule-set", "rule_sets", multiple=True, help="A rule set; by default, all.")
@click.option("--as-of", metavar="INSTANT", help="What the book knew then; by default, now.")
@click.option(
    "--out", type=FILE, required=True, callback=writable, help="A file that ends in .pdf or .json."
)
def report(
    book: str,
    first: str,
    last: str,
    bases: tuple[str, ...],
    vans: tuple[str, ...],
    tanks: tuple[str, ...],
    rule_sets: tuple[str, ...],
    as_of: str | None,
    out: Path,
) -> None:
    """Write the audit report of a record BOOK on a period of whole days.

    Without a base, van or tank it is about the whole fleet; those that are named add up. The PDF is
    made for archives (PDF/A-3a) and has the report as JSON attached; the same book, scope, period
    and instant give the same file, here and on the pages.

    Exit status: 0 written, 1 written, and the book is not as it was entered, 2 the call is wrong,
    3 written, and incomplete since a plugin failed.
    """
    from qa_engine.audit import Asked, Scope, audit_of, json_audit, pdf_audit, sentences
    from qa_engine.book import open_book
    from qa_engine.plugin_host import installed_plugins

    form = _form(out)
    days = period(first, last)
    if days is None:
        raise click.UsageError("--from and --to are needed")
    with open_book(book) as opened:
        moment = instant(as_of, opened.register().zone.key)
        scope = Scope(*(tuple(dict.fromkeys(names)) for names in (bases, vans, tanks, rule_sets)))
        made = audit_of(opened, Asked(scope, days, moment), installed_plugins())
    out.write_bytes(pdf_audit(made) if form == ".pdf" else json_audit(made).encode())
    click.echo("\n".join(sentences(made)))
    click.echo(f"Audit report written to {out}.", err=True)
    raise SystemExit(_status(made))


def _form(out: Path) -> str:
    form = out.suffix.lower()
    if form not in FORMATS:
        raise click.UsageError(f"--out {out}: a report is written as {' or '.join(FORMATS)}")
    if form == ".pdf":
        from importlib.util import find_spec

        from qa_engine.audit.as_pdf import NEEDED

        if find_spec("typst") is None:
            raise click.UsageError(NEEDED)
    return form


def _status(made: "AuditReport") -> int:
    if made.book.breaches:
        return BREACHED
    return INCOMPLETE if made.judgement.inspection.plugins_failed else 0
