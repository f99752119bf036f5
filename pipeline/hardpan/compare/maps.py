"""Maps of two results on one grid: where they differ by more than they know."""

from collections.abc import Iterator

import numpy as np

from hardpan.compare.pairing import same_grid
from hardpan.core.arrays import Floats
from hardpan.records.comparison import PastRun, What

NORMAL_95 = 1.6448536269514722
"""Point of the normal law below which 95 % lies."""

_BANDS = ("pan_probability", "pan_top_mm", "pan_bottom_mm", "peak_kpa", "breach_probability")
_LEAST = 1e-6


def find_maps(before: PastRun, after: PastRun) -> Iterator[tuple[What, str, float, float, float, float]]:
    """Kind, where, mean before and after over the cells both have, and the ends of the change's 90 % interval.

    The bottom has an interval: its errors are taken to be alike over the whole paddock, and those of the two maps to
    have nothing in common. Both make it too wide rather than too narrow. Other bands carry no error of their own.
    """
    if not same_grid(before, after):
        return
    for band in _BANDS:
        if band not in before.maps or band not in after.maps:
            continue
        one, other = before.maps[band], after.maps[band]
        both = np.isfinite(one) & np.isfinite(other)
        if not both.any() or np.max(np.abs(one[both] - other[both])) <= _LEAST:
            continue
        half = NORMAL_95 * float(np.mean(_spread(before, after)[both])) if band == "pan_bottom_mm" else np.nan
        was, now = float(np.mean(one[both])), float(np.mean(other[both]))
        yield What.MAP, band, was, now, now - was - half, now - was + half


def bottom_difference(before: PastRun, after: PastRun) -> tuple[Floats, Floats] | None:
    """Difference of the pan's bottom, mm, and the same where it is beyond its own 90 % interval, NaN elsewhere."""
    if not same_grid(before, after) or "pan_bottom_mm" not in before.maps or "pan_bottom_mm" not in after.maps:
        return None
    difference = after.maps["pan_bottom_mm"] - before.maps["pan_bottom_mm"]
    with np.errstate(invalid="ignore"):
        clear = np.abs(difference) > np.maximum(NORMAL_95 * _spread(before, after), _LEAST)
    return difference, np.where(clear, difference, np.nan)


def _spread(before: PastRun, after: PastRun) -> Floats:
    """Standard deviation of the bottom's difference in each cell."""
    return np.asarray(np.hypot(before.maps["pan_bottom_sd_mm"], after.maps["pan_bottom_sd_mm"]))
