"""``qa-engine facts``: the catalogue of what rules may name."""

import click
from rich.table import Table

from qa_engine.cli.output import console
from qa_engine.facts import ENGINE_FACTS, SUBJECTS, Fact
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugin_host import installed_plugins, open_host


@click.command("facts")
@click.argument("subjects", nargs=-1, type=click.Choice(SUBJECTS))
def command(subjects: tuple[str, ...]) -> None:
    """List the facts that rules may name, of all SUBJECTS or of some."""
    host = open_host(installed_plugins())
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    out = console()
    for subject in subjects or SUBJECTS:
        out.print(_table(subject, catalogue))


def _table(subject: str, catalogue: Catalogue) -> Table:
    table = Table(
        "fact",
        "unit or type",
        "meaning",
        "when silent",
        "from",
        title=subject,
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for name, fact in catalogue.facts_of(subject).items():
        group = catalogue.group_of(subject, name)
        ahead = " (looks ahead: for rules with 'within')" if group.looks_ahead else ""
        table.add_row(name, _kind(fact), fact.meaning + ahead, fact.absent, group.provider)
    return table


def _kind(fact: Fact) -> str:
    if fact.type == "number":
        return fact.unit or "1"
    return ", ".join(fact.words) or fact.type
