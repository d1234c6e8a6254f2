"""When the outlet of a bed reaches a limit, by any model: the used fraction, sought by halving."""

import numpy as np

from qa_engine.depletion.model import Floats, ResinModel, Water

FARTHEST = 4.0
"""The used fraction beyond which no limit is sought: by then every bed is spent [1]."""

HALVINGS = 40


def used_fraction_at(
    model: ResinModel, outlet_mg_l: Floats, water: Water, flow_bv_h: Floats, transfer_units: Floats
) -> Floats:
    """Return the used fraction at which the outlet first shows so much [1].

    Args:
        model: the model of the grade; its outlet never falls as the bed is used up.
        outlet_mg_l: the limit, broadcast to all else [mg/L].
        water: the inlet water.
        flow_bv_h: flow in bed volumes per hour, NaN for the usual one [1/h].
        transfer_units: how sharp the breakthrough is [1].

    Returns:
        An array of the broadcast shape; infinite where the outlet never shows so much, NaN where
        the water or the transfer units are unknown.
    """
    spent = model.outlet_mg_l(np.full(1, FARTHEST), water, flow_bv_h, transfer_units)
    low, high = np.zeros(spent.shape), np.full(spent.shape, FARTHEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        reached = model.outlet_mg_l(middle, water, flow_bv_h, transfer_units) >= outlet_mg_l
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    never = np.where(np.isnan(spent), np.nan, np.inf)
    return np.where(spent >= outlet_mg_l, high, never)
