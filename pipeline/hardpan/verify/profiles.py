"""Insertions of the survey and after the pass: on one grid of depths, where they stand, their moisture, their means."""

import re
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.special import stdtrit

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat import EFFECTIVE_RANGE, Covariance, Family, Structure, covariance_between
from hardpan.records.after import Mean, Position
from hardpan.records.survey import Stop
from hardpan.spatial.polygons import first_holding

STEP_MM = 10.0
"""Step of the depth grid: readings are linear between one another, and no penetrometer reads finer."""
DEEPEST_MM = 800.0
THINNEST_MM = 50.0
"""A thinner hard layer does not end loosened ground."""
CRUST_MM = 100.0
"""A hard layer that ends above this depth is a crust."""

_NAMES = {
    Position.LINE: ("line", "on line", "tine", "rip line", "l"),
    Position.QUARTER: ("quarter", "1/4", "q"),
    Position.MIDWAY: ("midway", "mid", "between", "middle", "m"),
    Position.CONTROL: ("control", "unripped", "check", "strip", "c"),
}
_BY_NAME = {name: position for position, names in _NAMES.items() for name in names}

FROM_MM, TO_MM = 150.0, 600.0
"""Depths that are compared: below what rain and traffic change from day to day, above where few rods reach."""

_FAMILY: Family = "exponential"

