"""Hard layers of every insertion, which of them is the pan, and what its bottom was seen to do."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.pan.readings import Readings
from hardpan.pan.settings import PanSettings
from hardpan.records.pan import Bottom, Seen, State
from hardpan.records.survey import Stop

_OUTCOME = {
    **dict.fromkeys((Seen.REFUSAL, Seen.LIMIT, Seen.STILL_HARD), (State.PRESENT, Bottom.CENSORED)),
    **dict.fromkeys((Seen.TOO_DEEP, Seen.SOFT, Seen.MARGINAL, Seen.SHORT), (State.ABSENT, Bottom.ABSENT)),
    **dict.fromkeys((Seen.SHALLOW, Seen.STONE), (State.UNUSABLE, Bottom.UNUSABLE)),
    Seen.CLOSED: (State.PRESENT, Bottom.OBSERVED),
}
"""State and bottom that follow from what was seen."""


def find_layers(
    readings: Readings,
    stopped: Bools,
    *,
    threshold_kpa: float,
    hysteresis_kpa: float,
    min_thickness_mm: float,
) -> pd.DataFrame:
    """Hard layers, one row each, by insertion and depth.

    A store fills with the excess over the threshold and drains with the deficit below it, between empty and
    `hysteresis_kpa` times `min_thickness_mm`. A hard layer opens when the store is full and the ground has been hard
    for `min_thickness_mm`, or when the probe is stopped by it; it closes when the store is empty and the ground has
    been soft for as long. Its top is where the store began to fill, its bottom where it began to drain. One rule
    against noise thus holds at both ends, and a higher threshold never finds more hard ground.

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
        was not seen to end, depth of its last hard reading), `top_at` and `bottom_at` (first and last hard sample),
        `closed`.

    Notes
    -----
    The store is the cumulative sum of Page's test for a change, held between two bounds (page1954).
    """
    over_kpa = readings.cone_index_kpa - threshold_kpa
    sweep = _Sweep(readings, over_kpa, least_mm=min_thickness_mm, full_kpa_mm=hysteresis_kpa * min_thickness_mm)
    for sample in range(over_kpa.shape[1]):
        sweep.step(sample)
    return sweep.finish(stopped)


def find_marginal(readings: Readings, threshold_kpa: float, crust_mm: float) -> Floats:
    """Depth of the first reading at or above the threshold and below a crust, mm, shape (insertion,); NaN without."""
    hard = (readings.cone_index_kpa >= threshold_kpa) & (readings.depth_mm >= crust_mm)
    first: Floats = np.fmin.reduce(np.where(hard, readings.depth_mm, np.nan), axis=1, initial=np.inf)
    return np.where(np.isfinite(first), first, np.nan)


class _Sweep:
    """The state of all insertions while the samples are walked from the top down."""

    def __init__(self, readings: Readings, over: Floats, *, least_mm: float, full_kpa_mm: float) -> None:
        depth, thickness, n = readings.depth_mm, readings.thickness_mm, len(over)
        self.depth, self.over, self.reach = depth, over, depth + thickness / 2.0
        self.gain = np.nan_to_num(over * np.where(thickness > 0, thickness, _share_of_depth(depth)))
        self.crossing = _crossings(depth, over, depth[:, :1] - thickness[:, :1] / 2.0)
        self.least_mm, self.full_kpa_mm = least_mm, full_kpa_mm
        self.store = np.zeros(n)
        self.hard, self.inside = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        self.rose_mm, self.rose_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.fell_mm, self.fell_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.last_at = np.zeros(n, dtype=np.int64)
        self.top_mm, self.top_at = np.zeros(n), np.zeros(n, dtype=np.int64)
        self.found: list[pd.DataFrame] = []

    def step(self, sample: int) -> None:
        """Take in one sample of every insertion."""
        over, crossing, reach = self.over[:, sample], self.crossing[:, sample], self.reach[:, sample]
        hard, soft = over >= 0, over < 0
        rises, falls = hard & ~self.hard, soft & self.hard
        self._open(falls, crossing)
        self._close(rises, crossing)
        begins = rises & (self.store <= 0)
        self.rose_mm = np.where(begins, crossing, self.rose_mm)
        self.rose_at = np.where(begins, sample, self.rose_at)
        ends = falls & (self.store >= self.full_kpa_mm)
        self.fell_mm = np.where(ends, crossing, self.fell_mm)
        self.fell_at = np.where(ends, sample - 1, self.fell_at)
        self.store = np.clip(self.store + self.gain[:, sample], 0.0, self.full_kpa_mm)
        self._open(hard, reach)
        self._close(soft, reach)
        self.hard = np.where(soft, False, self.hard | hard)  # noqa: FBT003
        self.last_at = np.where(hard, sample, self.last_at)

    def finish(self, stopped: Bools) -> pd.DataFrame:
        """Layers, those still open at the end of the record included."""
        self._start(stopped & (self.store > 0))
        rows = np.flatnonzero(self.inside)
        self._record(rows, self.depth[rows, self.last_at[rows]], self.last_at[rows], closed=False)
        return pd.concat(self.found, ignore_index=True).sort_values(["row", "top_mm"], ignore_index=True)

    def _open(self, shown: Bools, to_mm: Floats) -> None:
        self._start(shown & (self.store >= self.full_kpa_mm) & (to_mm - self.rose_mm >= self.least_mm))

    def _start(self, opens: Bools) -> None:
        starts = opens & ~self.inside
        self.top_mm, self.top_at = (
            np.where(starts, self.rose_mm, self.top_mm),
            np.where(starts, self.rose_at, self.top_at),
        )
        self.inside = self.inside | starts

    def _close(self, shown: Bools, to_mm: Floats) -> None:
        closes = shown & self.inside & (self.store <= 0) & (to_mm - self.fell_mm >= self.least_mm)
        rows = np.flatnonzero(closes)
        self._record(rows, self.fell_mm[rows], self.fell_at[rows], closed=True)
        self.inside[rows] = False

    def _record(self, rows: Ints, bottom_mm: Floats, bottom_at: Ints, *, closed: bool) -> None:
        columns = {
            "row": rows,
            "top_mm": self.top_mm[rows],
            "bottom_mm": bottom_mm,
            "top_at": self.top_at[rows],
            "bottom_at": bottom_at,
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


def choose_pan(
    layers: pd.DataFrame, reached_mm: Floats, marginal_mm: Floats, stop: np.ndarray, settings: PanSettings
) -> pd.DataFrame:
    """The pan of each insertion: the hard layer that is one, if any is, and what is known of it.

    The pan is the shallowest hard layer that does not end above `crust_mm` and starts within `search_to_mm`: roots
    meet it first, and a ripper that works a deeper one breaks it on the way. A layer that is still hard at the last
    reading has a censored bottom, whatever ended the insertion. A probe refused straight from soft ground stands on
    a stone and cannot tell whether there is a pan. One that ends in soft ground before `search_to_mm` tells that there
    is none down to where it ends, be that the rod's end or short of it.

    Parameters
    ----------
    layers : pd.DataFrame
        Of `hardpan.pan.layers.find_layers`.
    reached_mm : Floats
        Depth of each insertion's last reading, shape (insertion,); 0 without readings.
    marginal_mm : Floats
        Depth of each insertion's first reading at or above the threshold below a crust, shape (insertion,), or NaN.
    stop : np.ndarray
        `hardpan.records.survey.Stop` of each insertion, shape (insertion,).
    settings : PanSettings
        `crust_mm` and `search_to_mm`.

    Returns
    -------
    pd.DataFrame
        `state`, `bottom_kind`, `top_mm`, `bottom_mm` (last hard reading where censored), `top_at`, `bottom_at` (-1
        without a pan), `soft_to_mm`, `layer_mm` and `next_mm` (tops of the first and second hard layer below a crust,
        NaN without), `crusted` (a hard layer ends above `crust_mm`), `seen` (a `Seen`) and `reached_mm`.
    """
    row = pd.RangeIndex(len(reached_mm))
    crust = layers["bottom_mm"] < settings.crust_mm
    below = layers[~crust]
    first = below[~below.duplicated("row")].set_index("row").reindex(row)
    others = below[below.duplicated("row")]
    second = others[~others.duplicated("row")].set_index("row")["top_mm"].reindex(row)
    only_crust = row.isin(layers.loc[crust & ~layers["closed"].astype(bool), "row"])

    layer_mm = first["top_mm"].to_numpy(dtype=float)
    pan = layer_mm <= settings.search_to_mm
    closed = pan & (first["closed"] == True).to_numpy()  # noqa: E712  missing rows are neither
    deep = reached_mm >= settings.search_to_mm
    seen = np.select(
        [
            closed,
            pan & (stop == Stop.REFUSAL),
            pan & (stop == Stop.LIMIT),
            pan,
            np.isfinite(layer_mm),
            only_crust | (reached_mm <= settings.crust_mm),
            ~deep & (stop == Stop.REFUSAL),
            np.isfinite(marginal_mm),
            ~deep & (stop == Stop.SHORT),
        ],
        [
            Seen.CLOSED,
            Seen.REFUSAL,
            Seen.LIMIT,
            Seen.STILL_HARD,
            Seen.TOO_DEEP,
            Seen.SHALLOW,
            Seen.STONE,
            Seen.MARGINAL,
            Seen.SHORT,
        ],
        Seen.SOFT,
    )
    state = [_OUTCOME[Seen(key)][0] for key in seen]
    absent = np.isin(state, [State.ABSENT])
    return pd.DataFrame(
        {
            "state": state,
            "bottom_kind": [_OUTCOME[Seen(key)][1] for key in seen],
            "top_mm": np.where(pan, layer_mm, np.nan),
            "bottom_mm": first["bottom_mm"].where(pan).to_numpy(dtype=float),
            "top_at": first["top_at"].where(pan, -1).to_numpy(dtype=np.int64),
            "bottom_at": first["bottom_at"].where(pan, -1).to_numpy(dtype=np.int64),
            "soft_to_mm": np.where(absent, np.minimum(reached_mm, settings.search_to_mm), np.nan),
            "layer_mm": np.where(seen == Seen.MARGINAL, marginal_mm, layer_mm),
            "next_mm": second.to_numpy(dtype=float),
            "crusted": row.isin(layers.loc[crust, "row"]),
            "seen": seen,
            "reached_mm": reached_mm,
        }
    )
