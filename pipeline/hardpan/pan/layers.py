"""Hard layers of every insertion: where resistance stays above the threshold, and whether it was seen to end."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.pan.readings import Readings


def find_layers(
    readings: Readings,
    stopped: Bools,
    *,
    threshold_kpa: float,
    hysteresis_kpa: float,
    min_thickness_mm: float,
) -> pd.DataFrame:
    """Give one row a hard layer, by insertion and depth.

    Ground turns hard at the threshold and soft at `hysteresis_kpa` below it. A hard layer opens once it is
    `min_thickness_mm` thick and its excess over the threshold comes to that thickness times the hysteresis, or once
    the probe is stopped by it; it closes once the soft ground below meets the same two conditions with its deficit.
    One rule against noise thus holds at both ends, and a higher threshold never finds more hard ground.

    Parameters
    ----------
    readings : Readings
        Packed readings.
    stopped : Bools
        Shape (insertion,): refusal or the device's limit ended the insertion.
    threshold_kpa, hysteresis_kpa, min_thickness_mm : float
        The rule above.

    Returns
    -------
    pd.DataFrame
        `row`, `top_mm` and `bottom_mm` (threshold crossed by the straight line between two readings; for a layer that
        was not seen to end, depth of its last hard reading), `top_at` and `bottom_at` (first and last sample at or
        above the threshold), `closed`.
    """
    over_kpa = readings.cone_index_kpa - threshold_kpa
    sweep = _Sweep(readings, over_kpa, least_mm=min_thickness_mm, least_kpa_mm=hysteresis_kpa * min_thickness_mm)
    hard = np.zeros(len(over_kpa), dtype=bool)
    for sample, over in enumerate(over_kpa.T):
        soft = over < np.where(hard, -hysteresis_kpa, 0.0)
        now_hard = np.where(np.isnan(over), hard, ~soft)
        sweep.step(sample, hard=now_hard, hard_before=hard)
        hard = now_hard
    return sweep.finish(hard & stopped)


class _Sweep:
    """The state of all insertions while the samples are walked from the top down."""

    def __init__(self, readings: Readings, over: Floats, *, least_mm: float, least_kpa_mm: float) -> None:
        depth, thickness, n = readings.depth_mm, readings.thickness_mm, len(over)
        self.depth, self.over, self.reach = depth, over, depth + thickness / 2.0
        self.gain = np.nan_to_num(over * np.where(thickness > 0, thickness, _share_of_depth(depth)))
        self.crossing = _crossings(depth, over, depth[:, :1] - thickness[:, :1] / 2.0)
        self.least_mm, self.least_kpa_mm = least_mm, least_kpa_mm
        self.excess, self.deficit = np.zeros(n), np.zeros(n)
        self.rose_mm, self.rose_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.fell_mm, self.last_at = np.zeros(n), np.full(n, -1)
        self.inside = np.zeros(n, dtype=bool)
        self.top_mm, self.top_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.found: list[pd.DataFrame] = []

    def step(self, sample: int, *, hard: Bools, hard_before: Bools) -> None:
        """Take in one sample of every insertion."""
        over, gain, reach = self.over[:, sample], self.gain[:, sample], self.reach[:, sample]
        read, rises, falls = ~np.isnan(over), hard & ~hard_before, hard_before & ~hard
        dips = (over < 0) & (self.last_at == sample - 1)
        self.fell_mm = np.where(dips, self.crossing[:, sample], self.fell_mm)
        self.rose_mm = np.where(rises, self.crossing[:, sample], self.rose_mm)
        self.rose_at = np.where(rises, sample, self.rose_at)

        self._close(rises, self.rose_mm)
        self.deficit = np.where(over >= 0, 0.0, self.deficit - gain)
        self._open(falls, self.fell_mm)
        self.excess = np.where(hard, np.where(rises, 0.0, np.maximum(self.excess, 0.0)) + gain, self.excess)
        self._open(hard & read, reach)
        self._close(~hard & read, reach)
        self.last_at = np.where(over >= 0, sample, self.last_at)

    def finish(self, stopped: Bools) -> pd.DataFrame:
        """Give the layers, those still open at the end of the record included."""
        self._start(stopped)
        rows = np.flatnonzero(self.inside)
        self._record(rows, self.depth[rows, self.last_at[rows]], closed=False)
        return pd.concat(self.found, ignore_index=True).sort_values(["row", "top_mm"], ignore_index=True)

    def _open(self, hard: Bools, to_mm: Floats) -> None:
        shown = (to_mm - self.rose_mm >= self.least_mm) & (self.excess >= self.least_kpa_mm)
        self._start(hard & shown)

    def _start(self, opens: Bools) -> None:
        starts = opens & ~self.inside
        self.top_mm = np.where(starts, self.rose_mm, self.top_mm)
        self.top_at = np.where(starts, self.rose_at, self.top_at)
        self.inside = self.inside | starts

    def _close(self, soft: Bools, to_mm: Floats) -> None:
        shown = (to_mm - self.fell_mm >= self.least_mm) & (self.deficit >= self.least_kpa_mm)
        rows = np.flatnonzero(soft & shown & self.inside)
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


def _share_of_depth(depth: Floats) -> Floats:
    """Depth that a point reading stands for: half way to its neighbours."""
    step = np.nan_to_num(np.diff(depth, axis=1))
    edge = np.zeros((len(depth), 1))
    share: Floats = (np.hstack([edge, step]) + np.hstack([step, edge])) / 2.0
    return share


def _crossings(depth: Floats, over: Floats, start: Floats) -> Floats:
    """Depth where the straight line from the sample above meets the threshold, `start` for the first sample.

    The sample's own depth where the line does not meet it.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = -over[:, :-1] / np.diff(over, axis=1)
    meets = (share >= 0.0) & (share <= 1.0)
    inner = np.where(meets, depth[:, :-1] + share * np.diff(depth, axis=1), depth[:, 1:])
    return np.hstack([start, inner])
