"""What probing takes: insertions a site, and time."""

from dataclasses import dataclass

import numpy as np

from hardpan.records.pan import Bottom, PanFeatures
from hardpan.sites.settings import SiteSettings

MINUTES_PER_HOUR = 60.0
METRES_PER_KM = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Variances of the depth of the pan's bottom, mm2."""

    between: float
    """From site to site."""
    within: float
    """From insertion to insertion of one site."""


def own_scatter(usual: Scatter, factor: float, pan: PanFeatures) -> Scatter:
    """Scatter with that within a site as a survey's own insertions tell it, the usual one weighed in.

    Notes
    -----
    (n0 usual + n own) / (n0 + n), n the degrees of freedom of the bottoms seen about those of their site and day, and
    n0 = 1 / (2 ln^2 factor): the logarithm of a standard deviation from so many spreads by ln factor.

    Parameters
    ----------
    factor : float
        Factor either way within which the usual standard deviation within a site lies two times in three.
    """
    seen = pan.insertions[pan.insertions["bottom_kind"] == Bottom.OBSERVED]
    bottom_mm = seen.groupby(["site", "date"], sort=False)["bottom_mm"]
    squares, known = (
        float((seen["bottom_mm"] - bottom_mm.transform("mean")).pow(2).sum()),
        len(seen) - bottom_mm.ngroups,
    )
    before = 0.5 / np.log(factor) ** 2
    return Scatter(between=usual.between, within=float((before * usual.within + squares) / (before + known)))


def best_insertions(scatter: Scatter, minutes_per_site: float, minutes_per_insertion: float) -> float:
    """Insertions a site that tell most of a mean for the time: sqrt(c_site / c_ins * within / between).

    The optimum of nested sampling: the variance (between + within / n) / sites is least at a given time
    sites * (c_site + n c_ins) (textbook result, from memory).

    Examples
    --------
    >>> best_insertions(Scatter(between=100.0, within=400.0), 8.0, 2.0)
    4.0
    """
    if scatter.between <= 0:
        return np.inf if scatter.within > 0 else 1.0
    return float(np.sqrt(minutes_per_site / minutes_per_insertion * scatter.within / scatter.between))


def insertions_of(settings: SiteSettings, scatter: Scatter, spacing_m: float) -> int:
    """Insertions a site: as set, or the best number within what is usual; a site costs the walk to it too."""
    if settings.insertions is not None:
        return settings.insertions
    to_it = walking_hours(spacing_m, settings) * MINUTES_PER_HOUR + settings.minutes_per_site
    best = best_insertions(scatter, to_it, settings.minutes_per_insertion)
    most = max(settings.most_insertions, settings.least_insertions)
    return int(np.clip(np.round(min(best, most)), settings.least_insertions, most))


def walking_hours(length_m: float, settings: SiteSettings) -> float:
    """Time to walk so far."""
    return length_m / METRES_PER_KM / settings.walk_kmh


def probing_hours(n_sites: float, insertions: int, settings: SiteSettings) -> float:
    """Time at the sites, without the walk."""
    return n_sites * (settings.minutes_per_site + insertions * settings.minutes_per_insertion) / MINUTES_PER_HOUR
