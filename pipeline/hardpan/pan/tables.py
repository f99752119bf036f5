"""Tables beside the features: mean cone index by depth slice, and by probing date."""

import itertools

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.records.pan import State

DATE_DEPTH_MM = 300.0
"""Probing dates are compared on the mean above this depth, where the weather shows first."""


def slice_readings(depth_mm: Floats, thickness_mm: Floats, cone_index_kpa: Floats, slice_mm: float) -> pd.DataFrame:
    """Give the mean cone index (kPa) of each insertion by depth slice; columns are mid depths, NaN where unread.

    A layer reading counts for the share of the layer that lies in the slice.
    """
    deepest = float(np.fmax.reduce(depth_mm + thickness_mm / 2.0, axis=None, initial=0.0))
    n_slices = max(1, int(np.floor(deepest / slice_mm)) + (deepest % slice_mm > 0 or bool((thickness_mm == 0).any())))
    edges = np.arange(n_slices + 1) * slice_mm
    means = {
        float((upper + lower) / 2): mean_within(depth_mm, thickness_mm, cone_index_kpa, upper, lower)
        for upper, lower in itertools.pairwise(edges)
    }
    return pd.DataFrame(means).dropna(axis=1, how="all")


def mean_within(
    depth_mm: Floats, thickness_mm: Floats, cone_index_kpa: Floats, upper_mm: float, lower_mm: float
) -> Floats:
    """Give the mean cone index (kPa) of each insertion from `upper_mm` to above `lower_mm`; NaN where unread."""
    half = thickness_mm / 2.0
    overlap = np.minimum(depth_mm + half, lower_mm) - np.maximum(depth_mm - half, upper_mm)
    point = (depth_mm >= upper_mm) & (depth_mm < lower_mm)
    weight = np.where(thickness_mm > 0, np.maximum(overlap, 0.0), point)
    weight = np.where(np.isfinite(cone_index_kpa), weight, 0.0)
    total = weight.sum(axis=1)
    with np.errstate(invalid="ignore"):
        means: Floats = (weight * np.nan_to_num(cone_index_kpa)).sum(axis=1) / np.where(total > 0, total, np.nan)
    return means


def compare_dates(date: np.ndarray, shallow_kpa: Floats, state: np.ndarray) -> pd.DataFrame:
    """Give one row a probing date: insertions, mean and standard error of the shallow readings, share with a pan."""
    table = pd.DataFrame({"date": date, "kpa": shallow_kpa, "state": state})
    usable: Bools = state != State.UNUSABLE
    grouped = table.groupby("date", sort=True)
    return pd.DataFrame(
        {
            "insertions": grouped.size(),
            "mean_kpa": grouped["kpa"].mean(),
            "se_kpa": grouped["kpa"].sem(),
            "present_share": table[usable]
            .groupby("date")["state"]
            .agg(lambda states: (states == State.PRESENT).mean()),
        }
    ).reset_index()
