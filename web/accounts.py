"""Who may sign in: accounts, invitations, sessions and tokens, beside the record book's log.

None of these tables belongs to the log: they may change and be erased. Of every secret that is
handed out (an invitation, a session, a token) only the SHA-256 digest is kept.
"""

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import (
    Column,
    Connection,
    MetaData,
    Table,
    Text,
    delete,
    func,
    insert,
    select,
    update,
)

from qa_engine.book import Book
from qa_engine.book.schema import INT
from qa_engine.errors import QAEngineError
from qa_engine.web.passwords import hashed, matches

ROLES = ("crew", "operator", "auditor", "administrator")
INVITED_FOR = timedelta(days=3)
SIGNED_IN_FOR = timedelta(days=14)
TOKEN_PREFIX = "qa_"
SCOPES = ("read", "add records")
UNITS = ("metric", "US")

metadata = MetaData()

ACCOUNTS = Table(
    "accounts",
    metadata,
    Column("person", Text, primary_key=True),
    Column("sign_in", Text, nullable=False, unique=True),
    Column("role", Text, nullable=False),
    Column("password", Text, nullable=False),
    Column("units", Text, nullable=False, default="metric"),
    Column("language", Text, nullable=False, default="en"),
    Column("epoch", INT, nullable=False, default=0),
    sqlite_strict=True,
)
INVITATIONS = Table(
    "invitations",
    metadata,
    Column("digest", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("expires_at", INT, nullable=False),
    sqlite_strict=True,
)
SESSIONS = Table(
    "sessions",
    metadata,
    Column("digest", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("epoch", INT, nullable=False),
    Column("expires_at", INT, nullable=False),
    sqlite_strict=True,
)
TOKENS = Table(
    "tokens",
    metadata,
    Column("digest", Text, primary_key=True),
    Column("person", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("scope", Text, nullable=False),
    Column("expires_at", INT, nullable=False),
    sqlite_strict=True,
)


class AccountError(QAEngineError):
    """An account cannot be made or used as asked; the message says why and what would do."""


@dataclass(frozen=True)
class Account:
    """Somebody who may sign in.

    Attributes:
        person: the id that records name.
        sign_in: the name typed to sign in.
        role: one of ``ROLES``.
        units: whose units pages show, ``metric`` or ``US``.
        language: of the pages.
        scope: for a token, what it may do; None for somebody who signed in.
    """

    person: str
    sign_in: str
    role: str
    units: str = "metric"
    language: str = "en"
    scope: str | None = None


@dataclass(frozen=True)
class Invitation:
    """An account that somebody has been offered."""

    person: str
    role: str


class Accounts:
    """The accounts kept beside a record book.

    Args:
        book: whose database keeps them; the tables are made where they are missing.
    """

    def __init__(self, book: Book) -> None:
        self._reading = book.reading
        self._writing = book.writing
        with self._writing() as connection:
            metadata.create_all(connection)

    def any(self) -> bool:
        """Tell whether anybody may sign in yet."""
        with self._reading() as connection:
            return bool(connection.scalar(select(func.count()).select_from(ACCOUNTS)))

    def all(self) -> list[Account]:
        """Return every account, by person."""
        with self._reading() as connection:
            rows = connection.execute(select(ACCOUNTS).order_by(ACCOUNTS.c.person)).mappings()
            return [_account(row) for row in rows]

    def invite(self, person: str, role: str, now: datetime) -> str:
        """Return the secret of a new invitation, good once and for ``INVITED_FOR``.

        Raises:
            AccountError: the role is not one of ``ROLES`` or the person has no id.
        """
        if role not in ROLES:
            raise AccountError(f"'{role}' is no role; use one of {', '.join(ROLES)}")
        if not person.strip():
            raise AccountError("an invitation needs the person's id, such as P-07")
        secret = secrets.token_urlsafe(24)
        row = {"digest": _digest(secret), "person": person.strip(), "role": role}
        until = _micros(now + INVITED_FOR)
        with self._writing() as connection:
            connection.execute(insert(INVITATIONS).values({**row, "expires_at": until}))
        return secret

    def invitation(self, secret: str, now: datetime) -> Invitation | None:
        """Return the invitation of a secret, or None if it is unknown, used or too old."""
        with self._reading() as connection:
            return _invitation(connection, secret, now)

    def accept(self, secret: str, sign_in: str, password: str, now: datetime) -> Account:
        """Use up an invitation and make its account, or give an existing one a new password.

        Raises:
            AccountError: the invitation is no longer good, or the name is another person's.
        """
        kept = hashed(password)
        with self._writing() as connection:
            found = _invitation(connection, secret, now)
            if found is None:
                raise AccountError("this invitation has been used or is too old; ask for a new one")
            holder = connection.scalar(
                select(ACCOUNTS.c.person).where(ACCOUNTS.c.sign_in == sign_in)
            )
            if holder not in (None, found.person):
                raise AccountError(f"the name '{sign_in}' is taken; choose another")
            connection.execute(delete(INVITATIONS).where(INVITATIONS.c.digest == _digest(secret)))
            _put(connection, found, sign_in, kept)
        return Account(found.person, sign_in, found.role)

    def signed_in(self, sign_in: str, password: str) -> Account | None:
        """Return the account of a name and password, or None; as slow for unknown names."""
        with self._reading() as connection:
            row = (
                connection.execute(select(ACCOUNTS).where(ACCOUNTS.c.sign_in == sign_in))
                .mappings()
                .first()
            )
        good = matches(row["password"] if row else None, password)
        return _account(row) if row and good else None

    def open_session(self, person: str, now: datetime) -> str:
        """Return the secret of a new session, and forget those that have ended."""
        secret = secrets.token_urlsafe(24)
        with self._writing() as connection:
            connection.execute(delete(SESSIONS).where(SESSIONS.c.expires_at <= _micros(now)))
            epoch = connection.scalar(select(ACCOUNTS.c.epoch).where(ACCOUNTS.c.person == person))
            row = {"digest": _digest(secret), "person": person, "epoch": epoch}
            connection.execute(
                insert(SESSIONS).values({**row, "expires_at": _micros(now + SIGNED_IN_FOR)})
            )
        return secret

    def of_session(self, secret: str, now: datetime) -> Account | None:
        """Return who a session belongs to, or None once it has ended."""
        asked = (
            select(ACCOUNTS)
            .join(SESSIONS, SESSIONS.c.person == ACCOUNTS.c.person)
            .where(SESSIONS.c.digest == _digest(secret), SESSIONS.c.expires_at > _micros(now))
            .where(SESSIONS.c.epoch == ACCOUNTS.c.epoch)
        )
        with self._reading() as connection:
            row = connection.execute(asked).mappings().first()
        return _account(row) if row else None

    def close_session(self, secret: str) -> None:
        """End one session."""
        with self._writing() as connection:
            connection.execute(delete(SESSIONS).where(SESSIONS.c.digest == _digest(secret)))

    def close_all(self, person: str) -> None:
        """End every session of a person, on all devices."""
        with self._writing() as connection:
            connection.execute(
                update(ACCOUNTS)
                .where(ACCOUNTS.c.person == person)
                .values(epoch=ACCOUNTS.c.epoch + 1)
            )

    def remove(self, person: str) -> None:
        """Take an account away, with its sessions and tokens; the person's records stay."""
        with self._writing() as connection:
            for table in (SESSIONS, TOKENS, ACCOUNTS):
                connection.execute(delete(table).where(table.c.person == person))

    def prefer(self, person: str, units: str, language: str) -> None:
        """Keep whose units and which language a person reads.

        Raises:
            AccountError: the units are not known.
        """
        if units not in UNITS:
            raise AccountError(f"'{units}' is no set of units; use {' or '.join(UNITS)}")
        with self._writing() as connection:
            connection.execute(
                update(ACCOUNTS)
                .where(ACCOUNTS.c.person == person)
                .values(units=units, language=language)
            )

    def hand_out(self, person: str, label: str, scope: str, until: datetime) -> str:
        """Return a new token of a person for a program, good until an instant.

        Raises:
            AccountError: the scope is not one of ``SCOPES``.
        """
        if scope not in SCOPES:
            raise AccountError(f"'{scope}' is no scope; use one of {', '.join(SCOPES)}")
        secret = TOKEN_PREFIX + secrets.token_urlsafe(32)
        row = {"digest": _digest(secret), "person": person, "label": label, "scope": scope}
        with self._writing() as connection:
            connection.execute(insert(TOKENS).values({**row, "expires_at": _micros(until)}))
        return secret

    def of_token(self, secret: str, now: datetime) -> Account | None:
        """Return who a token speaks for and with what scope, or None."""
        asked = (
            select(ACCOUNTS, TOKENS.c.scope)
            .join(TOKENS, TOKENS.c.person == ACCOUNTS.c.person)
            .where(TOKENS.c.digest == _digest(secret), TOKENS.c.expires_at > _micros(now))
        )
        with self._reading() as connection:
            row = connection.execute(asked).mappings().first()
        return _account(row, row["scope"]) if row else None

    def tokens(self, person: str) -> list[dict[str, Any]]:
        """Return the tokens of a person: digest, label, scope and when each expires."""
        asked = select(TOKENS).where(TOKENS.c.person == person).order_by(TOKENS.c.label)
        with self._reading() as connection:
            rows = connection.execute(asked).mappings().all()
        return [{**row, "expires_at": _instant(row["expires_at"])} for row in rows]

    def take_back(self, person: str, digest: str) -> None:
        """End a token of a person."""
        with self._writing() as connection:
            connection.execute(
                delete(TOKENS).where(TOKENS.c.digest == digest, TOKENS.c.person == person)
            )


def _put(connection: Connection, found: Invitation, sign_in: str, password: str) -> None:
    """Make an account, or renew it: whoever held it before is signed out everywhere."""
    row = {"sign_in": sign_in, "role": found.role, "password": password}
    renewed = connection.execute(
        update(ACCOUNTS)
        .where(ACCOUNTS.c.person == found.person)
        .values(**row, epoch=ACCOUNTS.c.epoch + 1)
    )
    if not renewed.rowcount:
        connection.execute(insert(ACCOUNTS).values(person=found.person, **row))


def _invitation(connection: Connection, secret: str, now: datetime) -> Invitation | None:
    asked = select(INVITATIONS).where(
        INVITATIONS.c.digest == _digest(secret), INVITATIONS.c.expires_at > _micros(now)
    )
    row = connection.execute(asked).mappings().first()
    return Invitation(row["person"], row["role"]) if row else None


def _account(row: Mapping[Any, Any], scope: str | None = None) -> Account:
    person, sign_in, role = row["person"], row["sign_in"], row["role"]
    return Account(person, sign_in, role, row["units"], row["language"], scope)


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _micros(instant: datetime) -> int:
    return (instant - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _instant(micros: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=micros)
