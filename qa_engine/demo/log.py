"""The crews' log: what is written down, as rows of plain values."""

from datetime import datetime

Written = str | float | int | None
Row = dict[str, Written]

CODES = {
    "reading": "RD",
    "rinse": "RN",
    "resin_change": "RC",
    "seal_service": "SS",
    "vessel_service": "VS",
    "meter_check": "MC",
    "disposal": "DI",
    "incident": "IN",
    "complaint": "CO",
    "out_of_use": "OU",
    "return_to_use": "RU",
    "water_analysis": "WA",
}
"""What the ids of each kind of record begin with."""


class Log:
    """Rows in the order in which they were logged, each with an id that tells what it is."""

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self._counted: dict[str, int] = {}

    def add(self, kind: str, at: datetime, item: str, fields: Row) -> str:
        """Write a record down and return its id.

        Args:
            kind: the kind of record.
            at: when, with the local offset.
            item: what the record is about; part of its id.
            fields: the record's fields; those that are None were left blank.
        """
        stem = f"{CODES[kind]}-{item}-{at:%y%m%d}"
        self._counted[stem] = number = self._counted.get(stem, 0) + 1
        record = stem if number == 1 else f"{stem}-{number}"
        self.rows.append({"record": record, "kind": kind, "at": at.isoformat(), **fields})
        return record

    def of(self, *kinds: str) -> list[Row]:
        """Return the rows of some kinds, by time and id."""
        chosen = [row for row in self.rows if row["kind"] in kinds]
        return sorted(chosen, key=lambda row: (_instant(row), str(row["record"])))


def _instant(row: Row) -> datetime:
    return datetime.fromisoformat(str(row["at"]))
