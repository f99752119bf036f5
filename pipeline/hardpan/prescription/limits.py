"""Which limit forbids an option in a zone, with its figures, and which held the depth of the zone."""

from dataclasses import replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import (
    LEAVE,
    Limits,
    ZoneEvaluation,
    ceiling_rules,
    depth_limits_mm,
    economy_of,
    forbidden_setups,
    machine_limit,
    reach_probability,
)
from hardpan.prescription.context import Context, moist_to_mm
from hardpan.records.catalog import Catalog
from hardpan.records.reasons import Held, Limit, Pull

ROUNDING = 1e-12
"""Shares of a zone are sums of floats."""

LOOK_MM = 200
"""How far past a limit it is asked whether more would be returned: a ridge between tines is about as high."""


def limits_of(context: Context, setup: Ints, depth_mm: Floats) -> Limits:
    """Limit that forbids each option in each zone, None where none does, (n_zones, n_options)."""
    names = list(context.catalog.setups)
    held = _by_soil_and_machine(context, setup, depth_mm)
    for row in np.flatnonzero(context.table["kind"] != "ground").tolist():
        held[row, depth_mm > 0] = Held(limit=Limit.EXCLUSION, name=str(context.table["soil_type"].iloc[row]))
    rules = context.catalog.rules
    barring = forbidden_setups(rules, context.judged, context.facts, names)
    for row, name in enumerate(context.table["soil_type"]):
        soil = context.catalog.soils.get(name)
        if soil is not None and not soil.responds:
            held[row, depth_mm > 0] = Held(limit=Limit.RESPONSE, name=name)
        for code in np.flatnonzero(barring[row] >= 0).tolist():
            constraint = rules[barring[row, code]].constraint
            held[row, setup == code] = Held(limit=Limit.RULE, name=constraint, setup=names[code])
    _bar_clay(context, held, depth_mm)
    if context.prescription.only_moist:
        for row, moist_mm in enumerate(moist_to_mm(context)):
            for option in np.flatnonzero(depth_mm > np.nan_to_num(moist_mm, nan=np.inf)).tolist():
                held[row, option] = Held(limit=Limit.MOIST, value=float(moist_mm), from_mm=float(depth_mm[option]))
    return held


def _bar_clay(context: Context, held: Limits, depth_mm: Floats) -> None:
    """Bar the depths within the margin of clay that a rule keeps them above, in `held`."""
    rules = context.catalog.rules
    cored_mm = context.facts["clay_depth_mm"].fillna(np.inf).to_numpy()
    for row, number in enumerate(ceiling_rules(rules, context.judged, context.facts)):
        if number < 0:
            continue
        # where the map knows no clay, what the cores of the zone found
        clay_mm = np.where(np.isinf(context.ground.clay_mm), cored_mm[row], context.ground.clay_mm)
        into = depth_mm > np.maximum(clay_mm - context.prescription.clay_margin_mm, 0.0)[:, None]
        for option in np.flatnonzero(context.weights[row] @ into > _slack(context)).tolist():
            held[row, option] = _ceiling(context, row, clay_mm, rules[number].constraint, depth_mm[option])


def _by_soil_and_machine(context: Context, setup: Ints, depth_mm: Floats) -> Limits:
    """Limit of soil or machine on more than the slack of a zone, without the decision table."""
    ground, weights, names = context.ground, context.weights, list(context.catalog.setups)
    beyond = weights @ ~context.options.allowed > _slack(context)
    unpulled = weights @ ~context.economy.pullable()[ground.soil] > _slack(context)
    too_deep = weights @ (depth_mm > ground.ceiling_mm[:, None]) > _slack(context)
    hostile_mm = np.where(np.isfinite(ground.ceiling_mm), ground.clay_mm, np.inf)
    held: Limits = np.full(beyond.shape, None, dtype=object)
    for row, option in np.argwhere(beyond).tolist():
        if unpulled[row, option]:
            soil = ground.soil_names[_main_soil(context, row)]
            limit = machine_limit(context.catalog, int(context.economy.passes[soil].limited_by[option]))
            held[row, option] = replace(limit, from_mm=float(depth_mm[option]))
        elif too_deep[row, option]:
            held[row, option] = _ceiling(context, row, hostile_mm, "", depth_mm[option])
        else:
            held[row, option] = Held(limit=Limit.REACH, name=names[setup[option]])
    return held


