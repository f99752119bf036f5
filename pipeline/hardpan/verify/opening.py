"""How much of the pan is open at each position of a zone, with what is not known of it, and the verdict on that."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.special import stdtrit

from hardpan.core.arrays import Bools, Floats
from hardpan.options import loosened_to_mm
from hardpan.records.after import Change, Judged, Mean, Opened, Position, Remedy, VerdictSettings
from hardpan.records.machines import SetUp
from hardpan.verify.profiles import (
    BLOCK_POINTS,
    CRUST_MM,
    STEP_MM,
    Factor,
    Gridded,
    block_points,
    depths_mm,
    excess,
    loose_to_mm,
    site_mean,
)

RIPPED = (Position.LINE, Position.QUARTER, Position.MIDWAY)
_OFF = {Position.LINE: 0.0, Position.QUARTER: 0.25, Position.MIDWAY: 0.5}
"""Distance from the line over the spacing."""
MOSTLY = 0.5
"""Depths at which a larger share of the ground was hard before the pass are the pan's."""
DEEP_MM = 700.0
"""Excess of the whole pan is summed down to here, the depth of most rods."""

_WIDE = 0.85
"""Share opened above which a position is not called half open."""
_SOME = 0.15
"""Share opened below which it is not."""
_MOST_MORE = 20
"""More insertions than this are not asked for."""

_OPEN, _HALF, _CLOSED = Opened.OPEN, Opened.HALF, Opened.CLOSED
_LOOSE = {_OPEN, _HALF}


@dataclass(frozen=True, slots=True, kw_only=True)
class Correlated:
    """How the survey's map says that strength is correlated over ground."""

    range_m: float
    micro: float
    """Share of the variance of a site that does not depend on distance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """One zone with what was read in it."""

    zone: pd.Series
    """Row of `Earlier.zones`."""
    ripped: Gridded
    """Insertions after the pass on ripped ground; `about` has `position`."""
    unripped: Gridded
    """The survey's insertions on like ground."""
    factor: Factor
    threshold_kpa: float
    correlated: Correlated
    level: float


def expected_mm(zone: pd.Series) -> dict[Position, float]:
    """Depth down to which the plan has the tines loosen the ground at each position."""
    off = np.array([_OFF[place] * float(zone["spacing_mm"]) for place in RIPPED])
    loosened = loosened_to_mm(
        off,
        depth_mm=float(zone["depth_mm"]),
        foot_mm=float(zone["foot_mm"]),
        side_deg=float(zone["side_deg"]),
        critical_mm=float(zone["critical_mm"]),
    )
    return dict(zip(RIPPED, loosened.tolist(), strict=True))


def pan_depths(scene: Scene, to_mm: float) -> Bools:
    """Depths of the grid, between the crust and a depth, at which most of the ground was hard before the pass."""
    depth = depths_mm()
    within = (depth >= CRUST_MM) & (depth <= to_mm)
    return np.asarray(within & ((scene.unripped.kpa >= scene.threshold_kpa).mean(axis=0) >= MOSTLY))


def pan_within_mm(scene: Scene, to_mm: float) -> float:
    """Thickness of the pan between the crust and a depth before the pass."""
    return float(pan_depths(scene, to_mm).sum() * STEP_MM)


def opened_at(scene: Scene, place: Position, to_mm: float) -> tuple[Mean | None, pd.Series]:
    """Share of the pan's thickness down to a depth that reads below the threshold, beside the ground before the pass.

    And that of each insertion; None where no insertion at the position reads so deep.
    """
    return _compared(scene, place, lambda kpa: _hard_share(kpa, scene, to_mm))


def broken_at(scene: Scene, place: Position) -> Mean | None:
    """Share of the whole pan's excess resistance that is gone at a position; None where none reads so deep."""
    return _compared(scene, place, lambda kpa: excess(kpa, scene.threshold_kpa, DEEP_MM))[0]


