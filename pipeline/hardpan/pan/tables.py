"""Tables beside the features: mean cone index by depth slice, and by probing date."""

import itertools

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.pan.presence import share_with_pan
from hardpan.pan.readings import Readings
from hardpan.records.pan import DATES_TO_MM


def slice_readings(readings: Readings, slice_mm: float, insertion: pd.Series) -> pd.DataFrame:
    """Mean cone index (kPa) by depth slice: one row an insertion, columns mid depths, NaN where unread."""
    deepest_mm = float(np.fmax.reduce(readings.depth_mm + readings.thickness_mm / 2.0, axis=None, initial=0.0))
    edges = np.arange(max(1, round(np.ceil(deepest_mm / slice_mm))) + 1) * slice_mm
    means = {(upper + lower) / 2.0: mean_within(readings, upper, lower) for upper, lower in itertools.pairwise(edges)}
    return pd.DataFrame(means, index=pd.Index(insertion, name="insertion"))


def mean_within(readings: Readings, upper_mm: float, lower_mm: float) -> Floats:
    """Mean cone index (kPa) of each insertion between two depths; NaN where unread.

    A layer counts with the share of it that lies between them; a point reading on the boundary of two slices counts
    half in each.
    """
    depth, half, value = readings.depth_mm, readings.thickness_mm / 2.0, readings.cone_index_kpa
    overlap = np.maximum(np.minimum(depth + half, lower_mm) - np.maximum(depth - half, upper_mm), 0.0)
    inside = (depth >= upper_mm) & (depth <= lower_mm)
    point = np.where((depth == upper_mm) | (depth == lower_mm), 0.5, 1.0) * inside
    weight = np.where(np.isnan(value), 0.0, np.where(half > 0, overlap, point))
    total = weight.sum(axis=1)
    means: Floats = (weight * np.nan_to_num(value)).sum(axis=1) / np.where(total > 0, total, np.nan)
    return means


def compare_dates(readings: Readings, about: pd.DataFrame) -> pd.DataFrame:
    """Probing dates compared with the first, one row each.

    Parameters
    ----------
    readings : Readings
        Packed readings.
    about : pd.DataFrame
        `date`, `site`, `top_mm` and `soft_to_mm` of each insertion.

    Returns
    -------
    pd.DataFrame
        `date`, `insertions`, `sites`, `mean_kpa` (of 0-300 mm) and its standard error `se_kpa`, `present_share` (of
        the insertions that can tell), `difference_kpa` from the first date and its standard error
        `difference_se_kpa`. Insertions of a site share its ground: the errors are those of the site means.
    """
    about = about.assign(kpa=mean_within(readings, 0.0, DATES_TO_MM))
    sites = about.groupby(["date", "site"])["kpa"].mean().groupby("date")
    shares = {
        date: share_with_pan(part["top_mm"].to_numpy(), part["soft_to_mm"].to_numpy())
        for date, part in about.groupby("date")
    }
    table = pd.DataFrame(
        {
            "insertions": about.groupby("date").size(),
            "sites": about.groupby("date")["site"].nunique(),
            "mean_kpa": sites.mean(),
            "se_kpa": sites.sem(),
            "present_share": pd.Series(shares),
        }
    )
    first = table.iloc[0]
    table["difference_kpa"] = table["mean_kpa"] - first["mean_kpa"]
    table["difference_se_kpa"] = np.hypot(table["se_kpa"], first["se_kpa"])
    table.iloc[0, -2:] = np.nan
    return table.rename_axis("date").reset_index()
