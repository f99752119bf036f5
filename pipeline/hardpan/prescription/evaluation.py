"""What each zone could do, what comes of the choice, and what its expected return is made of."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import (
    Economy,
    Ground,
    Limits,
    Passes,
    ZoneEvaluation,
    by_cover,
    change_price,
    credit_draws,
    machine_limit,
    published_draft_kn,
    setup_credits,
)
from hardpan.prescription.context import ROUNDING, SETTING_ROUNDS, Context, ZoneOutcome
from hardpan.records.catalog import Catalog
from hardpan.records.plan import Makeup
from hardpan.records.reasons import Pull


def evaluate_zones(context: Context, held: Limits) -> ZoneEvaluation:
    """What each zone could do: money, cover, what the decision table credits; `held` (n_zones, n_options) forbids."""
    ground, options, weights = context.ground, context.options, context.weights
    credit = setup_credits(context.catalog, context.judged, context.facts)[1][:, context.setup]
    worth = np.where(context.useful, options.gain, 0.0)
    gain, cost = credit[..., 1] * (weights @ worth), _costs(context)
    allowed = np.array([[limit is None for limit in row] for row in held])
    often = weights * ground.present.mean(axis=0)
    return ZoneEvaluation(
        net=np.where(allowed, gain - cost, -np.inf),
        gain=gain,
        cost=cost,
        loosened=often @ options.loosened / np.maximum(often.sum(axis=1, keepdims=True), ROUNDING),
        breach=weights @ options.breach,
        held=held,
        covered=weights @ options.covered,
        ha=context.zone_ha.sum(axis=1),
        depth_mm=context.depth_mm,
        setup=context.setup,
        credit=credit,
    )


def _costs(context: Context) -> Floats:
    """Expected cost per ha of each option in each zone, (n_zones, n_options)."""
    soils = np.arange(len(context.ground.soils))
    share = context.weights @ (context.ground.soil[:, None] == soils)
    return np.stack(
        [
            part @ context.economy_of(row).cost(time).mean(axis=1)
            for row, (part, time) in enumerate(zip(share, context.turning, strict=True))
        ]
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneWork:
    """The work of some options in one zone, (n_draws, n_options) each."""

    economy: Economy
    """That of the options on the zone's ground."""
    nodes: Ints
    """Nodes that the zone lies on."""
    cost: Floats
    """Money."""
    hours: Floats
    fuel_l: Floats


def zone_work(context: Context, row: int, options: Ints) -> ZoneWork:
    """What it takes to work the zone of one row with each of `options`."""
    zone_ha, turning = context.zone_ha[row], context.turning[row, options]
    nodes = np.flatnonzero(zone_ha > 0)
    part = context.economy_of(row).narrow(options, nodes, zone_ha[nodes])
    everywhere = np.ones((nodes.size, options.size), dtype=bool)
    hours, litres = (part.summed(drawn, everywhere) for drawn in part.work(turning))
    return ZoneWork(
        economy=part, nodes=nodes, cost=part.summed(part.cost(turning), everywhere), hours=hours, fuel_l=litres
    )


def zone_outcome(
    context: Context, evaluation: ZoneEvaluation, row: int, pair: Ints, also: Sequence[int] = ()
) -> ZoneOutcome:
    """What comes of the options `pair` (chosen, runner-up) in the zone of one row, and what those of others break.

    Options `also` taken by other ways to do the work count as pulled, whatever the machine of the context.
    """
    options = np.array([*pair, *also])
    zone_ha, turning, catalog = context.zone_ha[row], context.turning[row, options], context.catalog
    work = zone_work(context, row, options)
    part, nodes = work.economy, work.nodes
    weights = context.weights[row, nodes]
    passes = part.passes.get(str(context.table["soil_type"].iloc[row]), part.passes[context.ground.soil_names[0]])
    hours, litres = work.hours[:, 0], work.fuel_l[:, 0]
    hours_per_ha = float(hours.mean()) / max(float(zone_ha.sum()), ROUNDING)
    at_speed, _ = passes.at(np.ones(options.size), turning)
    present = part.ground.present
    often = present.mean(axis=0) * weights
    useful = np.hstack([context.useful[np.ix_(nodes, pair)], context.in_reach[np.ix_(nodes, options[pair.size :])]])
    totals = part.totals(useful)
    worth = _credited(totals.summed, evaluation.credit[row, options])
    tines = int(passes.tines[0])
    short_of = machine_limit(catalog, int(passes.limited_by[0]), float(passes.tractor_load[0]))
    drawn = {name: float(getattr(passes, name)[0]) for name in ("draft_kn", "drawbar_kw", "engine_kw", "slip")}
    return ZoneOutcome(
        machine={
            "zone": int(context.table["zone"].iloc[row]),
            "tines": tines,
            "width_m": tines * catalog.ripper.spacing.value / 1000.0,
            "equation_kn": _equation_kn(context, row, int(pair[0]), passes),
            **drawn,
            "fuel_l_per_ha": float(litres.mean()) / max(float(zone_ha.sum()), ROUNDING),
            "hours_per_ha": hours_per_ha,
            "field_efficiency": float(
                catalog.effort.field_efficiency.value / turning[0] * at_speed[0] / max(hours_per_ha, ROUNDING)
            ),
            "critical_depth_mm": float(part.section["critical_mm"][0]),
            "limited_by": str(short_of.limit),
        },
        speed_kmh=float(passes.speed_kmh[0]),
        pull=Pull(
            tines=tines,
            all_tines=catalog.ripper.tines,
            passes=int(passes.passes[0]),
            whole=bool(passes.whole[0]),
            short_of=short_of,
            slow_kmh=float(passes.speed_kmh[0]) if _is_slowed(catalog, passes) else np.nan,
        ),
        worth={option: worth[:, pair.size + place] for place, option in enumerate(also)},
        returns=(worth - work.cost)[:, : pair.size],
        hours=hours,
        fuel_l=litres,
        loosened=float(often @ totals.loosened[:, 0] / max(often.sum(), 1e-12)),
        breach=float(weights @ context.options.breach[nodes, pair[0]]),
        bottom_mm=_mean_bottom(part.ground, weights),
        bottom_range_mm=_bottom_range(part.ground, weights),
    )


