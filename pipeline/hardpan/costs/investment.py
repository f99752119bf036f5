"""Ripping as an investment: net present value, payback, break-even response."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.records.plan import Plan

COLUMNS = (
    "zone",
    "npv_per_ha",
    "payback_seasons",
    "break_even_t_per_ha",
    "gain_t_per_ha",
    "break_even_first_year_t_per_ha",
    "lime_removed_kg_per_ha",
)


def invest(
    plan: Plan, lines: pd.DataFrame, weights: Mapping[str, Floats], *, grain_per_t: float, lime_kg_per_t: float
) -> pd.DataFrame:
    """One row a ripped zone and `total`.

    `break_even_t_per_ha` is cost over price: the extra grain that pays, whenever it is harvested. `gain_t_per_ha` is
    the gain expected of the first season, `break_even_first_year_t_per_ha` the one that would just pay together with
    the seasons after it, `lime_removed_kg_per_ha` the lime (as CaCO3) that the first season's gain takes off.

    Parameters
    ----------
    weights : soil type -> array of shape (n_seasons,)
        Expected discounted share of the first season's gain, by season.
    grain_per_t : float
        Expected price of grain.
    lime_kg_per_t : float
        Lime taken off with a tonne of grain; NaN: not known.
    """
    amounts = lines.pivot_table(index="zone", columns="item", values="amount", aggfunc="sum")
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    rows, paid, first = [], np.zeros(max((len(w) for w in weights.values()), default=0)), 0.0
    for zone, soil, area_ha in zip(ripped["zone"].astype(str), ripped["soil_type"], ripped["area_ha"], strict=True):
        benefit, weight = amounts.loc[zone, "benefit"], weights[soil]
        by_season = benefit * weight / weight.sum()
        rows.append(_row(zone, amounts.loc[zone] / area_ha, by_season / area_ha, weight.sum(), grain_per_t))
        paid[: len(by_season)] += by_season
        first += benefit / weight.sum()
    if rows:
        area_ha = ripped["area_ha"].sum()
        lasts = paid.sum() / first if first else 1.0
        rows.append(_row("total", amounts.loc["total"] / area_ha, paid / area_ha, lasts, grain_per_t))
    table = pd.DataFrame(rows, columns=[*COLUMNS])
    return table.assign(lime_removed_kg_per_ha=lime_kg_per_t * table["gain_t_per_ha"])


def _row(zone: str, per_ha: pd.Series, by_season: Floats, lasts: float, grain_per_t: float) -> dict[str, object]:
    cost = float(per_ha["cost"])
    grain = grain_per_t if grain_per_t > 0 else float("nan")
    return {
        "zone": zone,
        "npv_per_ha": float(per_ha["net return"]),
        "payback_seasons": payback_seasons(cost, by_season),
        "break_even_t_per_ha": cost / grain,
        "gain_t_per_ha": float(by_season.sum()) / lasts / grain,
        "break_even_first_year_t_per_ha": cost / lasts / grain,
    }


def payback_seasons(cost: float, by_season: Floats) -> float:
    """Seasons until the discounted returns have paid the cost, counted in parts; NaN where they never do.

    Parameters
    ----------
    cost : float
        Money.
    by_season : array of shape (n_seasons,)
        Discounted returns of each season, money.

    >>> payback_seasons(150.0, np.array([100.0, 80.0, 60.0]))
    1.625
    """
    if cost <= 0.0:
        return 0.0
    paid = np.concatenate([[0.0], np.cumsum(by_season)])
    reached = np.flatnonzero(paid >= cost)
    if not len(reached):
        return float("nan")
    k = int(reached[0])
    return float(k - (paid[k] - cost) / (paid[k] - paid[k - 1]))
