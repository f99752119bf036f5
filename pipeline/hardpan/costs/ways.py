"""The ways to have the work done beside each other, in all."""

import pandas as pd

from hardpan.costs.lines import net_figures
from hardpan.records.plan import Plan
from hardpan.records.reasons import Way
from hardpan.records.ways import Tried, WaySum


def sum_ways(plan: Plan, prescription: pd.Series) -> tuple[WaySum, ...]:
    """The plan as the ledger has it, then what else was tried; none where nothing else was.

    Parameters
    ----------
    prescription : Series
        Row of the plan in `Ledger.strategies`.
    """
    if not plan.ways:
        return ()
    names = ("ripped_ha", "cost", "net", "net_low", "net_high", "loss_probability", "hours", "fuel_l")
    depths = {int(depth) for depth in plan.zones["depth_mm"] if depth > 0}
    own = WaySum(way=Way.FULL, depths_mm=tuple(sorted(depths)), **{name: float(prescription[name]) for name in names})
    return (own, *(_summed(tried) for tried in plan.ways))


def _summed(tried: Tried) -> WaySum:
    return WaySum(
        way=tried.way,
        ripped_ha=float(tried.ripped_ha.sum()),
        depths_mm=tuple(sorted({best.depth_mm for best in tried.best if best is not None})),
        cost=float(tried.cost.sum(axis=0).mean()),
        hours=float(tried.hours.sum(axis=0).mean()),
        fuel_l=float(tried.fuel_l.sum(axis=0).mean()),
        power_kw=tried.power_kw,
        **net_figures(tried.net.sum(axis=0)),
    )