def _equation_kn(context: Context, row: int, option: int, passes: Passes) -> float:
    """Draft of an option, first of `passes`, by the equation as published; NaN where nothing is ripped."""
    code, soil = context.setup[option], context.catalog.soils.get(str(context.table["soil_type"].iloc[row]))
    if code < 0 or soil is None:
        return np.nan
    return published_draft_kn(
        context.catalog,
        soil.texture,
        list(context.catalog.setups.values())[code],
        depth_mm=float(context.depth_mm[option]),
        speed_kmh=float(passes.speed_kmh[0]),
        tines=int(passes.tines[0]),
    )


def _credited(summed: Floats, credit: Floats) -> Floats:
    """Worth with the gain of the set-ups counted in, (n_draws, n_options); `credit` (n_options, 3) are its ends.

    The gain of a set-up has nothing to do with the other draws: what these few make of it by chance is taken out, so
    that a zone is told the expected return it was chosen by.
    """
    drawn = summed * credit_draws(credit, len(summed))
    return np.asarray(drawn + summed.mean(axis=0) * credit[:, 1] - drawn.mean(axis=0))


def _is_slowed(catalog: Catalog, passes: Passes) -> bool:
    """Whether a limit of the machine keeps the first option in the slower half of the speed window."""
    slow, fast = catalog.tractor.min_speed.value, catalog.tractor.max_speed.value
    return bool(passes.limited_by[0] >= 0 and passes.speed_kmh[0] < (slow + fast) / 2.0)


def _mean_bottom(ground: Ground, weights: Floats) -> Floats:
    share = ground.present @ weights
    total = np.where(ground.present, ground.bottom_mm, 0.0) @ weights
    return np.where(share > 0, total / np.where(share > 0, share, 1.0), np.nan)


def _bottom_range(ground: Ground, weights: Floats) -> tuple[float, float, float]:
    bottom = ground.bottom_mm[ground.present].astype(float)
    if not bottom.size:
        return (np.nan, np.nan, np.nan)
    weight = np.broadcast_to(weights, ground.present.shape)[ground.present]
    order = np.argsort(bottom, kind="stable")
    at = np.cumsum(weight[order]) / weight.sum()
    low, high = bottom[order][np.searchsorted(at, [0.05, 0.95]).clip(max=bottom.size - 1)]
    return float(bottom @ weight / weight.sum()), float(low), float(high)


def makeup_of(context: Context, evaluation: ZoneEvaluation) -> Makeup:
    """Parts of the expected return of `evaluation`, before any zone is set."""
    ground, asked = context.ground, context.prescription
    on_soil = ground.soil[:, None] == np.arange(len(ground.soils))
    worth = np.where(context.useful, context.options.gain, 0.0)
    by_soil = np.stack([context.weights @ (worth * on[:, None]) for on in on_soil.T], axis=2)
    shares = context.weights @ on_soil
    parts = [_cost_parts(context, time, share) for time, share in zip(context.turning, shares, strict=True)]
    hours, fuel_l, fuel, capital = (np.stack(part) for part in zip(*parts, strict=True))
    return Makeup(
        zone=context.table["zone"].to_numpy(),
        soil_types=ground.soil_names,
        gain=evaluation.credit[:, :, 1, None] * by_soil,
        fuel=fuel,
        capital=capital,
        other=evaluation.cost - fuel - context.catalog.prices.discount_rate.value * capital,
        hours=hours,
        fuel_l=fuel_l,
        eligible=_eligible(context, evaluation),
        must_pay=asked.rule == "return",
        rounds=SETTING_ROUNDS,
        setups_fitted=asked.setups_per_paddock,
        change=change_price(context.catalog, context.options.tines),
    )


def _cost_parts(context: Context, turning: Floats, share: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Hours, litres, money for fuel and capital per ha, expected, (n_options,) each, in one zone.

    `share` (n_soils,) is that of each soil type in the zone.
    """
    hours, litres = context.economy.work(turning)
    price = {name: context.rates.scenarios[name].to_numpy()[:, None] for name in ("per_litre", "capital_per_hour")}
    each = (hours, litres, litres * price["per_litre"], hours * price["capital_per_hour"])
    expected = [share @ part.mean(axis=1) for part in each]
    return expected[0], expected[1], expected[2], expected[3]


def _eligible(context: Context, evaluation: ZoneEvaluation) -> Bools:
    asked = context.prescription
    ripped = np.isfinite(evaluation.net) & (evaluation.setup >= 0)
    if asked.rule == "return":
        return np.asarray(ripped)
    best, value = by_cover(evaluation, len(context.catalog.setups), asked.cover_share, asked.least_cover_share)
    picked = np.zeros_like(ripped)
    places, setups = np.nonzero(np.isfinite(value))
    picked[places, best[places, setups]] = True
    return np.asarray(ripped & picked)
