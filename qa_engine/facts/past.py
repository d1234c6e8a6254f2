"""What a fact may look at: the records so far, the register, the charges and the models."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import polars as pl

from qa_engine.charges import charge_at, cut_charges, resin_so_far
from qa_engine.depletion.accumulation import usage_of
from qa_engine.depletion.learning import Learning, learn_charges
from qa_engine.depletion.metering import counted_in_charges
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
        models_complete: False while a plugin failed to load: then a grade without a model may
            be one that the failed plugin speaks for, and nothing may be concluded from silence.
    """

    history: History
    models: Mapping[str, ResinModel]
    as_of: datetime
    models_complete: bool = True
    _asked: list[tuple[pl.DataFrame, pl.DataFrame]] = field(
        default_factory=list, repr=False, compare=False
    )

    @property
    def register(self) -> Register:
        """Return the operator's register."""
        return self.history.register

    @cached_property
    def charges(self) -> pl.DataFrame:
        """Return the resin charges of the tanks, as ``qa_engine.charges`` cuts them."""
        return cut_charges(self.history)

    @cached_property
    def usage(self) -> pl.DataFrame:
        """Return what each rinse added to its charge, as ``depletion.accumulation`` sums it."""
        return usage_of(self.history, self.charges, self.models)

    @cached_property
    def resin(self) -> pl.DataFrame:
        """Return the resin in each charge after each filling, as ``charges.resin_so_far``."""
        return resin_so_far(self.history, self.charges)

    @cached_property
    def counters(self) -> pl.DataFrame:
        """Return what ran through each charge by the counter, as ``depletion.metering`` says."""
        return counted_in_charges(self.history, self.charges)

    @cached_property
    def learning(self) -> Learning:
        """Return what the readings taught of the capacities, as ``depletion.learning`` tells it."""
        return learn_charges(self.history, self.charges, self.usage, self.resin, self.models)

    def charge_of(self, subjects: pl.DataFrame) -> pl.DataFrame:
        """Return the charge of each subject, as ``qa_engine.charges.charge_at`` finds it.

        Many groups of facts ask this of the same subjects, one after the other, so the answers
        for the two frames asked last are kept.
        """
        for frame, charge in self._asked:
            if frame is subjects:
                return charge
        self._asked[:] = [(subjects, charge_at(subjects, self.charges)), *self._asked[:1]]
        return self._asked[0][1]
