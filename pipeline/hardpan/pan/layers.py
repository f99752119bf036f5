"""Hard layers of every insertion: where resistance stays above the threshold, and whether it was seen to end."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints


def find_layers(
    depth_mm: Floats,
    thickness_mm: Floats,
    cone_index_kpa: Floats,
    stopped_hard: Bools,
    *,
    threshold_kpa: float,
    hysteresis_kpa: float,
    min_thickness_mm: float,
) -> pd.DataFrame:
    """Give one row a hard layer, by insertion and depth.

    Resistance is hard from the threshold up, soft from `hysteresis_kpa` below it down; in between it stays what it
    was. A hard layer opens once it is `min_thickness_mm` thick, or the probe was stopped by it, and closes only once
    the soft ground below it is `min_thickness_mm` thick: one rule against noise for both ends.

    Parameters
    ----------
    depth_mm, thickness_mm, cone_index_kpa : Floats
        Packed readings, shape (insertion, sample), NaN padding at the end of a row.
    stopped_hard : Bools
        Shape (insertion,): refusal or the device's limit ended the insertion.
    threshold_kpa, hysteresis_kpa, min_thickness_mm : float
        The rule above.

    Returns
    -------
    pd.DataFrame
        `row`, `top_mm` and `bottom_mm` (linear interpolation of the threshold between readings; for a layer that was
        not seen to end, depth of the last hard reading), `top_at` and `bottom_at` (first and last sample at or above
        the threshold), `closed`.
    """
    sweep = _Sweep(depth_mm, thickness_mm, cone_index_kpa, threshold_kpa, min_thickness_mm)
    hard_before = np.zeros(len(depth_mm), dtype=bool)
    for sample in range(depth_mm.shape[1]):
        value = cone_index_kpa[:, sample]
        read = np.isfinite(value)
        hard = np.where(
            read, (value >= threshold_kpa) | (hard_before & (value >= threshold_kpa - hysteresis_kpa)), hard_before
        )
        sweep.step(sample, read=read, hard=hard, hard_before=hard_before)
        hard_before = hard
    return sweep.finish(hard_before & stopped_hard)


class _Sweep:
    """The state of all insertions while the samples are walked from the top down."""

    def __init__(self, depth: Floats, thickness: Floats, value: Floats, threshold: float, least_mm: float) -> None:
        n = len(depth)
        self.depth, self.reach = depth, depth + thickness / 2.0
        self.over = value >= threshold
        self.crossing = _crossings(depth, value, threshold)
        self.least_mm = least_mm
        self.inside = np.zeros(n, dtype=bool)
        self.run_mm, self.run_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.fell_mm, self.last_at = np.zeros(n), np.full(n, -1)
        self.top_mm, self.top_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.found: list[pd.DataFrame] = []

    def step(self, sample: int, *, read: Bools, hard: Bools, hard_before: Bools) -> None:
        """Take in one sample of every insertion."""
        rises, falls = hard & ~hard_before, hard_before & ~hard
        over = self.over[:, sample]
        dips = read & ~over & (self.last_at == sample - 1)
        self.fell_mm = np.where(dips, self.crossing[:, sample], self.fell_mm)
        self.run_mm = np.where(rises, self.crossing[:, sample], self.run_mm)
        self.run_at = np.where(rises, sample, self.run_at)
        self._close(rises & (self.run_mm - self.fell_mm >= self.least_mm))
        end_mm = np.where(falls, self.fell_mm, self.reach[:, sample])
        self._open((hard | falls) & read & (end_mm - self.run_mm >= self.least_mm))
        self._close(read & ~hard & (self.reach[:, sample] - self.fell_mm >= self.least_mm))
        self.last_at = np.where(over, sample, self.last_at)

    def finish(self, stopped: Bools) -> pd.DataFrame:
        """Give the layers, those still open at the end of the record included."""
        self._open(stopped)
        rows = np.flatnonzero(self.inside)
        self._record(rows, self.depth[rows, self.last_at[rows]], closed=False)
        return pd.concat(self.found, ignore_index=True).sort_values(["row", "top_mm"], ignore_index=True)

    def _open(self, opens: Bools) -> None:
        starts = opens & ~self.inside
        self.top_mm = np.where(starts, self.run_mm, self.top_mm)
        self.top_at = np.where(starts, self.run_at, self.top_at)
        self.inside = self.inside | starts

    def _close(self, closes: Bools) -> None:
        rows = np.flatnonzero(closes & self.inside)
        self._record(rows, self.fell_mm[rows], closed=True)
        self.inside[rows] = False

    def _record(self, rows: Ints, bottom_mm: Floats, *, closed: bool) -> None:
        columns = {
            "row": rows,
            "top_mm": self.top_mm[rows],
            "bottom_mm": bottom_mm,
            "top_at": self.top_at[rows],
            "bottom_at": self.last_at[rows],
            "closed": np.full(len(rows), closed),
        }
        self.found.append(pd.DataFrame(columns))


def _crossings(depth: Floats, value: Floats, threshold: float) -> Floats:
    """Depth where the straight line from the sample above crosses the threshold; the sample's own where it does not."""
    crossing = depth.copy()
    rise = np.diff(value, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (threshold - value[:, :-1]) / rise
    inner = (share >= 0.0) & (share <= 1.0)
    crossing[:, 1:] = np.where(inner, depth[:, :-1] + share * np.diff(depth, axis=1), depth[:, 1:])
    return crossing
