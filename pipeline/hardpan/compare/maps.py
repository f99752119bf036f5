"""Maps of two results on one grid: where they differ by more than they know."""

from collections.abc import Iterator

import numpy as np

from hardpan.compare.pairing import same_grid
from hardpan.core.arrays import Floats
from hardpan.records.comparison import PastRun, What

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

_BOTTOM, _LEAST = "pan_bottom_mm", 1e-6


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
        if not both.any() or np.max(np.abs(one[both] - other[both])) <= _LEAST:
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
        clear = np.abs(difference) > np.maximum(NORMAL_95 * spread, _LEAST)
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
    return float(np.clip(z @ other / max(np.sqrt((z @ z) * (other @ other)), _LEAST), 0.0, 1.0))


def _usual_sd(run: PastRun, band: str) -> float:
    """Mean standard deviation over the cells of a map; NaN where it has none."""
    sd = run.maps.get(_BANDS[band][1])
    return np.nan if sd is None else float(np.nanmean(sd))


def _sd_of_difference(one: Floats, other: Floats, correlation: float) -> Floats:
    return np.asarray(np.sqrt(np.maximum(one**2 + other**2 - 2.0 * correlation * one * other, 0.0)))
