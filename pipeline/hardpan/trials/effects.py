"""Effect of ripping from strips and their segments: by the mixed model, by pairs, and of each zone."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.optimize import linear_sum_assignment

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import EFFECTIVE_RANGE, Effect, Effects, Family, fit_effects, observe
from hardpan.records.trial import Treatment
from hardpan.spatial.polygons import first_holding

MOST_SEGMENTS = 96
"""Of a trial: with twice as many no standard error moved by more than a tenth of itself on open uniformity fields."""

FAMILY: Family = "exponential"

_LEAST_STRIPS = 4
"""Fewer strips cannot tell an error of their own from the treatment: the field alone is left then."""

_SPREADS = np.linspace(0.0, 4.0, 81)
"""True spreads of the effects that are averaged over, in standard errors of one zone."""


def on_strips(points: pd.DataFrame, strips: gpd.GeoDataFrame, end_m: float) -> tuple[Ints, Ints]:
    """Strip of each point, (n,), 0 where it lies on none; and the same without the last `end_m` of each strip."""
    xy, shapes, names = points[["x_m", "y_m"]].to_numpy(float), strips.geometry.to_numpy(), strips["strip"].to_numpy()
    place = first_holding(xy, shapes)
    strip = np.where(place >= 0, names[place], 0)
    inner = strip.copy()
    for shape, name in zip(shapes, names, strict=True):
        here = np.flatnonzero(strip == name)
        if end_m > 0 and len(here):
            way = along(xy[here], shape)
            low, high = _ends(shape)
            inner[here[(way < low + end_m) | (way > high - end_m)]] = 0
    return strip, inner


def _ends(shape: shapely.Geometry) -> tuple[float, float]:
    way = along(shapely.get_coordinates(shape), shape)
    return float(way.min()), float(way.max())


def along(xy_m: Floats, shape: shapely.Geometry) -> Floats:
    """Distance of places along the longer side of the narrowest rectangle around a polygon, (n,)."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    sides = np.diff(corners[:3], axis=0)
    longest = sides[np.argmax(np.linalg.norm(sides, axis=1))]
    return np.asarray(xy_m @ (longest / np.linalg.norm(longest)))