BLOCK_POINTS = 150
"""Points that stand for a zone; more change the factor by less than 2 %."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gridded:
    """Cone index on the grid of depths."""

    about: pd.DataFrame
    """One row an insertion: `insertion`, `site`, `x_m`, `y_m`, `theta` (mean)."""
    kpa: Floats
    """(n_insertions, n_depths): NaN below the last reading; where strength stopped the rod, its last reading."""

    def rows(self, chosen: Bools) -> "Gridded":
        """Insertions that a mask picks."""
        return Gridded(about=self.about[chosen].reset_index(drop=True), kpa=self.kpa[chosen])


def depths_mm() -> Floats:
    """The grid of depths."""
    return np.arange(0.0, DEEPEST_MM + STEP_MM / 2.0, STEP_MM)


def gridded(readings: pd.DataFrame) -> Gridded:
    """Readings (columns of readings.csv) on the grid, in the order in which insertions come."""
    by = readings.groupby("insertion", sort=False)
    about = by[["site", "x_m", "y_m", "stop"]].first().join(by["theta"].mean()).reset_index()
    kpa = np.empty((len(about), depths_mm().size))
    ordered = readings.sort_values("depth_mm", kind="stable")
    depth, value = (ordered[name].to_numpy(float) for name in ("depth_mm", "cone_index_kpa"))
    at = ordered.groupby("insertion", sort=False).indices
    for row, (name, stop) in enumerate(zip(about["insertion"], about["stop"], strict=True)):
        own = value[at[name]]
        below = own[-1] if stop in {Stop.REFUSAL, Stop.LIMIT} else np.nan
        # Nobody reads at the surface: down to the first reading the ground is as hard as there.
        kpa[row] = np.interp(depths_mm(), depth[at[name]], own, left=own[0], right=below)
    return Gridded(about=about.astype({"site": str})[["insertion", "site", "x_m", "y_m", "theta"]], kpa=kpa)


def excess(kpa: Floats, threshold_kpa: float, to_mm: float) -> Floats:
    """Resistance above the threshold summed from the crust down to a depth, kPa mm, (n_insertions,).

    NaN where the readings end above it.
    """
    depth = depths_mm()
    within = (depth >= CRUST_MM) & (depth <= to_mm)
    return np.asarray(np.maximum(kpa[:, within] - threshold_kpa, 0.0).sum(axis=1) * STEP_MM)


def loose_to_mm(kpa: Floats, threshold_kpa: float, most_mm: float) -> Floats:
    """Depth down to which the ground reads below the threshold, at most `most_mm`, (n_insertions,).

    Hard layers thinner than `THINNEST_MM`, and crusts, do not end it; NaN where the readings end in soft ground above
    `most_mm`.
    """
    depth, n = depths_mm(), round(THINNEST_MM / STEP_MM)
    hard = kpa >= threshold_kpa
    # A layer begins where it and the next n - 1 depths are hard, and reaches below the crust.
    runs = np.stack([np.roll(hard, -shift, axis=1) for shift in range(n)]).all(axis=0)
    runs = runs & (depth + THINNEST_MM > CRUST_MM) & (depth <= DEEPEST_MM - THINNEST_MM)
    begins = np.where(runs.any(axis=1), depth[runs.argmax(axis=1)], np.inf)
    known = np.where(np.isfinite(kpa), depth, 0.0).max(axis=1)
    reached = np.minimum(begins, most_mm)
    return np.where(np.isfinite(begins) | (known >= most_mm - STEP_MM), reached, np.nan)


def position_of(mark: str, insertion: str) -> Position | None:
    """Position that a mark says, or the last word of the insertion's or site's name; None where neither says one.

    >>> position_of("Midway", "7-1"), position_of("", "Z3_line"), position_of("", "12")
    (<Position.MIDWAY: 'midway'>, <Position.LINE: 'line'>, None)
    """
    if mark.strip():
        return _BY_NAME.get(" ".join(mark.split()).casefold())
    words = [word for word in re.split(r"[^a-z]+", insertion.casefold()) if len(word) > 1]
    return next((_BY_NAME[word] for word in reversed(words) if word in _BY_NAME), None)


def positions_of(about: pd.DataFrame, marks: Sequence[str]) -> list[Position | None]:
    """Position of each insertion."""
    names = [f"{site} {insertion}" for site, insertion in about[["site", "insertion"]].itertuples(index=False)]
    return [position_of(mark, name) for mark, name in zip(marks, names, strict=True)]


def zones_at(about: pd.DataFrame, zones: gpd.GeoDataFrame) -> Ints:
    """Zone each insertion lies in, a check strip counted as the zone it lies in; -1 outside the paddock."""
    row = first_holding(about[["x_m", "y_m"]].to_numpy(float), zones.geometry.to_numpy())
    beside = zones["beside"].fillna(0).to_numpy(int)
    numbers = np.where(beside > 0, beside, zones["zone"].to_numpy(int))
    return np.where(row >= 0, numbers[row], -1)


def block_points(shape: shapely.Geometry, n: int) -> Floats:
    """About `n` points spread evenly over a shape, (n_points, 2)."""
    west, south, east, north = shape.bounds
    step = np.sqrt(max(shape.area, 1e-9) / n)
    x, y = np.meshgrid(np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step))
    inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
    return np.asarray(np.column_stack([x.ravel(), y.ravel()])[inside])


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """Cone index of the later day over that of the survey, same ground."""

    value: float
    low: float
    high: float
    controls: int
    """Sites on unripped ground it rests on; 0: the water contents are alike."""


def factor_of(
    controls: Gridded, before: Gridded, *, level: float, ground: Mapping[int, Hashable] | None = None
) -> Factor | None:
    """Factor from control sites and the survey's sites of like ground; None where both are too few to tell a scatter.

    The mean logarithm of cone index between `FROM_MM` and `TO_MM` by site, compared within each kind of ground that
    has sites of both days: what is left unripped is softer than the rest, so that all controls against the whole survey
    would take that for moisture. Kinds count by n m / (n + m) of their numbers of sites; the interval is that of a
    difference of means with unequal spread of the two days (Welch), their spreads pooled over the kinds.

    Parameters
    ----------
    ground : Mapping[int, Hashable] or None
        Kind of ground of each zone; None: all alike.
    """
    by_site = {"later": _levels(controls, ground), "earlier": _levels(before, ground)}
    shared = set(by_site["later"]["ground"]) & set(by_site["earlier"]["ground"])
    days = {}
    for name, sites in by_site.items():
        of = sites[sites["ground"].isin(shared)].groupby("ground", sort=True)["level"]
        n, free = of.size().to_numpy(float), float(of.size().sum()) - len(shared)
        if free < 1:
            return None
        days[name] = n, of.mean().to_numpy(float), float(((of.size() - 1) * of.var().fillna(0.0)).sum()) / free, free
    (n, later, later_var, later_free), (m, earlier, earlier_var, earlier_free) = days["later"], days["earlier"]
    weight = n * m / (n + m) / np.sum(n * m / (n + m))
    parts = later_var * np.sum(weight**2 / n), earlier_var * np.sum(weight**2 / m)
    total = sum(parts)
    df = total**2 / max(parts[0] ** 2 / later_free + parts[1] ** 2 / earlier_free, 1e-300)
    half = float(stdtrit(max(df, 1.0), (1.0 + level) / 2.0) * np.sqrt(total)) if total > 0 else 0.0
    middle = float(weight @ (later - earlier))
    return Factor(
        value=float(np.exp(middle)),
        low=float(np.exp(middle - half)),
        high=float(np.exp(middle + half)),
        controls=int(n.sum()),
    )


def _levels(one: Gridded, ground: Mapping[int, Hashable] | None) -> pd.DataFrame:
    """Mean logarithm of cone index and ground of each site that was read between the two depths."""
    depth = depths_mm()
    kpa = one.kpa[:, (depth >= FROM_MM) & (depth <= TO_MM)]
    read = np.isfinite(kpa).mean(axis=1) > 0.5
    level = np.array([np.log(np.maximum(row[np.isfinite(row)], 1.0)).mean() if ok else np.nan
                      for row, ok in zip(kpa, read, strict=True)])  # fmt: skip
    kind = 0 if ground is None else one.about["zone"].map(ground)
    sites = one.about.assign(level=level, ground=kind)[read].groupby("site", sort=True)
    means: pd.DataFrame = sites.agg(level=("level", "mean"), ground=("ground", "first")).dropna()
    return means


def site_mean(values: Floats, xy: Floats, block: Floats, *, range_m: float, micro: float, level: float) -> Mean:
    """Mean of values at sites for the whole zone, with Student's interval on n - 1 degrees of freedom.

    Parameters
    ----------
    values : (n_sites,)
        One value a site: insertions of one site are averaged before.
    xy : (n_sites, 2)
        Where the sites lie, m.
    block : (n_points, 2)
        Points spread over the zone.
    range_m : float
        Distance at which correlation has faded to 5 %; 0: none.
    micro : float
        Share of the variance that does not depend on distance.

    Notes
    -----
    With an exponential correlation R the sample mean differs from the mean of the zone by a variance of
    s2 (1'R1 / n2 - 2 mean R(site, zone) + mean R(zone, zone)), and the sample's variance is expected to be
    s2 (n - 1'R1 / n) / (n - 1): sites huddled in a corner of the zone say less of it than their own spread suggests,
    sites spread over it at least as much. The standard error is never put below that of independent sites.
    """
    n = len(values)
    mean = float(np.mean(values))
    if n < 2:
        return Mean(value=mean, low=-np.inf, high=np.inf, sites=n, sd=np.nan)
    sd = float(np.std(values, ddof=1))
    error = sd * np.sqrt(max(1.0 / n, _extension(xy, block, range_m, micro)))
    half = float(stdtrit(n - 1, (1.0 + level) / 2.0)) * error
    return Mean(value=mean, low=mean - half, high=mean + half, sites=n, sd=sd)


def _extension(xy: Floats, block: Floats, range_m: float, micro: float) -> float:
    """Variance of the mean of sites about that of the zone over the variance expected within the sample."""
    n = len(xy)
    if range_m <= 0 or not len(block):
        return 1.0 / n
    structure = Structure(family=_FAMILY, sill=1.0 - micro, length_m=range_m / EFFECTIVE_RANGE[_FAMILY])
    shape = Covariance(structures=(structure,))
    among = covariance_between(shape, xy, xy)
    np.fill_diagonal(among, 1.0)
    to_block = covariance_between(shape, xy, block).mean()
    within = covariance_between(shape, block, block).mean()
    expected = (n - among.sum() / n) / (n - 1.0)
    return float((among.sum() / n**2 - 2.0 * to_block + within) / max(expected, 1e-9))
