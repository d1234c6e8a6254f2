"""``qa-engine book``: the record book, where records are kept for good."""

import click

from qa_engine.cli.book_act import act, actions
from qa_engine.cli.book_add import add
from qa_engine.cli.book_adopt import adopt
from qa_engine.cli.book_ask import ask_, decide, requests
from qa_engine.cli.book_correct import correct
from qa_engine.cli.book_create import create
from qa_engine.cli.book_export import copy, export, import_
from qa_engine.cli.book_people import attach_, erase, name_
from qa_engine.cli.book_permit import permit
from qa_engine.cli.book_sign import heads, sign
from qa_engine.cli.book_verify import verify


@click.group("book")
def command() -> None:
    """Keep records for good: make a record book, add to it, correct what is in it."""


for one in (
    create,
    add,
    correct,
    verify,
    sign,
    heads,
    export,
    import_,
    copy,
    name_,
    erase,
    attach_,
    permit,
    ask_,
    decide,
    requests,
    act,
    actions,
    adopt,
):
    command.add_command(one)