def strip_means(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """One row a harvested strip: `strip`, `treatment`, `pair`, `zone`, `depth_mm`, `points`, `mean`."""
    by = points.groupby("strip")["value"]
    table = strips.drop(columns="geometry").set_index("strip").loc[by.size().index]
    return pd.DataFrame(table.assign(points=by.size(), mean=by.mean())).reset_index()[
        ["strip", "treatment", "pair", "zone", "depth_mm", "points", "mean"]
    ]


def pair_up(strips: gpd.GeoDataFrame) -> Ints:
    """Pair of each strip, (n,): as stated, else the nearest two of both treatments in a zone; 0 for those left over."""
    stated = strips["pair"].to_numpy()
    if (stated > 0).any():
        return np.asarray(stated, dtype=np.int64)
    pair, last = np.zeros(len(strips), dtype=np.int64), 0
    middles = shapely.get_coordinates(shapely.centroid(strips.geometry.to_numpy()))
    for zone in np.unique(strips["zone"]):
        sides = [
            np.flatnonzero((strips["zone"] == zone) & (strips["treatment"] == treatment)) for treatment in Treatment
        ]
        apart = np.linalg.norm(middles[sides[0]][:, None] - middles[sides[1]][None], axis=2)
        for one, other in zip(*linear_sum_assignment(apart), strict=True):
            last += 1
            pair[[sides[0][one], sides[1][other]]] = last
    return pair


def segments(points: pd.DataFrame, strips: gpd.GeoDataFrame) -> pd.DataFrame:
    """Means of stretches of strips that hold about equally many points: `strip`, `x_m`, `y_m`, `value`, `points`."""
    shapes = strips.set_index("strip").geometry
    each = max(1, int(np.ceil(len(points) / MOST_SEGMENTS)))
    strip, values = points["strip"].to_numpy(), points[["x_m", "y_m", "value"]].to_numpy(dtype=float)
    parts = []
    for name in np.unique(strip):
        of_strip = values[strip == name]
        way = along(of_strip[:, :2], shapes[name])
        ordered = of_strip[np.lexsort((of_strip[:, 1], of_strip[:, 0], np.round(way, 6)))]
        count = max(1, round(len(ordered) / each))
        starts = np.round(np.linspace(0, len(ordered), count, endpoint=False)).astype(int)
        size = np.diff(np.append(starts, len(ordered)))
        parts.append(np.column_stack([np.full(count, name), np.add.reduceat(ordered, starts) / size[:, None], size]))
    table = pd.DataFrame(np.vstack(parts), columns=["strip", "x_m", "y_m", "value", "points"])
    return table.astype({"strip": int, "points": int})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripEffects:
    """Effects of ripping, in the unit of yield."""

    overall: Effect
    by_zone: Mapping[int, Effect]
    """Zones with strips of both treatments; empty where there is one zone or none."""
    zone_cov: Floats
    """(zones, zones) covariance of the errors of `by_zone`."""
    model: Mapping[str, float]
    """Of the model for all: `range_m`, `sill`, `noise`, `strip_variance`."""


def strip_effects(segments: pd.DataFrame, strips: gpd.GeoDataFrame) -> StripEffects:
    """Effects over all strips and in each zone.

    Degrees of freedom are Satterthwaite's, but no fewer than there are between strips: where an error of strips stands
    beside a field that explains it as well, his rule knows it from pairs alone and is too careful. Without repeats
    there is no error of strips, and his rule alone is left.
    """
    table = segments.merge(strips[["strip", "treatment", "zone"]], on="strip")
    table["ripped"] = (table["treatment"] == Treatment.RIPPED).astype(float)
    zones = _complete_zones(table)
    level = _dummies(table["zone"].to_numpy())
    whole = _fit(table, np.column_stack([level, table["ripped"]]))
    overall = _held(whole.effect(np.eye(whole.beta.size)[-1]), table["strip"].nunique() - level.shape[1] - 2)
    by_zone: dict[int, Effect] = {}
    zone_cov = np.zeros((len(zones), len(zones)))
    if len(zones) > 1:
        within = (table["zone"].to_numpy()[:, None] == zones) * table["ripped"].to_numpy()[:, None]
        others = table["ripped"] * ~table["zone"].isin(zones)
        columns = [level, within] + ([others.to_numpy(float)[:, None]] if others.any() else [])
        apart = _fit(table, np.column_stack(columns))
        first = 1 + level.shape[1]
        zone_cov = apart.beta_cov[first : first + len(zones), first : first + len(zones)]
        for at, zone in enumerate(zones):
            between = table.loc[table["zone"] == zone, "strip"].nunique() - 2
            by_zone[int(zone)] = _held(apart.effect(np.eye(apart.beta.size)[first + at]), between)
    return StripEffects(overall=overall, by_zone=by_zone, zone_cov=zone_cov, model=_model(whole))


def _fit(table: pd.DataFrame, columns: Floats) -> Effects:
    group = table["strip"].to_numpy() if table["strip"].nunique() >= _LEAST_STRIPS else None
    data = observe(table["x_m"], table["y_m"], table["value"], trend=columns)
    return fit_effects(data, FAMILY, group)


def _held(effect: Effect, between_strips: int) -> Effect:
    """The effect with at least as many degrees of freedom as there are between strips."""
    return Effect(estimate=effect.estimate, se=effect.se, df=max(effect.df, float(between_strips)))


def _complete_zones(table: pd.DataFrame) -> Ints:
    """Zones in which both treatments were harvested."""
    both = table[table["zone"] > 0].groupby("zone")["treatment"].nunique()
    return np.asarray(both.index[both == len(Treatment)], dtype=np.int64)


def _dummies(zone: Ints) -> Floats:
    """Columns (n, zones - 1) of the level of each zone over that of the first."""
    return np.asarray(zone[:, None] == np.unique(zone)[1:], dtype=float)


def _model(effects: Effects) -> dict[str, float]:
    part = effects.covariance.structures[0]
    return {
        "range_m": part.length_m * EFFECTIVE_RANGE[part.family],
        "sill": part.sill,
        "noise": effects.covariance.noise,
        "strip_variance": effects.group_variance,
    }


def paired_t(differences: Floats) -> Effect | None:
    """Mean of independent differences with its error and degrees of freedom [student1908]; None of fewer than two.

    >>> one = paired_t(np.array([1.0, 2.0, 3.0]))
    >>> one.estimate, round(one.se, 4), one.df
    (2.0, 0.5774, 2.0)
    """
    n = len(differences)
    if n < 2:
        return None
    return Effect(
        estimate=float(np.mean(differences)), se=float(np.std(differences, ddof=1) / np.sqrt(n)), df=float(n - 1)
    )


def pair_differences(means: pd.DataFrame) -> pd.Series:
    """Ripped less unripped of each pair whose strips were both harvested, by pair; means where it has several."""
    paired = means[means["pair"] > 0].pivot_table(index="pair", columns="treatment", values="mean")
    if not set(Treatment) <= set(paired.columns):
        return pd.Series(dtype=float)
    return (paired[Treatment.RIPPED] - paired[Treatment.UNRIPPED]).dropna()


def pool(by_zone: Mapping[int, Effect], zone_cov: Floats) -> dict[int, Effect]:
    """Effects of zones under a common mean and spread.

    The true effects are normal about a mean with a spread; both are integrated out, with a flat prior on the mean and a
    half-normal one of two standard errors on the spread, which two or three zones can hardly tell [gelman2006].

    Parameters
    ----------
    zone_cov : (zones, zones)
        Covariance of the errors of the estimates.

    Returns
    -------
    Zone to effect, with the degrees of freedom of the zone's own
    """
    estimates = np.array([effect.estimate for effect in by_zone.values()])
    scale = float(np.sqrt(np.mean(np.diag(zone_cov))))
    ones, one = np.ones(len(estimates)), np.eye(len(estimates))
    weights, means, variances = [], [], []
    for spread in _SPREADS:
        true = (spread * scale) ** 2 * one
        w = np.linalg.inv(zone_cov + true)
        known = float(ones @ w @ ones)
        middle = float(ones @ w @ estimates) / known
        off = estimates - middle
        log_weight = 0.5 * np.linalg.slogdet(w)[1] - 0.5 * np.log(known) - 0.5 * off @ w @ off - spread**2 / 8.0
        keep = true @ w  # share of its own distance from the mean that a zone keeps
        left = (one - keep) @ ones
        weights.append(log_weight)
        means.append(middle + keep @ off)
        variances.append(np.diag(true - keep @ true) + left**2 / known)
    share = np.exp(np.array(weights) - max(weights))
    share /= share.sum()
    mean = share @ np.array(means)
    variance = share @ (np.array(variances) + (np.array(means) - mean) ** 2)
    return {
        zone: Effect(estimate=float(mean[at]), se=float(np.sqrt(variance[at])), df=effect.df)
        for at, (zone, effect) in enumerate(by_zone.items())
    }
