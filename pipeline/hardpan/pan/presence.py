"""How many of a paddock's insertions stand over a pan, and the chance that one begins below what was read."""

import numpy as np
from scipy.special import ndtr

from hardpan.core.arrays import Bools, Floats

MOST_WEIGHT = 5.0
"""A pan that few insertions were deep enough to see stands for those that were not; more than this many each, and one
long rod would speak for the paddock (design)."""


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
