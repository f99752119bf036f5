"""Which limit forbids an option in a zone, or holds the depth of the one that is taken, with its figures."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats
from hardpan.options import (
    LEAVE,
    Limits,
    ZoneEvaluation,
    clay_chance,
    clay_or_cored_mm,
    depth_limits_mm,
    economy_of,
    forbidden_setups,
    machine_limit,
    moist_depth_mm,
    reach_probability,
)
from hardpan.prescription.context import ROUNDING, Context
from hardpan.records.catalog import Catalog
from hardpan.records.reasons import Held, Limit, Pull

LOOK_MM = 200
"""How far past a limit it is asked whether more would be returned: a ridge between tines is about as high."""


def limits_of(context: Context) -> Limits:
    """Limit that forbids each option in each zone, None where none does, (n_zones, n_options)."""
    names, setup, depth_mm = list(context.catalog.setups), context.setup, context.depth_mm
    held = _by_soil_and_machine(context)
    for row in np.flatnonzero(context.table["kind"] != "ground").tolist():
        held[row, depth_mm > 0] = Held(limit=Limit.EXCLUSION, name=str(context.table["soil_type"].iloc[row]))
    rules = context.catalog.rules
    barring = forbidden_setups(context.catalog, context.judged, context.facts)
    for row, name in enumerate(context.table["soil_type"]):
        soil = context.catalog.soils.get(name)
        if soil is not None and not soil.responds:
            held[row, depth_mm > 0] = Held(limit=Limit.RESPONSE, name=name)
        for code in np.flatnonzero(barring[row] >= 0).tolist():
            constraint = rules[barring[row, code]].constraint
            held[row, setup == code] = Held(limit=Limit.RULE, name=constraint, setup=names[code])
    _bar_clay(context, held)
    if context.prescription.only_moist:
        _bar_dry(context, held)
    return held


def _bar_dry(context: Context, held: Limits) -> None:
    """Bar the depths below moist soil that nothing else bars, in `held`."""
    moist_mm = np.nan_to_num(moist_to_mm(context), nan=np.inf)
    dry = (context.depth_mm > moist_mm[:, None]) & np.array([[one is None for one in row] for row in held])
    for row, option in np.argwhere(dry).tolist():
        held[row, option] = Held(limit=Limit.MOIST, value=float(moist_mm[row]), from_mm=float(context.depth_mm[option]))


def _bar_clay(context: Context, held: Limits) -> None:
    """Bar the depths that come within the margin of hostile clay on more of a zone than may, in `held`."""
    asked, depth_mm = context.prescription, context.depth_mm
    may = max(asked.clay_risk, asked.limit_slack) + ROUNDING
    for row in np.flatnonzero(context.table["kind"] == "ground").tolist():
        near = (clay_chances(context, row, asked.clay_margin_mm) > may) & (depth_mm > 0)
        if not near.any():
            continue
        clay_mm, constraint = hostile_clay_mm(context, row)
        begins_mm = _begins_mm(clay_mm, context.weights[row], may / context.capped_chance[row])
        for option in np.flatnonzero(near).tolist():
            if constraint or held[row, option] is None or held[row, option].limit is Limit.REACH:
                held[row, option] = Held(
                    limit=Limit.CLAY,
                    value=begins_mm,
                    from_mm=float(depth_mm[option]),
                    kept_mm=asked.clay_margin_mm,
                    share=asked.clay_risk,
                    name=constraint,
                )


def _begins_mm(clay_mm: NDArray[np.float32], weights: Floats, share: float) -> float:
    """Depth above which clay begins on no more than a share of a zone, mm."""
    own = np.flatnonzero(weights)
    depths, each = clay_mm[:, own].ravel(), np.tile(weights[own] / len(clay_mm), len(clay_mm))
    order = np.argsort(depths, kind="stable")
    return float(depths[order][int(np.argmax(np.cumsum(each[order]) > share))])


def _by_soil_and_machine(context: Context) -> Limits:
    """Limit of soil or machine on more than the slack of a zone, without the decision table."""
    ground, weights, names = context.ground, context.weights, list(context.catalog.setups)
    setup, depth_mm = context.setup, context.depth_mm
    pulled, may = context.economy.pullable()[ground.soil], context.prescription.out_of_reach_share + ROUNDING
    unpulled = weights @ ~pulled > context.slack
    unreached = weights @ (pulled & ~context.useful) > max(may, context.slack)
    held: Limits = np.full(unpulled.shape, None, dtype=object)
    for row, option in np.argwhere(unpulled | unreached).tolist():
        if unpulled[row, option]:
            soil = ground.soil_names[context.main_soil(row)]
            passes = context.economy.passes[soil]
            limit = machine_limit(context.catalog, int(passes.limited_by[option]), float(passes.tractor_load[option]))
            held[row, option] = replace(limit, from_mm=float(depth_mm[option]))
        else:
            held[row, option] = Held(limit=Limit.REACH, name=names[setup[option]])
    return held


def hostile_clay_mm(context: Context, row: int) -> tuple[NDArray[np.float32], str]:
    """Depth to the clay that the zone of a row stays above, (n_draws, n_nodes), and the constraint of the rule for it.

    Infinite where there is none; "" where no rule, only the soil type, says so.
    """
    ground, number = context.ground, context.capped_by[row]
    if number < 0:
        return np.where(ground.hostile, ground.clay_draws_mm, np.float32(np.inf)), ""
    cored_mm = float(context.facts["clay_depth_mm"].fillna(np.inf).iloc[row])
    return clay_or_cored_mm(ground.clay_draws_mm, cored_mm), context.catalog.rules[number].constraint


def clay_chances(context: Context, row: int, above_mm: float = 0.0) -> Floats:
    """Expected share of the zone of a row where each option comes within `above_mm` of hostile clay, (n_options,).

    Clay that may not be hostile counts by the chance that it is.
    """
    clay_mm, _ = hostile_clay_mm(context, row)
    nodes = np.flatnonzero(context.weights[row])
    share = context.weights[row, nodes] @ clay_chance(clay_mm[:, nodes], context.depth_mm + above_mm)
    return np.asarray(context.capped_chance[row] * share)


def moist_to_mm(context: Context) -> Floats:
    """How deep the soil of each zone is moist, (n_zones,); NaN where that is not known."""
    depths = np.full(len(context.table), np.nan)
    for row in range(len(depths)):
        if (water := context.water(row)) is not None:
            depths[row], _ = moist_depth_mm(
                context.season, water, context.soil_water(row), repellent=context.repellent(row)
            )
    return depths


def what_held(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> Held | None:
    """Limit but for which another depth than that of `option` would be taken, None where there is none.

    Under the rule `cover` a limit holds where the share asked for is not reached.
    """
    if option == LEAVE:
        return None
    setup, depth, step = int(evaluation.setup[option]), evaluation.depth_mm[option], context.prescription.step_mm
    deeper = np.flatnonzero((evaluation.setup == setup) & (np.abs(evaluation.depth_mm - depth - step) < 1.0))
    below: Held | None = (
        evaluation.held[row, deeper[0]] if deeper.size else end_of_ripper(context.catalog, setup, deepest=True)
    )
    shallower = np.any((evaluation.setup == setup) & (evaluation.depth_mm < depth))
    above = None if shallower else end_of_ripper(context.catalog, setup, deepest=False)
    if context.prescription.rule == "cover":
        if evaluation.covered[row, option] < context.prescription.cover_share:
            return below
        end_mm = context.ground.end_mm(context.prescription.cover_below_pan_mm)
        less = float(context.weights[row] @ reach_probability(end_mm, np.array([depth - step]))[:, 0])
        return above if less >= context.prescription.cover_share else None
    if below is None and above is None:
        return None
    net = _net_around(context, evaluation, row, option)
    least = max(net[1], 0.0)
    return below if below is not None and net[2:].max() > least else (above if net[0] > least else None)


def what_deeper_lacks(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> Pull | None:
    """Pull of the first deeper option that asks for another pass, None where that is not the reason.

    It is where a deeper one would return more at a cost in proportion to depth.
    """
    if option == LEAVE:
        return None
    passes, depth = context.economy.passes[context.ground.soil_names[context.main_soil(row)]], evaluation.depth_mm
    more = passes.passes > passes.passes[option]
    deeper = (evaluation.setup == evaluation.setup[option]) & (depth > depth[option]) & np.isfinite(evaluation.net[row])
    lacking = np.flatnonzero(deeper & more)
    as_now = evaluation.gain[row] - evaluation.cost[row, option] * depth / depth[option]
    if not (as_now[lacking] > max(evaluation.net[row, option], 0.0)).any():
        return None
    then = lacking[depth[lacking].argmin()]
    return Pull(
        from_mm=float(depth[then]),
        tines=int(passes.tines[then]),
        all_tines=context.catalog.ripper.tines,
        passes=int(passes.passes[then]),
        whole=bool(passes.whole[then]),
        short_of=machine_limit(context.catalog, int(passes.limited_by[then]), float(passes.tractor_load[then])),
    )


def end_of_ripper(catalog: Catalog, code: int, *, deepest: bool) -> Held:
    """Deepest or shallowest depth of a set-up, the position of one, in the ripper."""
    name = list(catalog.setups)[code]
    end_mm = depth_limits_mm(catalog.ripper, catalog.setups[name])[int(deepest)]
    if end_mm == depth_limits_mm(catalog.ripper, None)[int(deepest)]:
        return Held(limit=Limit.RIPPER_DEEPEST if deepest else Limit.RIPPER_SHALLOWEST, value=end_mm)
    return Held(limit=Limit.SETUP_DEEPEST if deepest else Limit.SETUP_SHALLOWEST, value=end_mm, name=name)


def _net_around(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> Floats:
    """Expected net return per ha one step shallower than an option, at it, and in steps deeper.

    No limit counts but the soil's own gain; a depth that cannot be pulled costs in proportion to depth.
    """
    depth, nodes = evaluation.depth_mm[option], np.flatnonzero(context.zone_ha[row] > 0)
    step = context.prescription.step_mm
    depths = np.maximum(depth + np.arange(-step, LOOK_MM + step, step, dtype=float), 1.0)
    like = context.options.table.iloc[[option] * depths.size][["option", "setup", "spacing_mm"]].reset_index(drop=True)
    share, part = context.weights[row, nodes], replace(context.ground.take(nodes), ha=context.zone_ha[row, nodes])
    economy = economy_of(
        pd.concat([like, pd.DataFrame({"depth_mm": depths})], axis=1),
        part,
        context.catalog,
        context.rates,
        loss=context.economy.loss,
        draft=context.options.draft,
        moist_mm=context.economy.moist_mm,
        after=context.economy_of(row).after,
        tines=context.options.tines,
    )
    everywhere: Bools = np.ones((nodes.size, depths.size), dtype=bool)
    gain = evaluation.credit[row, option, 1] * (share @ economy.totals(everywhere).gain)
    cost = share @ economy.cost(context.turning[row, option]).mean(axis=1)[part.soil]
    pulled = economy.pullable()[part.soil].all(axis=0)
    return np.asarray(gain - np.where(pulled, cost, cost[1] * depths / depth))
