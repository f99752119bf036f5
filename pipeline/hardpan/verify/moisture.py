"""How unripped ground reads on the day of the check beside the day of the survey: what moisture makes of a reading."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

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
