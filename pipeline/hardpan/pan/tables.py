"""Tables beside the features, by depth slice and probing date, and how many insertions stand over a pan."""

import itertools

import numpy as np
import pandas as pd
from scipy.special import ndtr

from hardpan.core.arrays import Bools, Floats
from hardpan.pan.readings import Readings
from hardpan.records.pan import DATES_TO_MM

MOST_WEIGHT = 5.0
"""A pan that few insertions were deep enough to see stands for those that were not; more than this many each, and one
long rod would speak for the paddock (design)."""


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


def share_with_pan(top_mm: Floats, soft_to_mm: Floats) -> float:
    """Share of the insertions with a pan, those that ended above it counted in; NaN without insertions.

    Parameters
    ----------
    top_mm : Floats
        Top of each pan, shape (insertion,); NaN without one.
    soft_to_mm : Floats
        Depth above which no pan begins, shape (insertion,); NaN with a pan, and where nothing is known.
    """
    known = np.isfinite(top_mm) | np.isfinite(soft_to_mm)
    if not known.any():
        return float("nan")
    return float(min(1.0, np.nansum(weigh_pans(top_mm, soft_to_mm)) / known.sum()))


def chance_below(top_mm: Floats, soft_to_mm: Floats, *, from_mm: float, to_mm: float) -> Floats:
    """Chance that a pan begins below the ground read as soft, given that there is one, shape (insertion,).

    0 where a pan was seen or the ground is soft down to `to_mm`.

    Parameters
    ----------
    top_mm, soft_to_mm : Floats
        As for `share_with_pan`.
    from_mm, to_mm : float
        Depths between which a pan can begin.

    Notes
    -----
    Weighted share of the tops that lie deeper; one more pan that begins anywhere between the two depths with the same
    chance is added to them, so that few tops do not make it certain.
    """
    pans = np.isfinite(top_mm)
    tops, weight = top_mm[pans], weigh_pans(top_mm, soft_to_mm)[pans]
    soft = np.clip(np.nan_to_num(soft_to_mm, nan=to_mm), from_mm, to_mm)
    order = np.argsort(tops, kind="stable")
    from_here = np.append(np.cumsum(weight[order][::-1])[::-1], 0.0)
    deeper = from_here[np.searchsorted(tops[order], soft, side="right")]
    anywhere = (to_mm - soft) / max(to_mm - from_mm, 1e-9)
    chance: Floats = (deeper + anywhere) / (weight.sum() + 1.0)
    return np.where(pans | ~(soft_to_mm < to_mm), 0.0, chance)


def chance_wrong(kpa: Floats, se_kpa: Floats, threshold_kpa: float) -> Floats:
    """Chance that the highest reading lies on the other side of the threshold than it says, shape (insertion,).

    Parameters
    ----------
    kpa, se_kpa : Floats
        Highest reading of each insertion and its standard error, shape (insertion,); NaN where none is stated.
    threshold_kpa : float
        The threshold.
    """
    stated = se_kpa > 0
    return np.where(stated, ndtr(-np.abs(kpa - threshold_kpa) / np.where(stated, se_kpa, 1.0)), 0.0)


def weigh_pans(top_mm: Floats, soft_to_mm: Floats) -> Floats:
    """Insertions that each pan stands for, shape (insertion,); NaN without a pan.

    Notes
    -----
    One over the share of insertions that reach a pan's top, by the product-limit estimate of the depths reached, whose
    sum is the product-limit estimate of the number of pans (kaplan1958); at most `MOST_WEIGHT`.
    """
    pans: Bools = np.isfinite(top_mm)
    tops, ends = np.sort(top_mm[pans]), np.sort(soft_to_mm[np.isfinite(soft_to_mm)])
    depth, count = np.unique(ends, return_counts=True)
    # pans that begin where an insertion ends were seen before it ended
    seen, ended = np.searchsorted(tops, depth, "right"), np.searchsorted(ends, depth)
    at_risk = len(tops) - seen + len(ends) - ended
    reach = np.concatenate([[1.0], np.cumprod(1.0 - count / np.maximum(at_risk, 1))])
    share = reach[np.searchsorted(depth, np.where(pans, top_mm, 0.0))]
    return np.where(pans, 1.0 / np.maximum(share, 1.0 / MOST_WEIGHT), np.nan)
