"""The record book: every record kept for good, with what was known when, and proof of both."""

from qa_engine.book.canonical import Submission
from qa_engine.book.connection import is_book
from qa_engine.book.opening import create_book, open_book
from qa_engine.book.store import Book
from qa_engine.book.submission import Conflict, Receipt

__all__ = ["Book", "Conflict", "Receipt", "Submission", "create_book", "is_book", "open_book"]
