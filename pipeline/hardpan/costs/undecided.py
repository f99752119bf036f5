"""Ground where ripping is about as likely to pay as not."""

import numpy as np

from hardpan.records.plan import Plan

EITHER_WAY = (0.4, 0.6)
"""Ripping or leaving is open where ripping pays in this share of the draws."""


def open_ha(plan: Plan) -> float:
    """Area of the ground where ripping, as planned or as the next best to leaving, may as well pay as not, ha."""
    ripped = plan.zones["depth_mm"].to_numpy() > 0
    beside = plan.runner_up_returns if plan.runner_up_returns.size else plan.returns
    pays = (np.where(ripped[:, np.newaxis], plan.returns, beside) > 0.0).mean(axis=1)
    is_open = (pays >= EITHER_WAY[0]) & (pays <= EITHER_WAY[1])
    return float(plan.zones.loc[is_open & (plan.zones["kind"] == "ground"), "area_ha"].sum())
