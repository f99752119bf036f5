"""Effect of ripping from the mixed model with spatially correlated errors and an error of each strip."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.geostat import EFFECTIVE_RANGE, Effect, Effects, Family, fit_effects, observe
from hardpan.records.trial import Treatment

FAMILY: Family = "exponential"

_LEAST_STRIPS = 4
"""Fewer strips cannot tell an error of their own from the treatment: the field alone is left then."""


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
