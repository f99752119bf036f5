"""When to rip again, how deep then, and what that costs more."""

import math
from collections.abc import Callable

import pandas as pd

from hardpan.records.advice import NextDepth
from hardpan.records.catalog import Catalog
from hardpan.records.decision import HistorySettings
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.plan import Plan
from hardpan.records.quantity import Quantity
from hardpan.records.soils import SoilType

COLUMNS = (
    "zone",
    "seasons_low",
    "seasons_high",
    "depth_mm",
    "costs_rise",
    "soil_type",
    "controlled_traffic",
    "next_depth",
    "deepest_mm",
    "deeper_mm",
    "draft_low",
    "draft_high",
    "last_ripped",
    "seasons_since",
    "last_depth_mm",
)


def when_again(
    plan: Plan,
    catalog: Catalog,
    seasons_of: Callable[[SoilType], Quantity],
    history: HistorySettings,
    *,
    controlled_traffic: bool,
) -> pd.DataFrame:
    """One row a ripped zone: after how many seasons, at which depth, whether the cost rises, and from what.

    Parameters
    ----------
    seasons_of : callable
        Seasons the loosening lasts on a soil type with the traffic there is.
    """
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    rows = []
    for zone, name, depth_mm in zip(ripped["zone"], ripped["soil_type"], ripped["depth_mm"], strict=True):
        low, high = seasons_of(catalog.soils[name]).span
        rows.append(
            {
                "zone": zone,
                "seasons_low": low,
                "seasons_high": high,
                "soil_type": name,
                "controlled_traffic": controlled_traffic,
                **_next_depth(catalog, catalog.soils[name], float(depth_mm)),
                **_last_pass(history),
            }
        )
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _last_pass(history: HistorySettings) -> dict[str, float]:
    ripped, season, depth_mm = history.last_ripped, history.season, history.last_depth_mm
    return {
        "last_ripped": math.nan if ripped is None else ripped,
        "seasons_since": math.nan if season is None or ripped is None else season - ripped,
        "last_depth_mm": math.nan if depth_mm is None else depth_mm,
    }


def _next_depth(catalog: Catalog, soil: SoilType, depth_mm: float) -> dict[str, object]:
    """Usual depth of the next ripping, and how much more draft it takes."""
    deepest_mm, next_mm, why = catalog.ripper.max_depth.value, depth_mm, NextDepth.SAME
    if soil.deeper_next is not None:
        why = NextDepth.RIPPER
        if depth_mm < deepest_mm:
            why, next_mm = NextDepth.DEEPER, min(depth_mm + soil.deeper_next.value, deepest_mm)
    low, high = ((next_mm / depth_mm) ** exponent - 1.0 for exponent in catalog.effort.depth_exponent.span)
    return {
        "depth_mm": next_mm,
        "costs_rise": next_mm > depth_mm,
        "next_depth": str(why),
        "deepest_mm": deepest_mm,
        "deeper_mm": next_mm - depth_mm,
        "draft_low": low,
        "draft_high": high,
    }


def too_soon(
    plan: Plan, catalog: Catalog, seasons_of: Callable[[SoilType], Quantity], history: HistorySettings
) -> Issues:
    """Remark on zones where the last ripping should still hold."""
    if history.last_ripped is None or history.season is None:
        return ()
    since = history.season - history.last_ripped
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    early = [
        f"{zone} ({soil})"
        for zone, soil in zip(ripped["zone"], ripped["soil_type"], strict=True)
        if since < seasons_of(catalog.soils[soil]).span[0]
    ]
    if not early:
        return ()
    return (
        Issue(
            outcome=Outcome.WARN,
            stage="costs",
            code="ripped-again-soon",
            what=f"zones {', '.join(early)} were ripped only {since} seasons ago and the loosening should still hold",
            done="priced as asked; look for wheel traffic or wet ripping before paying for it again",
        ),
    )
