"""When to rip again, how deep then, and what that costs more."""

from collections.abc import Callable

import pandas as pd

from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.plan import Plan
from hardpan.records.quantity import Quantity
from hardpan.records.season import HistorySettings
from hardpan.records.soils import SoilType

COLUMNS = ("zone", "seasons_low", "seasons_high", "depth_mm", "costs_rise", "why")


def when_again(
    plan: Plan,
    catalog: Catalog,
    seasons_of: Callable[[SoilType], Quantity],
    history: HistorySettings,
    *,
    traffic: str,
) -> pd.DataFrame:
    """Give one row a ripped zone: after how many seasons, at which depth, whether the cost rises, and why.

    Parameters
    ----------
    seasons_of : callable
        Seasons the loosening lasts on a soil type.
    traffic : str
        The traffic that goes with them, in words.
    """
    rows = []
    last = _last_pass(history)
    ripped = plan.zones[plan.zones["depth_mm"] > 0]
    for zone, name, depth_mm in zip(ripped["zone"], ripped["soil_type"], ripped["depth_mm"], strict=True):
        low, high = seasons_of(catalog.soils[name]).span
        next_mm, why_depth = _next_depth(catalog, catalog.soils[name], float(depth_mm))
        until = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        rows.append(
            {
                "zone": zone,
                "seasons_low": low,
                "seasons_high": high,
                "depth_mm": next_mm,
                "costs_rise": next_mm > depth_mm,
                "why": f"On {name}, {traffic}, loosening lasts {until} seasons; {why_depth}.{last}",
            }
        )
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _last_pass(history: HistorySettings) -> str:
    if history.last_ripped is None:
        return ""
    when = f"in {history.last_ripped}"
    when = when if history.season is None else f"{history.season - history.last_ripped} seasons ago, {when}"
    depth = "" if history.last_depth_mm is None else f", and went to {history.last_depth_mm:.0f} mm"
    return f" The last pass was {when}{depth}."


def _next_depth(catalog: Catalog, soil: SoilType, depth_mm: float) -> tuple[float, str]:
    """Give the usual depth of the next ripping and why."""
    deepest = catalog.ripper.max_depth.value
    if soil.deeper_next is None:
        return depth_mm, "then no deeper, the clay gives nothing back"
    if depth_mm >= deepest:
        return depth_mm, f"then no deeper, {deepest:.0f} mm is all the ripper can do"
    next_mm = min(depth_mm + soil.deeper_next.value, deepest)
    low, high = (100.0 * ((next_mm / depth_mm) ** p - 1.0) for p in catalog.effort.depth_exponent.span)
    return next_mm, (
        f"the ground below the last pass packs harder, so the next usually goes {next_mm - depth_mm:.0f} mm deeper "
        f"and pulls {low:.0f} to {high:.0f} % harder"
    )


def too_soon(
    plan: Plan, catalog: Catalog, seasons_of: Callable[[SoilType], Quantity], history: HistorySettings
) -> Issues:
    """Say where the last ripping should still hold."""
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
