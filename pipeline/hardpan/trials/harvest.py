"""Points of a harvest: the harvester's passes, how late grain reaches the sensor, and what takes points out."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.units import KMH_PER_MS
from hardpan.records.trial import CleaningSettings, Rule

_LEAST_NEIGHBOURS = 5
"""Fewer say nothing of what is usual at a place."""

_GAP = 5.0
"""Times the usual interval without a point that ends a pass."""

_LEAST_GAP_S = 10.0
"""A shorter gap ends none: a point or two may be missing."""

_TURN = 0.5
"""Cosine of 60 degrees: the least angle of a turn between the ways to a point and from it, over `_WAY` points each."""

_WAY = 3
"""Points: one step alone is mostly the error of the receiver."""

DELAYS_S = np.arange(-5.0, 26.0)
"""Delays that are tried."""

_NEIGHBOURS = 8
"""Nearest points of other passes that a point is held against."""

_CHANCE = 7.0
"""Over the root of the number of points, the share by which the roughness has to fall for a delay to be believed: in
simulated harvests without one, less is chance."""

_APART_S = 2.0
"""Most that the delays of the first and the second half of the passes may differ by."""

_LEAST_POINTS = 400
"""Fewer points, or fewer than four passes, tell no delay."""


def clean(
    points: pd.DataFrame, number: Ints, settings: CleaningSettings, *, had_value: Bools, everything: bool
) -> tuple[Bools, pd.DataFrame]:
    """Points that are kept, (n,), and how many each rule took.

    Parameters
    ----------
    points : DataFrame
        Columns `records.trial.POINT`.
    number : (n,) ints
        Pass of each point, -1 where there is no time.
    had_value : (n,) bools
        Points with a yield before the delay was taken out.
    everything : bool
        Every point that can be read is taken.

    Returns
    -------
    (n,) bools, and a table `rule`, `points` of the rules that could be applied, in their order
    """
    kept = np.isfinite(points[["x_m", "y_m", "value"]].to_numpy(dtype=float)).all(axis=1)
    late = ~kept & had_value & np.isfinite(points["x_m"].to_numpy(dtype=float))
    taken = {Rule.UNREADABLE: int((~kept & ~late).sum())} | ({Rule.DELAYED: int(late.sum())} if late.any() else {})
    if not everything:
        for rule, hit in _by_point(points, number, settings):
            taken[rule] = int((hit & kept).sum())
            kept &= ~hit
        # what is usual is judged by what is left
        for rule, judge in ((Rule.GLOBAL, _far_from_all), (Rule.LOCAL, _far_from_neighbours)):
            hit = np.zeros(len(points), dtype=bool)
            hit[kept] = judge(points[kept], settings)
            taken[rule] = int(hit.sum())
            kept &= ~hit
    return kept, pd.DataFrame({"rule": list(taken), "points": list(taken.values())})


def _by_point(points: pd.DataFrame, number: Ints, settings: CleaningSettings) -> Iterator[tuple[Rule, Bools]]:
    """Rules that judge a point by its own values, where the file has them."""
    value, speed, swath, moisture = (
        points[name].to_numpy(dtype=float) for name in ("value", "speed_ms", "swath_m", "moisture_pct")
    )
    yield Rule.NOT_ABOVE_ZERO, value <= 0
    if (number >= 0).any():
        since, until = along_pass(points, number)
        yield Rule.PASS_START, since < settings.start_s
        yield Rule.PASS_END, until < settings.end_s
    if np.isfinite(speed).any():
        kmh = speed * KMH_PER_MS
        yield Rule.SPEED, (kmh < settings.least_speed_kmh) | (kmh > settings.most_speed_kmh)
        if (number >= 0).any():
            yield Rule.SPEED_STEP, _speed_steps(points, number) > settings.speed_step
    if np.isfinite(swath).any():
        yield Rule.SWATH, swath < settings.swath_share * np.nanquantile(swath, 0.95)
    if np.isfinite(moisture).any():
        yield Rule.MOISTURE, (moisture < settings.least_moisture_pct) | (moisture > settings.most_moisture_pct)


def _speed_steps(points: pd.DataFrame, number: Ints) -> Floats:
    """Change of speed since the point before in the pass, share of the speed there, (n,); 0 for the first of a pass."""
    step = np.zeros(len(points))
    known = np.flatnonzero(number >= 0)
    order = known[np.argsort(points["time_s"].to_numpy(dtype=float)[known], kind="stable")]
    speed = points["speed_ms"].to_numpy(dtype=float)[order]
    with np.errstate(divide="ignore", invalid="ignore"):
        change = np.abs(np.diff(speed)) / speed[:-1]
    same = np.diff(number[order]) == 0
    step[order[1:]] = np.where(same & np.isfinite(change), change, 0.0)
    return step


def _far_from_all(points: pd.DataFrame, settings: CleaningSettings) -> Bools:
    value = points["value"].to_numpy(dtype=float)
    return (
        np.asarray(np.abs(value - value.mean()) > settings.global_sd * value.std()) if len(value) else np.zeros(0, bool)
    )


def _far_from_neighbours(points: pd.DataFrame, settings: CleaningSettings) -> Bools:
    """Points further from the mean of their neighbours than so many standard deviations of these."""
    value, xy = points["value"].to_numpy(dtype=float), points[["x_m", "y_m"]].to_numpy(dtype=float)
    if not len(value):
        return np.zeros(0, dtype=bool)
    tree = cKDTree(xy)
    near = tree.sparse_distance_matrix(tree, settings.neighbours_m, output_type="ndarray")
    near = near[near["i"] != near["j"]]
    count = np.bincount(near["i"], minlength=len(value))
    total, squares = (np.bincount(near["i"], value[near["j"]] ** power, minlength=len(value)) for power in (1, 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = total / count
        spread = np.sqrt(np.maximum(squares / count - mean**2, 0.0))
        far = np.abs(value - mean) > settings.local_sd * spread
    return np.asarray((count >= _LEAST_NEIGHBOURS) & (spread > 0) & far)


def number_passes(points: pd.DataFrame) -> Ints:
    """Pass of each point, (n,), 0, 1, 2 ... in the order of time; -1 where there is no time.

    A pass ends where nothing was logged for long, or where the harvester turns.
    """
    number = np.full(len(points), -1, dtype=np.int64)
    time_s = points["time_s"].to_numpy(dtype=float)
    known = np.flatnonzero(np.isfinite(time_s) & np.isfinite(points["x_m"].to_numpy(dtype=float)))
    if len(known) < 2 * _WAY:
        return number
    order = known[np.argsort(time_s[known], kind="stable")]
    step_s = np.diff(time_s[order])
    usual_s = float(np.median(step_s[step_s > 0])) if (step_s > 0).any() else 0.0
    run = np.cumsum(np.append(False, step_s > max(_GAP * usual_s, _LEAST_GAP_S)))
    turned = np.cumsum(_turns(points[["x_m", "y_m"]].to_numpy(dtype=float)[order], run))
    ends = (np.diff(run) > 0) | (np.diff(turned) > 0)
    number[order] = np.cumsum(np.append(False, ends))
    return number


def _turns(xy_m: Floats, run: Ints) -> Bools:
    """Points at which the way turns sharply, the first of each turn; `run` counts stretches logged without a gap."""
    turning = np.zeros(len(xy_m), dtype=bool)
    before, after = xy_m[_WAY:-_WAY] - xy_m[: -2 * _WAY], xy_m[2 * _WAY :] - xy_m[_WAY:-_WAY]
    length = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = np.einsum("ij,ij->i", before, after) / length
    turning[_WAY:-_WAY] = (cosine < _TURN) & (run[2 * _WAY :] == run[: -2 * _WAY])
    return np.asarray(turning & ~np.append(False, turning[:-1]))


def along_pass(points: pd.DataFrame, number: Ints) -> tuple[Floats, Floats]:
    """Seconds since the pass of each point began and until it ends, (n,) each; infinite where there is no pass."""
    since, until = np.full(len(points), np.inf), np.full(len(points), np.inf)
    known = number >= 0
    time_s = points["time_s"].to_numpy(dtype=float)
    grouped = pd.Series(time_s[known]).groupby(number[known])
    since[known] = time_s[known] - grouped.transform("min").to_numpy()
    until[known] = grouped.transform("max").to_numpy() - time_s[known]
    return since, until


def estimate_delay(points: pd.DataFrame, number: Ints) -> float:
    """Delay, s, at which neighbouring passes agree best; 0 where it cannot be told.

    Passes driven in opposite directions shift a map against itself: the map is smoothest where every yield stands
    where it grew. Where whole passes yield more than others, ripped beside unripped, each is held against its own level
    as well, and the agreement that gains most is taken; one that is best at the end of what is tried has no best.
    """
    known = np.flatnonzero((number >= 0) & np.isfinite(points["value"].to_numpy(dtype=float)))
    passes = np.unique(number[known])
    if len(known) < _LEAST_POINTS or len(passes) < 4:
        return 0.0
    one, other = _other_passes(points[["x_m", "y_m"]].to_numpy(dtype=float)[known], number[known])
    level = points["value"].groupby(number).transform("median")
    tried = [_roughness(points.assign(value=points["value"] - off), number, known, one, other) for off in (0.0, level)]
    roughness = min(tried, key=_share_left)
    whole, *halves = DELAYS_S[np.argmin(roughness, axis=0)]
    fell = _share_left(roughness) < 1.0 - _CHANCE / np.sqrt(len(known))
    best = fell and DELAYS_S[0] < whole < DELAYS_S[-1] and abs(halves[0] - halves[1]) <= _APART_S
    return float(whole) if best else 0.0


def _roughness(points: pd.DataFrame, number: Ints, known: Ints, one: Ints, other: Ints) -> Floats:
    """Middle squared difference of neighbours for each delay, of all, of the later passes, and of the earlier."""
    passes = number[known]
    late = passes[one] > np.median(np.unique(passes))
    rough: list[list[float]] = []
    for delay_s in DELAYS_S:
        value = shifted(points, number, delay_s)[known]
        apart = (value[one] - value[other]) ** 2
        rough.append([_middle(part) for part in (apart, apart[late], apart[~late])])
    return np.array(rough)


def _share_left(roughness: Floats) -> float:
    """Share of the roughness that the best delay leaves; 1 where there is none."""
    now = float(roughness[DELAYS_S == 0, 0][0])
    return float(roughness[:, 0].min()) / now if 0.0 < now < np.inf else 1.0


def shifted(points: pd.DataFrame, number: Ints, delay_s: float) -> Floats:
    """Yield of each point once the delay is taken out, (n,); NaN where its grain came after the end of the pass."""
    value, time_s = (points[name].to_numpy(dtype=float) for name in ("value", "time_s"))
    moved = np.where(number >= 0, np.nan, value)
    for one in np.unique(number[number >= 0]):
        at = np.flatnonzero((number == one) & np.isfinite(value))
        order = at[np.argsort(time_s[at], kind="stable")]
        wanted = np.flatnonzero(number == one)
        if len(order):
            moved[wanted] = np.interp(time_s[wanted] + delay_s, time_s[order], value[order], left=np.nan, right=np.nan)
    return moved


def _middle(apart: Floats) -> float:
    """Median of squared differences, infinite where there is none."""
    return float(np.nanmedian(apart)) if np.isfinite(apart).any() else np.inf


def _other_passes(xy_m: Floats, number: Ints) -> tuple[Ints, Ints]:
    """Pairs of points near one another that belong to different passes."""
    near = min(4 * _NEIGHBOURS, len(xy_m))
    at = cKDTree(xy_m).query(xy_m, k=near)[1]
    differs = number[at] != number[:, None]
    kept = differs & (np.cumsum(differs, axis=1) <= _NEIGHBOURS)
    return np.repeat(np.arange(len(xy_m)), near)[kept.ravel()], at[kept]