def _hard_share(kpa: Floats, scene: Scene, to_mm: float) -> Floats:
    """Share of the pan's depths that read at or above the threshold, (n_insertions,); NaN where one was not read."""
    chosen = kpa[:, pan_depths(scene, to_mm)]
    return np.where(np.isfinite(chosen).all(axis=1), (chosen >= scene.threshold_kpa).mean(axis=1), np.nan)


def _compared(scene: Scene, place: Position, measure: Callable[[Floats], Floats]) -> tuple[Mean | None, pd.Series]:
    """Share by which a measure of hardness is less at a position than it was on like ground, and by insertion.

    The interval holds the spread between sites, that of the ground before the pass, and the doubt about moisture.
    """
    chosen = (scene.ripped.about["position"] == place).to_numpy()
    rows, (whole, doubt) = scene.ripped.rows(chosen), _reference(scene, measure)

    def shares(kpa: Floats, factor: float) -> Floats:
        return np.asarray(1.0 - measure(kpa / factor) / whole)

    share = shares(rows.kpa, scene.factor.value)
    named, known = pd.Series(share, index=rows.about["insertion"]), np.isfinite(share)
    if not known.any():
        return None, named
    mean = _mean(scene, rows.rows(known), share[known])
    ends = [float(np.mean(shares(rows.kpa[known], end))) for end in (scene.factor.low, scene.factor.high)]
    return _widened(mean, (abs(ends[0] - ends[1]) / 2.0, (1.0 - mean.value) * doubt)), named


def reached_at(scene: Scene, place: Position) -> tuple[Mean | None, pd.Series]:
    """Depth down to which the ground is loose at a position, and that of each insertion, mm."""
    chosen = (scene.ripped.about["position"] == place).to_numpy()
    rows, most_mm = scene.ripped.rows(chosen), float(scene.zone["depth_mm"])
    reached = loose_to_mm(rows.kpa / scene.factor.value, scene.threshold_kpa, most_mm)
    known = np.isfinite(reached)
    named = pd.Series(reached, index=rows.about["insertion"])
    if not known.any():
        return None, named
    mean = _mean(scene, rows.rows(known), reached[known])
    return replace(mean, low=max(mean.low, 0.0), high=min(mean.high, most_mm)), named


def across(means: Mapping[Position, Mean]) -> Mean | None:
    """Mean over the width between tines, straight between the positions; None unless line and midway are known."""
    if not {Position.LINE, Position.MIDWAY} <= means.keys():
        return None
    weights = {Position.LINE: 0.25, Position.QUARTER: 0.5, Position.MIDWAY: 0.25}
    if Position.QUARTER not in means:
        weights = {Position.LINE: 0.5, Position.MIDWAY: 0.5}
    value, low, high = (
        sum(weight * getattr(means[place], name) for place, weight in weights.items())
        for name in ("value", "low", "high")
    )
    sites = min(means[place].sites for place in weights)
    return Mean(value=value, low=low, high=high, sites=sites, sd=float("nan"))


def _reference(scene: Scene, measure: Callable[[Floats], Floats]) -> tuple[float, float]:
    """Mean of a measure on like ground before the pass, and half its interval over it."""
    found = pd.Series(measure(scene.unripped.kpa)).groupby(scene.unripped.about["site"].to_numpy())
    by_site = found.mean().dropna()
    n, mean = len(by_site), max(float(by_site.mean()), 1e-9)
    if n < 2:
        return mean, 0.5
    return mean, float(stdtrit(n - 1, (1.0 + scene.level) / 2.0) * by_site.std(ddof=1) / np.sqrt(n) / mean)


