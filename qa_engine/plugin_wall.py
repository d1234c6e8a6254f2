"""The wall around plugins: what one does wrong is noted, and the rest goes on without it.

This is the only place that catches whatever a stranger's code may raise.
"""

import re
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from qa_engine.depletion.model import Floats, Grade, ResinModel, Water
from qa_engine.errors import PluginError

LONGEST_REASON = 300

PLACE_OF_MODULE = re.compile(r" from '[^']*'")
"""Where Python says that a module lies; it differs from machine to machine, a report must not."""
MOST_CALLS = 10


@dataclass
class Wall:
    """Keeps what a plugin does wrong from spreading, and remembers it.

    Attributes:
        failures: the first thing that each plugin did wrong, in one line.
        traces: where in its code that was, innermost call last, for those who repair it.
    """

    failures: dict[str, str] = field(default_factory=dict)
    traces: dict[str, str] = field(default_factory=dict)

    def ask(self, plugin: str, what: str, call: Callable[[], Any], otherwise: Any = None) -> Any:
        """Return what a plugin answers, or ``otherwise`` if it fails; the failure is kept."""
        try:
            return call()
        except (Exception, SystemExit) as error:
            self.traces.setdefault(plugin, _trace(error))
            self.note(plugin, f"{what}: {type(error).__name__}: {error}")
            return otherwise

    def note(self, plugin: str, reason: str) -> None:
        """Keep the first thing that a plugin did wrong."""
        printable = "".join(c if c.isprintable() else " " for c in PLACE_OF_MODULE.sub("", reason))
        plain = " ".join(printable.split())
        self.failures.setdefault(plugin, plain[:LONGEST_REASON])


def _trace(error: BaseException) -> str:
    """Return the calls that led to an error, without those of this module."""
    calls = traceback.extract_tb(error.__traceback__)
    theirs = [call for call in calls if call.filename != __file__]
    told = traceback.format_exception_only(error)
    text = "".join([*traceback.format_list(theirs[-MOST_CALLS:]), *told])
    return "".join(char if char.isprintable() or char == "\n" else " " for char in text)


@dataclass(frozen=True)
class WalledModel:
    """A plugin's resin model; answers of a wrong kind count as failures of the plugin."""

    model: ResinModel
    plugin: str
    wall: Wall

    @property
    def grade(self) -> Grade:
        return self.model.grade

    def load_eq_l(self, water: Water) -> Floats:
        """Return the load of each water [eq/L]; NaN throughout if the plugin fails."""
        known = np.isfinite(water.tds_mg_l) | np.isfinite(water.conductivity_us_cm)
        return self._numbers("load_eq_l", known, lambda: self.model.load_eq_l(water))

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return the outlet readings [mg/L]; NaN throughout if the plugin fails."""
        inlet = np.isfinite(water.tds_mg_l) | np.isfinite(water.conductivity_us_cm)
        units = () if transfer_units is None else (transfer_units,)
        sharp = np.isfinite(1.0 if transfer_units is None else transfer_units)
        known = inlet & np.isfinite(used_fraction) & sharp
        shape = np.broadcast_shapes(known.shape, np.shape(flow_bv_h))
        return self._numbers(
            "outlet_mg_l",
            np.broadcast_to(known, shape),
            lambda: self.model.outlet_mg_l(used_fraction, water, flow_bv_h, *units),
        )

    def _numbers(self, what: str, known: Any, call: Callable[[], Floats]) -> Floats:
        nothing = np.full(known.shape, np.nan)
        asked = f"{what} of grade '{self.grade.name}'"

        def checked() -> Floats:
            answer = np.asarray(call(), dtype=np.float64)
            if answer.shape != known.shape:
                raise PluginError(f"returned shape {answer.shape}, expected {known.shape}")
            if not np.isfinite(answer[known]).all():
                raise PluginError("returned NaN or infinity for a water that is known")
            if (answer[known] < 0).any():
                raise PluginError("returned a negative number")
            return answer

        answer: Floats = self.wall.ask(self.plugin, asked, checked, nothing)
        return answer
