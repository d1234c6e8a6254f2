"""``qa-engine book create``: make a record book."""

from pathlib import Path

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, key_of, now


@click.command("create")
@BOOK
@BY
@click.option("--register", type=FILE, help="Register to begin with; it names the operator.")
@click.option("--operator", metavar="NAME", help="The operator, where there is no register yet.")
@click.option("--time-zone", metavar="ZONE", help="Zone in which the operator's days are counted.")
def create(
    book: str, by: str, register: Path | None, operator: str | None, time_zone: str | None
) -> None:
    """Make a new record BOOK: a path that ends in .book, or the URL of an empty database.

    Give --register FILE, or --operator and --time-zone. A URL begins with postgresql:// and names
    a PostgreSQL database, to which many may write at once.
    """
    from qa_engine.book import create_book
    from qa_engine.intake import read_register

    known = None if register is None else read_register(register)
    if known is not None:
        operator, time_zone = known.operator, known.zone.key
    if operator is None or time_zone is None:
        raise click.UsageError("give --register FILE, or --operator NAME and --time-zone ZONE")
    _check_zone(time_zone)
    moment = now()
    with create_book(
        book, operator=operator, time_zone=time_zone, entered_at=moment, entered_by=by
    ) as made:
        if known is not None and register is not None:
            made.put_register(
                known,
                key=key_of(register, "register"),
                entered_at=moment,
                entered_by=by,
                source=register.name,
            )
        click.echo(f"Record book {made.url} made for {operator}.")


def _check_zone(time_zone: str) -> None:
    from marshmallow import ValidationError

    from qa_engine.fields import TimeZone

    try:
        TimeZone().deserialize(time_zone)
    except ValidationError as error:
        raise click.BadParameter(str(error.messages[0]), param_hint="--time-zone") from None
