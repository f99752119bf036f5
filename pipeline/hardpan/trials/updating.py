"""Response of each soil type given the trial, and whether the ripping paid: prior draws weighted by the harvest."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtr, stdtrit

from hardpan.core.arrays import Floats
from hardpan.geostat import Effect
from hardpan.money import Draws, crop_values, first_year_gains, lasting, season_factors, season_weights
from hardpan.records.trial import LEVEL, Payback, Planned

_DRAWS = 100_000
"""Prior draws; a harvest that agrees with one in a thousand of them leaves a hundred."""

_TAILS = 4.0
"""Degrees of freedom of Student's t about a stated gain: a range somebody stated is no bound, and where the harvest
lies far outside of it the harvest is believed."""

_LEAST_EFFECTIVE = 100.0
"""Draws that have to be left for a mean and two ends: their own error is then a tenth of the spread."""

_LEAST_AGREEMENT = 0.002
"""Chance of a harvest so far from what was expected below which something else is wrong than the gain."""

_PERT = 7.0
"""(value - low) (high - value) over the variance of the distribution that a quantity is drawn from (`Quantity`)."""

_MOST_LOPSIDED = 5.0
"""Distance to one end over that to the other."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """Draws of gains, prices and seasons, and how well each agrees with the harvest."""

    weight: Floats
    """(n_draws,), sum 1."""
    reference: Mapping[str, Floats]
    """Soil type to gain of the reference rip in the reference crop, t/ha, (n_draws,)."""
    first: Mapping[int, Floats]
    """Zone to gain of the season and crop that were harvested, t/ha, (n_draws,)."""
    first_worth: Mapping[int, Floats]
    """Zone to what that harvest brought, money per ha, discounted."""
    worth: Mapping[int, Floats]
    """Zone to what all seasons bring."""
    agrees: Mapping[int, float]
    """Zone to the chance, before the harvest was known, of one as far from the middle of what was expected."""

    @property
    def believable(self) -> bool:
        """Whether enough draws agree with the harvest, and it with them, to go by."""
        return self.effective >= _LEAST_EFFECTIVE and min(self.agrees.values(), default=1.0) >= _LEAST_AGREEMENT

    @property
    def effective(self) -> float:
        """Number of draws that so many weighted ones are worth [kong1994]."""
        return float(1.0 / np.sum(self.weight**2))


def update(effects: Mapping[int, Effect], planned: Planned, season: str, *, seed: int) -> Posterior:
    """Draws of what ripping gives, weighted by the effects that zones showed.

    The gain of a soil type is Student's t about what was stated, nine tenths of it as wide as that of the plan's draws.
    A zone's gain is that of its soil type times what its rip frees of root growth, over that of the reference rip: as
    the plan expected it. The harvest is of one season, dry at its end or not, alike on all zones: without knowing which
    it was, one harvest says little of the mean season.
    """
    catalog = planned.catalog
    drawn, soils = Draws(n_draws=_DRAWS, seed=seed), tuple(dict.fromkeys(planned.zones["soil_type"]))
    stated = first_year_gains(catalog, soils, drawn)
    tails = stdtrit(_TAILS, (np.arange(_DRAWS) + 0.5) / _DRAWS)
    gains = {soil: _with_tails(each, tails) for soil, each in stated.items()}
    rate = catalog.prices.discount_rate.value
    share = {
        soil: season_weights(drawn("persistence", kept), lasts.value, rate)
        for soil in soils
        for kept, lasts in [lasting(catalog.soils[soil], controlled_traffic=planned.controlled_traffic)]
    }
    most = max(kept.shape[1] for kept in share.values())
    factor, values = crop_values(catalog, most, drawn)
    usual = season_factors(catalog.response.season, most, drawn)
    known = _known_season(usual, drawn("dry gain", catalog.response.season.dry_gain), planned, season)
    expected = {soil: float(np.mean(stated[soil] * _sum(kept, usual * values))) for soil, kept in share.items()}
    first, first_worth, worth = {}, {}, {}
    for row in planned.zones.to_dict("records"):
        zone, soil = int(row["zone"]), str(row["soil_type"])
        relative = row["benefit"] / row["area_ha"] / expected[soil] if expected[soil] > 0 else 0.0
        gain = relative * gains[soil]
        first[zone] = factor * known[:, 0] * gain
        first_worth[zone] = values[:, 0] * known[:, 0] * gain / (1.0 + rate)
        worth[zone] = gain * _sum(share[soil], known * values)
    seen = {zone: effect for zone, effect in effects.items() if zone in first}
    log_weight = sum(
        (_log_t((effect.estimate - first[zone]) / effect.se, effect.df) for zone, effect in seen.items()),
        start=np.zeros(_DRAWS),
    )
    weight = np.exp(log_weight - log_weight.max())
    return Posterior(
        weight=weight / weight.sum(),
        reference=gains,
        first=first,
        first_worth=first_worth,
        worth=worth,
        agrees={zone: _agreement(effect, first[zone]) for zone, effect in seen.items()},
    )


def _log_t(t: Floats, df: float) -> Floats:
    """Logarithm of Student's density, a constant left out."""
    return np.asarray(-0.5 * (df + 1.0) * np.log1p(t**2 / df))


