"""Receipts of what came in, and the tree head that a system can keep."""

from typing import Any

from flask import abort
from marshmallow import fields

from qa_engine.book.submission import Receipt
from qa_engine.book.writing import head_of
from qa_engine.web.api.answers import Answer
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.office import office


class ReceiptTold(Answer):
    """What became of a submission; whoever holds it knows that its records are kept."""

    key = fields.String(metadata={"description": "The key that it came with."})
    submission = fields.Integer(
        metadata={"description": "Its number; the book's last one if nothing was new."}
    )
    first_entry = fields.Integer(
        metadata={"description": "Its first entry; the next one there will be if nothing was new."}
    )
    entries = fields.Integer(metadata={"description": "How many entries it made."})
    root = fields.String(
        metadata={"description": "The root of the tree with them, in hexadecimal."}
    )
    known = fields.Boolean(
        metadata={"description": "Whether the key came before; then nothing was added now."}
    )
    repeated = fields.Integer(
        metadata={"description": "How many of the records the book had already, word for word."}
    )


class TreeHead(Answer):
    """The end of the book: keep it elsewhere, and no one can rewrite what came before unseen."""

    book = fields.String(metadata={"description": "The book's id."})
    size = fields.Integer(metadata={"description": "How many entries it has."})
    root = fields.String(
        metadata={"description": "The root of the Merkle tree over them (RFC 9162), hexadecimal."}
    )
    signed = fields.Dict(
        allow_none=True,
        metadata={"description": "The largest head that was signed; null if none was."},
    )


def told(receipt: Receipt, key: str) -> dict[str, Any]:
    """Return a receipt as a call tells it."""
    return {**vars(receipt), "key": key, "root": receipt.root.hex()}


@call("/receipts/<path:key>", Call(ReceiptTold, refuses=(404,)))
def receipt(asked: Question, key: str) -> dict[str, Any]:
    """Read the receipt that a key got."""
    found = office().book.receipt(key) if key.isprintable() else None
    return told(found, key) if found else abort(404)


@call("/tree-head", Call(TreeHead))
def tree_head(asked: Question) -> dict[str, Any]:
    """Read the root of the tree over the whole book, to keep it."""
    book = office().book
    with book.reading() as held:
        frontier = head_of(held).frontier
    heads = book.bodies("signature").values()
    signed = max(heads, key=lambda head: int(head["size"]), default=None)
    size_and_root = {"size": frontier.size, "root": frontier.root.hex()}
    return {"book": book.about()["id"], **size_and_root, "signed": signed}
