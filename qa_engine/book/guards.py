"""The triggers that let the log of a book only grow."""

from collections.abc import Iterator

from sqlalchemy import Connection, Table

from qa_engine.book.schema import LOG

REFUSAL = "a record book only grows: correct a record with a new one"

_SQLITE = """
CREATE TRIGGER "{table}_no_{event}" BEFORE {EVENT} ON "{table}"
BEGIN SELECT RAISE(ABORT, '{refusal}'); END
"""
_FUNCTION = f"""
CREATE FUNCTION only_grows() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'restrict_violation'; END $$
"""
_POSTGRESQL = """
CREATE TRIGGER "{table}_only_grows" BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}"
FOR EACH STATEMENT EXECUTE FUNCTION only_grows()
"""


def guard(connection: Connection, tables: tuple[Table, ...] = LOG) -> None:
    """Make tables refuse to change or delete rows."""
    statements = _on_sqlite(tables) if connection.dialect.name == "sqlite" else _on_others(tables)
    for statement in statements:
        connection.exec_driver_sql(statement)


def _on_sqlite(tables: tuple[Table, ...]) -> Iterator[str]:
    for table in tables:
        for event in ("update", "delete"):
            yield _SQLITE.format(
                table=table.name, event=event, EVENT=event.upper(), refusal=REFUSAL
            )


def _on_others(tables: tuple[Table, ...]) -> Iterator[str]:
    yield _FUNCTION
    yield from (_POSTGRESQL.format(table=table.name) for table in tables)


def missing_guards(connection: Connection, tables: tuple[Table, ...] = LOG) -> list[str]:
    """Return the names of guards that are not there, or are not as they were made."""
    if connection.dialect.name == "sqlite":
        made = connection.exec_driver_sql("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        held = {row[0] for row in made}
        wanted = [statement.strip() for statement in _on_sqlite(tables)]
        return [statement.split('"')[1] for statement in wanted if statement not in held]
    held = {row[0] for row in connection.exec_driver_sql(_HELD)}
    names = [f"{table.name}_only_grows" for table in tables]
    return [name for name in names if name not in held]


# 58 is how PostgreSQL notes BEFORE (2), DELETE (8), UPDATE (16) and TRUNCATE (32).
_HELD = f"""
SELECT t.tgname FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid
JOIN pg_class c ON c.oid = t.tgrelid
WHERE t.tgname = c.relname || '_only_grows' AND t.tgenabled IN ('O', 'A') AND t.tgtype = 58
AND p.proname = 'only_grows' AND position('RAISE EXCEPTION ''{REFUSAL}''' IN p.prosrc) > 0
"""
