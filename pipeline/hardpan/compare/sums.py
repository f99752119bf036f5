"""Hectares, work and money of two results, and how sure their difference is."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from hardpan.compare.pairing import paired
from hardpan.core.units import M2_PER_HA
from hardpan.records.comparison import PastRun, What

Change = tuple[What, str, float, float, float, float]
"""Kind, where, before, after, and the ends of the 90 % interval of the change (NaN: exact)."""

_MONEY, _WORK = ("cost", "benefit", "net return"), (("hours", "hours"), ("fuel", "litres"))
_LEAST = {What.DEPTH: 0.005, What.MOVED: 0.005, What.MONEY: 0.005, What.WORK: 0.005}
"""Differences below these are rounding."""


def find_sums(before: PastRun, after: PastRun) -> Iterator[Change]:
    """Every sum that differs.

    The interval of a difference of money is that of the differences draw by draw where the draws are paired; else it is
    as wide as if the two runs had no draw in common, which is too wide rather than too narrow.
    """
    runs = (before, after)
    if None not in (before.insertions, after.insertions):
        yield from _told(What.READINGS, "all", float(before.insertions or 0), float(after.insertions or 0))
    yield from _told(What.ZONES, "all", *(float(len(run.zones)) for run in runs))
    by_depth = [run.zones.groupby(run.zones["depth_mm"].round().astype(int))["area_ha"].sum() for run in runs]
    for depth in sorted({*by_depth[0].index, *by_depth[1].index}):
        yield from _told(What.DEPTH, f"{depth} mm", *(float(ha.get(depth, 0.0)) for ha in by_depth))
    yield from _told(What.MOVED, "all", 0.0, _moved_ha(before, after))
    totals = [run.tallies[run.tallies["zone"] == "total"].set_index("item") for run in runs]
    drawn = before.draws.keys() & after.draws.keys() if paired(before, after) else set()
    for item in _MONEY:
        one, other = (_amount(total, item, "amount") for total in totals)
        if item in drawn:
            low, high = np.quantile(after.draws[item] - before.draws[item], [0.05, 0.95])
        else:
            half = float(np.hypot(_half(totals[0], item), _half(totals[1], item)))
            low, high = other - one - half, other - one + half
        yield from _told(What.MONEY, item, one, other, ends=(float(low), float(high)))
    for item, where in _WORK:
        yield from _told(What.WORK, where, *(_amount(total, item, "quantity") for total in totals))


def _told(
    what: What, where: str, before: float, after: float, *, ends: tuple[float, float] = (np.nan, np.nan)
) -> Iterator[Change]:
    if abs(after - before) > _LEAST.get(what, 0.0):
        yield what, where, before, after, *ends


def _amount(total: pd.DataFrame, item: str, column: str) -> float:
    return float(total[column].get(item, 0.0))


def _half(total: pd.DataFrame, item: str) -> float:
    """Half the width between the 5 and 95 % points."""
    return (_amount(total, item, "high") - _amount(total, item, "low")) / 2.0


def _moved_ha(before: PastRun, after: PastRun) -> float:
    """Ground whose depth changed, ha."""
    ground = [run.zones.dissolve(by=run.zones["depth_mm"].round().astype(int)).geometry for run in (before, after)]
    ground[1] = ground[1].to_crs(ground[0].crs)
    kept = sum(
        shapely.intersection(ground[0][depth], ground[1][depth]).area
        for depth in ground[0].index.intersection(ground[1].index)
    )
    common = shapely.intersection(shapely.union_all(ground[0].array), shapely.union_all(ground[1].array)).area
    return max(0.0, float(common - kept)) / M2_PER_HA
