"""How unripped ground reads on the day of the check beside the day of the survey: what moisture makes of a reading."""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from hardpan.core.arrays import Floats
from hardpan.verify.profiles import Gridded, depths_mm

FROM_MM, TO_MM = 150.0, 600.0
"""Depths that are compared: below what rain and traffic change from day to day, above where few rods reach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """Cone index of the later day over that of the survey, same ground."""

    value: float
    low: float
    high: float
    controls: int
    """Sites on unripped ground it rests on; 0: the water contents are alike."""


def factor_of(controls: Gridded, before: Gridded, *, level: float) -> Factor | None:
    """Factor from control sites and the survey's sites of like ground; None with fewer than two of either.

    The mean logarithm of cone index between `FROM_MM` and `TO_MM` by site; the interval is that of a difference of two
    means with unequal spread (Welch).
    """
    later, earlier = _levels(controls), _levels(before)
    if len(later) < 2 or len(earlier) < 2:
        return None
    parts = [np.var(one, ddof=1) / len(one) for one in (later, earlier)]
    total = sum(parts)
    df = total**2 / max(sum(p**2 / (len(one) - 1) for p, one in zip(parts, (later, earlier), strict=True)), 1e-300)
    half = float(stdtrit(max(df, 1.0), (1.0 + level) / 2.0) * np.sqrt(total)) if total > 0 else 0.0
    middle = float(later.mean() - earlier.mean())
    return Factor(
        value=float(np.exp(middle)),
        low=float(np.exp(middle - half)),
        high=float(np.exp(middle + half)),
        controls=len(later),
    )


def _levels(one: Gridded) -> Floats:
    """Mean logarithm of cone index of each site that was read between the two depths, (n_sites,)."""
    depth = depths_mm()
    kpa = one.kpa[:, (depth >= FROM_MM) & (depth <= TO_MM)]
    read = np.isfinite(kpa).mean(axis=1) > 0.5
    level = np.array([np.log(np.maximum(row[np.isfinite(row)], 1.0)).mean() if ok else np.nan
                      for row, ok in zip(kpa, read, strict=True)])  # fmt: skip
    by_site = one.about.assign(level=level)[read].groupby("site", sort=True)["level"].mean()
    return np.asarray(by_site.to_numpy(float))
