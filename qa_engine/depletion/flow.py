"""What the flow does to the sharpness of a breakthrough."""

import numpy as np

from qa_engine.depletion.model import Floats, Grade

FLOW_EXPONENT = -0.5
"""N goes with the flow to this power [1].

N is transfer coefficient times surface over flow, and in a packed bed the coefficient of the water
film goes with about the root of the velocity: J. J. Carberry, AIChE J. 6 (1960) 460 (abstract
read, exponent as customarily given).
"""


def units_at_flow(grade: Grade, flow_bv_h: Floats, transfer_units: Floats | None = None) -> Floats:
    """Return N at a flow [1], where the water film around the beads sets the pace.

    Flows outside the limits of the grade count as the limit: beyond, channels and mixing rule.

    Args:
        grade: whose flow limits count, and whose sharpness where no N is given.
        flow_bv_h: any shape [1/h]; NaN is the usual flow.
        transfer_units: N at the usual flow, broadcast to it [1]; None is that of the grade.
    """
    usual_bv_h = grade.usual_flow_bv_h
    flow = np.where(np.isnan(flow_bv_h), usual_bv_h, flow_bv_h)
    flow = np.clip(flow, grade.least_flow_bv_h, grade.greatest_flow_bv_h)
    units = grade.sharpness.transfer_units if transfer_units is None else transfer_units
    return np.asarray(units * (flow / usual_bv_h) ** FLOW_EXPONENT, dtype=np.float64)