def _mean(scene: Scene, rows: Gridded, values: Floats) -> Mean:
    by_site = rows.about.assign(value=values).groupby("site", sort=True)[["value", "x_m", "y_m"]].mean()
    shape = scene.zone["geometry"]
    return site_mean(
        by_site["value"].to_numpy(),
        by_site[["x_m", "y_m"]].to_numpy(),
        block_points(shape, BLOCK_POINTS),
        range_m=scene.correlated.range_m,
        micro=scene.correlated.micro,
        level=scene.level,
    )


def _widened(mean: Mean, doubts: tuple[float, ...]) -> Mean:
    half = float(np.sqrt((mean.high - mean.value) ** 2 + sum(doubt**2 for doubt in doubts)))
    return replace(mean, low=mean.value - half, high=mean.value + half)


def ripped_zones(zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Zones that the plan rips."""
    return zones[zones["depth_mm"] > 0]


def state_of(opened: Mean | None, limits: VerdictSettings) -> Opened:
    """What became of the pan at a position, where its interval leaves no doubt."""
    if opened is None:
        return Opened.MISSING
    if opened.low >= limits.open_share:
        return Opened.OPEN
    if opened.high <= limits.closed_share:
        return Opened.CLOSED
    if opened.low >= _SOME and opened.high <= _WIDE:
        return Opened.HALF
    return Opened.UNKNOWN


def judge(states: Mapping[Position, Opened]) -> tuple[Judged, Change]:
    """Verdict and what follows, from the states on the line and midway.

    Insertions on the line alone never show a broken pan: there even a plain tine leaves loose ground.
    """
    line, midway = (states.get(place, Opened.MISSING) for place in (Position.LINE, Position.MIDWAY))
    if line is _OPEN and midway is _OPEN:
        return Judged.BROKEN, Change.KEEP
    if line is _OPEN and midway in {_HALF, _CLOSED}:
        return Judged.PARTLY, Change.RIDGE
    if line is _HALF:
        return Judged.PARTLY, Change.DEEPER
    if line is _CLOSED and midway not in _LOOSE:
        return Judged.NOT_REACHED, Change.AGAIN
    return Judged.CANNOT_TELL, _missing(line, midway)


def _missing(line: Opened, midway: Opened) -> Change:
    if midway is Opened.MISSING:
        return Change.MIDWAY
    return Change.LINE if line is Opened.MISSING else Change.MORE


def remedies_of(zone: pd.Series, setups: Mapping[str, SetUp]) -> tuple[Remedy, ...]:
    """What opens ridges in a zone and is not fitted there: feet further apart than they are wide can stand closer.

    Parameters
    ----------
    zone : Series
        Row of `Earlier.zones`.
    setups : Mapping[str, SetUp]
        What the ripper can be fitted with.
    """
    own, some = setups.get(str(zone["setup"])), setups.values()
    closer = float(zone["spacing_mm"]) > float(zone["foot_mm"])
    wings = own is not None and own.draft_row != "winged" and any(one.draft_row == "winged" for one in some)
    leading = own is not None and own.leading_depth_share is None and any(one.leading_depth_share for one in some)
    given = {Remedy.CLOSER: closer, Remedy.WINGS: wings, Remedy.LEADING: leading}
    return tuple(remedy for remedy, offered in given.items() if offered)


def more_insertions(opened: Mapping[Position, Mean], limits: VerdictSettings) -> int:
    """Sites to add, by the two-sided interval of a mean, until the position least known is told apart.

    The half width 2 s / sqrt(n) has to fall to the distance from the mean to the nearest limit; 0: none would.
    """
    need = 0
    for place in (Position.LINE, Position.MIDWAY):
        one = opened.get(place)
        if one is None or state_of(one, limits) is not Opened.UNKNOWN:
            continue
        gap = min(abs(one.value - limits.open_share), abs(one.value - limits.closed_share), 0.5)
        sd = one.sd if np.isfinite(one.sd) else 0.25
        wanted = int(np.ceil((2.0 * sd / max(gap, 0.05)) ** 2))
        need = max(need, min(max(wanted - one.sites, 2), _MOST_MORE))
    return need
