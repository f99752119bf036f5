"""Maps, hectares, work and money of two results: where they differ, and by more than they know."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from hardpan.core.arrays import Floats
from hardpan.core.units import M2_PER_HA
from hardpan.records.past import PastRun, What

Change = tuple[What, str, float, float, float, float]
"""Kind, where, before, after, and the ends of the 90 % interval of the change (NaN: exact)."""

_MONEY, _WORK = ("cost", "benefit", "net return"), (("hours", "hours"), ("fuel", "litres"))
_LEAST = {What.DEPTH: 0.005, What.MOVED: 0.005, What.MONEY: 0.005, What.WORK: 0.005}
"""Differences below these are rounding."""

NORMAL_95 = 1.6448536269514722
"""Point of the normal law below which 95 % lies."""

LEAST_SHARED = 20
"""Insertions that both must have; from fewer no correlation of the errors is told, and none is counted."""

_BANDS = {
    "pan_probability": ("pan", ""),
    "pan_top_mm": ("top", "pan_top_sd_mm"),
    "pan_bottom_mm": ("bottom", "pan_bottom_sd_mm"),
    "peak_kpa": ("peak", "peak_sd_kpa"),
    "breach_probability": ("", ""),
}
"""Band to its variable among the residuals and to the band of its standard deviation."""

_BOTTOM, _NOTHING = "pan_bottom_mm", 1e-6


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


def find_maps(before: PastRun, after: PastRun) -> Iterator[tuple[What, str, float, float, float, float]]:
    """Kind, where, mean before and after over the cells both have, and the ends of the change's 90 % interval.

    The mean's own error is that of the run's draws of it; a run that did not write it down counts the errors of all
    cells as alike, which is too wide rather than too narrow. Bands without an error have no interval.
    """
    if not same_grid(before, after):
        return
    for band, (variable, _) in _BANDS.items():
        if band not in before.maps or band not in after.maps:
            continue
        one, other = before.maps[band], after.maps[band]
        both = np.isfinite(one) & np.isfinite(other)
        if not both.any() or np.max(np.abs(one[both] - other[both])) <= _NOTHING:
            continue
        sd_before, sd_after = (np.asarray(run.mean_sd.get(band, _usual_sd(run, band))) for run in (before, after))
        half = NORMAL_95 * float(_sd_of_difference(sd_before, sd_after, error_correlation(before, after, variable)))
        was, now = float(np.mean(one[both])), float(np.mean(other[both]))
        yield What.MAP, band, was, now, now - was - half, now - was + half


def bottom_difference(before: PastRun, after: PastRun) -> tuple[Floats, Floats] | None:
    """Difference of the pan's bottom, mm, and the same where it is beyond its own 90 % interval, NaN elsewhere."""
    if not same_grid(before, after) or _BOTTOM not in before.maps or _BOTTOM not in after.maps:
        return None
    variable, sd = _BANDS[_BOTTOM]
    difference = after.maps[_BOTTOM] - before.maps[_BOTTOM]
    spread = _sd_of_difference(before.maps[sd], after.maps[sd], error_correlation(before, after, variable))
    with np.errstate(invalid="ignore"):
        clear = np.abs(difference) > np.maximum(NORMAL_95 * spread, _NOTHING)
    return difference, np.where(clear, difference, np.nan)


def error_correlation(before: PastRun, after: PastRun, variable: str = "bottom") -> float:
    """Correlation of the two maps' errors, [0, 1]; 0 where they share too few insertions to tell.

    Notes
    -----
    Each reading is held against its forecast from all other sites. At insertions that both results have, z and z' are
    these residuals in their own standard deviations; r = sum(z z') / sqrt(sum(z^2) sum(z'^2)). The standard deviation
    of the maps' difference then is the root of s^2 + s'^2 - 2 r s s'.
    """
    keys = ["variable", "site", "insertion", "x_m", "y_m"]
    shared = before.residuals.merge(after.residuals, on=keys, suffixes=("", "_after"))
    shared = shared[shared["variable"] == variable].dropna(subset=["residual", "residual_after"])
    if len(shared) < LEAST_SHARED:
        return 0.0
    z, other = (shared[f"residual{of}"].to_numpy() / shared[f"sd{of}"].to_numpy() for of in ("", "_after"))
    return float(np.clip(z @ other / max(np.sqrt((z @ z) * (other @ other)), _NOTHING), 0.0, 1.0))


def _usual_sd(run: PastRun, band: str) -> float:
    """Mean standard deviation over the cells of a map; NaN where it has none."""
    sd = run.maps.get(_BANDS[band][1])
    return np.nan if sd is None else float(np.nanmean(sd))


def _sd_of_difference(one: Floats, other: Floats, correlation: float) -> Floats:
    return np.asarray(np.sqrt(np.maximum(one**2 + other**2 - 2.0 * correlation * one * other, 0.0)))


def same_grid(before: PastRun, after: PastRun) -> bool:
    """Whether both have maps, on the same cells."""
    shapes = [next(iter(run.maps.values())).shape if run.maps else None for run in (before, after)]
    return shapes[0] is not None and shapes[0] == shapes[1] and before.grid == after.grid


def paired(before: PastRun, after: PastRun) -> bool:
    """Whether draw by draw the two runs met the same ground, prices and responses: same readings, cells and seed."""
    seeds = {run.document["settings"]["paddock"].get("seed") for run in (before, after)}
    counts = {len(draws) for run in (before, after) for draws in run.draws.values()}
    same = before.document["inputs_sha256"] == after.document["inputs_sha256"] and same_grid(before, after)
    return same and len(seeds) == 1 and len(counts) == 1