def _ceiling(context: Context, row: int, clay_mm: Floats, constraint: str, depth_mm: float) -> Held:
    """Clay a tine stays above: the shallowest of the zone, less the slack that may pass it."""
    order = np.argsort(clay_mm, kind="stable")
    first = int(np.argmax(np.cumsum(context.weights[row][order]) > _slack(context)))
    return Held(
        limit=Limit.CLAY,
        value=float(clay_mm[order][first]),
        from_mm=float(depth_mm),
        kept_mm=context.prescription.clay_margin_mm,
        name=constraint,
    )


def what_held(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> Held | None:
    """Limit but for which another depth than that of `option` would be taken, None where there is none.

    Under the rule `cover` a limit holds where the share asked for is not reached.
    """
    if option == LEAVE:
        return None
    setup, depth, step = int(evaluation.setup[option]), evaluation.depth_mm[option], context.prescription.step_mm
    deeper = np.flatnonzero((evaluation.setup == setup) & (np.abs(evaluation.depth_mm - depth - step) < 0.5))
    below: Held | None = (
        evaluation.held[row, deeper[0]] if deeper.size else end_of_ripper(context.catalog, setup, deepest=True)
    )
    shallower = np.any((evaluation.setup == setup) & (evaluation.depth_mm < depth))
    above = None if shallower else end_of_ripper(context.catalog, setup, deepest=False)
    if context.prescription.rule == "cover":
        if evaluation.covered[row, option] < context.prescription.cover_share:
            return below
        end_mm = context.ground.end_mm(context.prescription.below_pan_mm)
        less = float(context.weights[row] @ reach_probability(end_mm, np.array([depth - step]))[:, 0])
        return above if less >= context.prescription.cover_share else None
    if below is None and above is None:
        return None
    net = _net_around(context, evaluation, row, option)
    least = max(net[1], 0.0)
    return below if below is not None and net[2:].max() > least else (above if net[0] > least else None)


def what_deeper_lacks(context: Context, row: int, option: int) -> Pull | None:
    """Pull one step deeper than an option where that takes tines off or asks for another pass, None elsewhere."""
    table = context.options.table
    like, passes = table.iloc[option], context.economy.passes[context.ground.soil_names[_main_soil(context, row)]]
    step = context.prescription.step_mm
    deeper = np.flatnonzero((table["setup"] == like["setup"]) & (table["depth_mm"] == like["depth_mm"] + step))
    if option == LEAVE or not deeper.size:
        return None
    then = deeper[0]
    if passes.passes[then] <= passes.passes[option] and passes.tines[then] >= passes.tines[option]:
        return None
    return Pull(
        tines=int(passes.tines[then]),
        all_tines=context.catalog.ripper.tines,
        passes=int(passes.passes[then]),
        short_of=machine_limit(context.catalog, int(passes.limited_by[then])),
    )


def _main_soil(context: Context, row: int) -> int:
    """Soil type, its code, of the node that most of a zone lies on."""
    return int(context.ground.soil[context.weights[row].argmax()])


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
        shape=context.economy.shape,
        draft=context.options.draft,
    )
    everywhere: Bools = np.ones((nodes.size, depths.size), dtype=bool)
    gain = evaluation.credit[row, option, 1] * (share @ economy.totals(everywhere).gain)
    cost = share @ economy.cost(context.turning[row, option]).mean(axis=1)[part.soil]
    pulled = economy.pullable()[part.soil].all(axis=0)
    return np.asarray(gain - np.where(pulled, cost, cost[1] * depths / depth))


def _slack(context: Context) -> float:
    return context.prescription.limit_slack + ROUNDING
