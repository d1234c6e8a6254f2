"""What a fact may look at: the records so far, the register, the charges and the models."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import polars as pl

from qa_engine.charges import charge_ledger, charges
from qa_engine.depletion.model import ResinModel
from qa_engine.history import History
from qa_engine.register import Register


@dataclass(frozen=True)
class Past:
    """The records of some tanks up to the instant of the inspection, with what follows from them.

    Attributes:
        history: the records, none later than ``as_of``.
        models: the resin models by the grade they speak for.
        as_of: the instant of the inspection.
    """

    history: History
    models: Mapping[str, ResinModel]
    as_of: datetime

    @property
    def register(self) -> Register:
        """Return the operator's register."""
        return self.history.register

    @cached_property
    def charges(self) -> pl.DataFrame:
        """Return the resin charges of the tanks, as ``qa_engine.charges.charges`` cuts them."""
        return charges(self.history)

    @cached_property
    def ledger(self) -> pl.DataFrame:
        """Return what each rinse added to its charge, as ``charges.charge_ledger`` sums it."""
        return charge_ledger(self.history, self.charges, self.models)
