"""The one sentence a grower understands."""

import math

import numpy as np
import pandas as pd

from hardpan.core.money import sign_of
from hardpan.records.plan import Plan

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")

LISTED_DEPTHS = 4
"""More depths than this are given as a range."""

EITHER_WAY = (0.4, 0.6)
"""Ripping or leaving is open where ripping pays in this share of the draws."""


def headline(
    plan: Plan,
    strategies: pd.DataFrame,
    seasons: tuple[float, float],
    *,
    days: float,
    currency: str,
    usual: str,
    amendments: float = 0.0,
) -> str:
    """Give where to rip, at what cost, and whether it pays.

    Parameters
    ----------
    seasons : (float, float)
        Fewest and most seasons the return is counted for.
    usual : str
        Name of the strategy to hold a paddock left alone against.
    amendments : float
        What lime and gypsum cost, money.
    """
    sign, total_ha = sign_of(currency), plan.zones["area_ha"].sum()
    ours = strategies.iloc[0]
    ground = plan.zones[plan.zones["kind"] == "ground"]
    either = _open_ha(plan)
    again = f" {_ha(either)} ha could go either way: probe again there." if either >= 0.05 else ""
    if ours["ripped_ha"] <= 0:
        instead = strategies[strategies["strategy"] == usual].iloc[0]
        return (
            f"Leave all {_ha(total_ha)} ha unripped: no depth is expected to pay here."
            f"{_if_ripped(instead, sign)}{again}"
        )
    left_ha = ground.loc[ground["depth_mm"] <= 0, "area_ha"].sum()
    spread = f" (and {amendments / ours['ripped_ha']:.0f} {sign}/ha of lime and gypsum)" if amendments > 0 else ""
    leave = f", leave {_ha(left_ha)} ha" if left_ha >= 0.05 else ""
    return (
        f"Rip {_ha(ours['ripped_ha'])} of {_ha(total_ha)} ha in {_depths(ground)}{leave}: "
        f"about {ours['cost'] / ours['ripped_ha']:.0f} {sign}/ha{spread}, "
        f"{_days(days)} and {_round(ours['fuel_l']):,} L; {_outcome(ours, seasons, sign)}.{again}"
    )


def _depths(ground: pd.DataFrame) -> str:
    depths = sorted({int(depth) for depth in ground["depth_mm"] if depth > 0})
    count = NUMBERS[len(depths)] if len(depths) < len(NUMBERS) else str(len(depths))
    if len(depths) == 1:
        return f"one depth ({depths[0]} mm)"
    if len(depths) > LISTED_DEPTHS:
        return f"{count} depths ({depths[0]} to {depths[-1]} mm)"
    return f"{count} depths ({', '.join(map(str, depths[:-1]))} and {depths[-1]} mm)"


def _outcome(ours: pd.Series, seasons: tuple[float, float], sign: str) -> str:
    net, low, high = (ours[end] / ours["ripped_ha"] for end in ("net", "net_low", "net_high"))
    word = f"return {net:.0f}" if net >= 0 else f"lose {-net:.0f}"
    return (
        f"expected to {word} {sign}/ha over {_seasons(*seasons)} "
        f"(likely range {low:.0f} to {high:.0f}, chance of a loss {100 * ours['loss_probability']:.0f} %)"
    )


def _seasons(fewest: float, most: float) -> str:
    words = [NUMBERS[int(n)] if n == int(n) and n < len(NUMBERS) else f"{n:g}" for n in (fewest, most)]
    return f"{words[1]} season{'s' if most > 1 else ''}" if fewest == most else f"{words[0]} to {words[1]} seasons"


def _if_ripped(usual: pd.Series, sign: str) -> str:
    if usual["ripped_ha"] <= 0:
        return ""
    net = usual["net"] / usual["ripped_ha"]
    word = f"lose about {-net:.0f}" if net < 0 else f"return about {net:.0f}"
    return f" Ripping {_ha(usual['ripped_ha'])} ha at {usual['depth_mm']:.0f} mm would {word} {sign}/ha."


def _ha(area: float) -> str:
    return f"{area:.1f}" if area < 9.95 else f"{area:.0f}"


def _days(days: float) -> str:
    whole = max(1, math.ceil(days))
    return "1 day" if whole == 1 else f"{whole} days"


def _round(litres: float) -> int:
    """Give litres to two significant digits."""
    step: int = 10 ** max(0, int(math.log10(max(litres, 1.0))) - 1)
    return round(litres / step) * step


def _open_ha(plan: Plan) -> float:
    """Give the ground where ripping, as planned or as the next best to leaving, is about as likely to pay as not."""
    ripped = plan.zones["depth_mm"].to_numpy() > 0
    beside = plan.runner_up_returns
    pays = (np.where(ripped[:, np.newaxis], plan.returns, beside) > 0.0).mean(axis=1)
    is_open = (pays >= EITHER_WAY[0]) & (pays <= EITHER_WAY[1])
    return float(plan.zones.loc[is_open & (plan.zones["kind"] == "ground"), "area_ha"].sum())
