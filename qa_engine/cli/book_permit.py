"""``qa-engine book permit``: keep concessions and deviation permits in a record book."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, key_of, now

if TYPE_CHECKING:
    from qa_engine.permissions import Permission


@click.command("permit")
@BOOK
@click.argument("file", type=FILE)
@BY
@click.option("--rules", multiple=True, type=FILE, help="Rule files, instead of the book's own.")
@click.option("--reason", metavar="TEXT", help="Why a permission that the book has is changed.")
def permit(book: str, file: Path, by: str, rules: tuple[Path, ...], reason: str | None) -> None:
    """Keep the permissions of a FILE in a record BOOK: concessions and deviation permits.

    From then on `inspect BOOK` takes them into account without --permissions. One that the book
    has word for word adds nothing; one that it has otherwise needs --reason, and what the book had
    stays in it. All of the file is taken or nothing.

    Exit status: 0, 2 the file cannot be used and nothing was added.
    """
    from qa_engine.book import Submission, open_book
    from qa_engine.book.permission_body import body_of
    from qa_engine.cli.given import rules_of
    from qa_engine.cli.permissions_file import read_at

    with open_book(book) as opened:
        read = read_at(file, rules_of(opened, rules), opened.register().zone)
        _refuse_self_approved(read)
        standing = opened.bodies("permission")
        bodies = _unlike({one.permission: body_of(one) for one in read}, standing)
        changed = [id_ for id_ in bodies if id_ in standing]
        if changed and not reason:
            raise click.UsageError(
                f"the book has {', '.join(changed)} otherwise; say with --reason TEXT why it is "
                "changed, or give the new permission an id of its own"
            )
        key = f"{key_of(file, 'permit')}:{opened.size()}"
        opened.put_all("permission", bodies, Submission(key, now(), by, file.name, reason))
    click.echo(_told(file, len(bodies), len(read)))


def _refuse_self_approved(read: Iterable["Permission"]) -> None:
    from qa_engine.errors import PermissionsError

    problems = [
        f"{one.source}:{one.line}: permission '{one.permission}': {one.approved_by} both asked for "
        "it and approved it; another person must approve it"
        for one in read
        if one.is_self_approved
    ]
    if problems:
        raise PermissionsError(problems)


def _unlike(bodies: Mapping[str, Any], standing: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the book does not have, or has otherwise."""
    from qa_engine.book.permission_body import says_the_same

    return {
        id_: body
        for id_, body in bodies.items()
        if id_ not in standing or not says_the_same(body, standing[id_])
    }


def _told(file: Path, taken: int, read: int) -> str:
    if not taken:
        return f"{file}: the book has it already; nothing was added."
    said = "1 permission" if taken == 1 else f"{taken} permissions"
    rest = f", {read - taken} the book has already" if read > taken else ""
    return f"{file}: {said} taken in{rest}."