def _with_tails(stated: Floats, tails: Floats) -> Floats:
    """Draws in the order of those given, with their mean and their 5 and 95 % points apart, and the `tails` of t.

    Parameters
    ----------
    tails : Floats
        Points of t at the middles of as many equal slices, rising.
    """
    low, high = np.quantile(stated, [0.05, 0.95])
    scale = (high - low) / (2.0 * stdtrit(_TAILS, 0.95))
    return np.asarray(stated.mean() + scale * tails[np.argsort(np.argsort(stated, kind="stable"))])


def _sum(kept: Floats, seasons: Floats) -> Floats:
    """Sum over the seasons a gain lasts, (n_draws,)."""
    return np.asarray((kept * seasons[:, : kept.shape[1]]).sum(axis=1))


def _known_season(factors: Floats, dry_gain: Floats, planned: Planned, season: str) -> Floats:
    """Gain of each season over that of the mean one, the first as it is known to have been."""
    if season == "unknown":
        return factors
    chance = planned.catalog.response.season.dry_chance.value
    first = dry_gain if season == "dry finish" else (1.0 - chance * dry_gain) / (1.0 - chance)
    return np.column_stack([first, factors[:, 1:]])


def _agreement(effect: Effect, expected: Floats) -> float:
    """Two-sided chance of an estimate as far from the middle of what was expected, its own error counted in."""
    below = float(np.mean(stdtr(effect.df, (effect.estimate - expected) / effect.se)))
    return 2.0 * min(below, 1.0 - below)


def list_response(posterior: Posterior, planned: Planned, tried: Mapping[int, Effect]) -> pd.DataFrame:
    """One row a soil type that was tried, columns of `TrialResult.response`."""
    rows = []
    soil_of = planned.zones.set_index("zone")["soil_type"]
    for soil, drawn in posterior.reference.items():
        zones = [zone for zone in tried if zone in soil_of.index and soil_of[zone] == soil]
        if not zones:
            continue
        prior = planned.catalog.soils[soil].first_year_gain
        value, low, high = _ends(drawn, posterior.weight)
        rows.append(
            {
                "soil_type": soil,
                "prior": prior.value,
                "prior_low": prior.span[0],
                "prior_high": prior.span[1],
                "value": value,
                "low": low,
                "high": high,
                "effects": len(zones),
                "agrees": min(posterior.agrees[zone] for zone in zones),
            }
        )
    columns = ["soil_type", "prior", "prior_low", "prior_high", "value", "low", "high", "effects", "agrees"]
    return pd.DataFrame(rows, columns=columns)


def _ends(drawn: Floats, weight: Floats) -> tuple[float, float, float]:
    """Mean and ends of the distribution quantities are drawn from that has the mean and variance of the draws.

    The ends stand as far from the mean as its 5 and 95 % points do, over one another.
    """
    mean = float(weight @ drawn)
    variance = float(weight @ (drawn - mean) ** 2)
    low, high = weighted_quantiles(drawn, weight)
    lopsided = np.clip((mean - low) / max(high - mean, 1e-9), 1.0 / _MOST_LOPSIDED, _MOST_LOPSIDED)
    return mean, mean - float(np.sqrt(_PERT * variance * lopsided)), mean + float(np.sqrt(_PERT * variance / lopsided))


def weighted_quantiles(drawn: Floats, weight: Floats) -> tuple[float, float]:
    """Values between which draws with the weight `LEVEL` lie, as much beyond either end."""
    order = np.argsort(drawn)
    reached = np.cumsum(weight[order]) - 0.5 * weight[order]
    tail = 0.5 * (1.0 - LEVEL)
    low, high = np.interp([tail, 1.0 - tail], reached, drawn[order])
    return float(low), float(high)


def pay_back(posterior: Posterior, planned: Planned) -> Payback:
    """What ripping returned in each zone of the plan and on all that was ripped, tried or not."""
    drawn = Draws(n_draws=_DRAWS, seed=0)
    spread = ndtri(drawn.levels("cost of the pass"))
    rows, totals = [], np.zeros((3, _DRAWS))
    for row in planned.zones.to_dict("records"):
        cost = row["cost"] + spread * (row["cost_high"] - row["cost_low"]) / (2.0 * ndtri(0.95))
        zone, area_ha = int(row["zone"]), float(row["area_ha"])
        first, all_seasons = posterior.first_worth[zone] * area_ha, posterior.worth[zone] * area_ha
        money = np.stack([cost, first - cost, all_seasons - cost])
        totals += money
        rows.append(_returned(str(zone), area_ha, money, posterior.weight))
    rows.insert(0, _returned("all", float(planned.zones["area_ha"].sum()), totals, posterior.weight))
    return Payback(table=pd.DataFrame(rows))


def _returned(group: str, area_ha: float, money: Floats, weight: Floats) -> dict[str, object]:
    cost, first, net = money / area_ha
    low, high = weighted_quantiles(net, weight)
    return {
        "group": group,
        "area_ha": area_ha,
        "cost_per_ha": float(weight @ cost),
        "first_net_per_ha": float(weight @ first),
        "first_paid": float(weight @ (first > 0)),
        "net_per_ha": float(weight @ net),
        "net_low_per_ha": low,
        "net_high_per_ha": high,
        "paid": float(weight @ (net > 0)),
    }
