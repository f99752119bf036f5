"""Ripping as an investment: net present value, payback, break-even response, and when to rip again."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.money import lasting, season_weights
from hardpan.records.advice import NextDepth
from hardpan.records.catalog import Catalog
from hardpan.records.decision import HistorySettings, SeasonSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.plan import Plan
from hardpan.records.reasons import Limit
from hardpan.records.soils import SoilType

COLUMNS = (
    "zone", "npv_per_ha", "payback_seasons", "break_even_t_per_ha", "gain_t_per_ha", "break_even_first_year_t_per_ha",
    "lime_removed_kg_per_ha",
)  # fmt: skip

WHEN_AGAIN = (
    "zone", "seasons_low", "seasons_high", "depth_mm", "costs_rise", "soil_type", "controlled_traffic", "next_depth",
    "limit", "deepest_mm", "deeper_mm", "draft_low", "draft_high", "between_mm", "between_seasons", "between_per_ha",
    "last_ripped", "seasons_since", "last_depth_mm",
)  # fmt: skip

BROKEN = 0.9
"""A pan is passed where the foot is below it with this chance: nothing is left deeper that would pay for a pass."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Zone:
    """A ripped zone with all depths that were weighed for it."""

    depth_mm: float
    setup: str
    soil: SoilType
    options: pd.DataFrame
    """Its rows of `Plan.candidates`."""


def when_again(plan: Plan, catalog: Catalog, season: SeasonSettings, history: HistorySettings) -> pd.DataFrame:
    """One row a ripped zone, columns of `Ledger.when_again`.

    The next pass over the whole depth goes as deep as this one, which was the depth that returns most there; deeper
    only where this one had to stay short of the pan's bottom for want of moist soil.
    """
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    rows = []
    for zone, name, depth_mm, setup in ripped[["zone", "soil_type", "depth_mm", "setup"]].itertuples(index=False):
        options = plan.candidates[plan.candidates["zone"] == zone]
        ground = _Zone(depth_mm=float(depth_mm), setup=setup, soil=catalog.soils[name], options=options)
        low, high = lasting(ground.soil, controlled_traffic=season.controlled_traffic)[1].span
        between = _between(ground, catalog, season)
        if between:
            low = high = catalog.response.between.full_seasons.value
        rows.append(
            {
                "zone": zone,
                "seasons_low": low,
                "seasons_high": high,
                "soil_type": name,
                "controlled_traffic": season.controlled_traffic,
                **_next_depth(ground, catalog),
                **(between or dict.fromkeys(("between_mm", "between_seasons", "between_per_ha"), math.nan)),
                **_last_pass(history),
            }
        )
    return pd.DataFrame(rows, columns=[*WHEN_AGAIN])


def _last_pass(history: HistorySettings) -> dict[str, float]:
    ripped, season, depth_mm = history.last_ripped, history.season, history.last_depth_mm
    return {
        "last_ripped": math.nan if ripped is None else ripped,
        "seasons_since": math.nan if season is None or ripped is None else season - ripped,
        "last_depth_mm": math.nan if depth_mm is None else depth_mm,
    }


def _next_depth(zone: _Zone, catalog: Catalog) -> dict[str, Any]:
    """Depth of the next pass over the whole depth, why, and how much more draft it takes."""
    why, next_mm, limit = _why(zone)
    low, high = ((next_mm / zone.depth_mm) ** exponent - 1.0 for exponent in catalog.effort.depth_exponent.span)
    return {
        "depth_mm": next_mm,
        "costs_rise": next_mm > zone.depth_mm,
        "next_depth": str(why),
        "limit": limit,
        "deepest_mm": catalog.ripper.max_depth.value,
        "deeper_mm": next_mm - zone.depth_mm,
        "draft_low": low,
        "draft_high": high,
    }


def _why(zone: _Zone) -> tuple[NextDepth, float, str]:
    """What stands against a deeper pass, the next depth, and the limit that holds it."""
    rows = zone.options[zone.options["setup"] == zone.setup].sort_values("depth_mm")
    here, deeper = (rows[rows["depth_mm"] == zone.depth_mm], rows[rows["depth_mm"] > zone.depth_mm])
    if len(here) and here["breach_probability"].iloc[0] >= BROKEN:
        return NextDepth.BROKEN, zone.depth_mm, ""
    if not len(deeper):
        return NextDepth.RIPPER, zone.depth_mm, ""
    limit = str(deeper["limit"].iloc[0])
    if limit == Limit.MOIST:
        dry = deeper[(deeper["limit"] == Limit.MOIST).cumprod().astype(bool)]
        enough = dry["breach_probability"].to_numpy() >= BROKEN
        return NextDepth.DEEPER, float(dry["depth_mm"].iloc[int(enough.argmax()) if enough.any() else -1]), limit
    return (NextDepth.HELD if limit else NextDepth.COST), zone.depth_mm, limit


def _between(zone: _Zone, catalog: Catalog, season: SeasonSettings) -> dict[str, float]:
    """The shallower pass between two deep ones, empty where none pays.

    Notes
    -----
    Wheels pack the top of what was loosened first. A pass after k seasons gives back what is lost by then of the gain
    G of its depth, 1 - p^k, for the seasons m until the next deep pass: G (1 - p^k) W(m) / W(n) less its cost, with W
    the discounted weights of seasons and n those that the gain is counted for.
    """
    practice = catalog.response.between
    kept, seasons = lasting(zone.soil, controlled_traffic=season.controlled_traffic)
    rows = zone.options[zone.options["allowed"] & (zone.options["depth_mm"] > 0)]
    rows = rows[(rows["depth_mm"] - practice.depth.value).abs() <= practice.tolerance.value]
    rows = rows[rows["depth_mm"] <= zone.depth_mm - practice.least_shallower.value]
    if season.controlled_traffic or not len(rows):
        return {}
    after, full = practice.seasons.value, practice.full_seasons.value
    weight = {
        n: season_weights(np.array([kept.value]), n, catalog.prices.discount_rate.value).sum()
        for n in (full - after, seasons.value)
    }
    back = (1.0 - kept.value**after) * weight[full - after] / weight[seasons.value]
    net = (rows["net_per_ha"] + rows["cost_per_ha"]) * back - rows["cost_per_ha"]
    best = net.idxmax()
    if net[best] <= 0.0:
        return {}
    depth_mm = float(rows.loc[best, "depth_mm"])
    return {"between_mm": depth_mm, "between_seasons": after, "between_per_ha": float(net[best])}


def too_soon(plan: Plan, catalog: Catalog, season: SeasonSettings, history: HistorySettings) -> Issues:
    """Remark on zones where the last ripping should still hold."""
    if history.last_ripped is None or history.season is None:
        return ()
    since = history.season - history.last_ripped
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    early = [
        f"{zone} ({soil})"
        for zone, soil in zip(ripped["zone"], ripped["soil_type"], strict=True)
        if since < lasting(catalog.soils[soil], controlled_traffic=season.controlled_traffic)[1].span[0]
    ]
    if not early:
        return ()
    what = f"zones {', '.join(early)} were ripped only {since} seasons ago and the loosening should still hold"
    done = "priced as asked; look for wheel traffic or wet ripping before paying for it again"
    return (Issue("costs", "ripped-again-soon", what, done),)
