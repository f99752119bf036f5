"""Which limit forbids an option in a zone, with its figures."""

from dataclasses import replace

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.options import Limits, ceiling_rules, clay_ceiling_mm, clay_or_cored_mm, forbidden_setups, machine_limit
from hardpan.prescription.context import Context, moist_to_mm
from hardpan.records.reasons import Held, Limit


def limits_of(context: Context) -> Limits:
    """Limit that forbids each option in each zone, None where none does, (n_zones, n_options)."""
    names, setup, depth_mm = list(context.catalog.setups), context.setup, context.depth_mm
    held = _by_soil_and_machine(context)
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
    _bar_clay(context, held)
    if context.prescription.only_moist:
        for row, moist_mm in enumerate(moist_to_mm(context)):
            for option in np.flatnonzero(depth_mm > np.nan_to_num(moist_mm, nan=np.inf)).tolist():
                held[row, option] = Held(limit=Limit.MOIST, value=float(moist_mm), from_mm=float(depth_mm[option]))
    return held


def _bar_clay(context: Context, held: Limits) -> None:
    """Bar the depths within the margin of clay that a rule keeps them above, in `held`."""
    rules, depth_mm, margin_mm = context.catalog.rules, context.depth_mm, context.prescription.clay_margin_mm
    cored_mm = context.facts["clay_depth_mm"].fillna(np.inf).to_numpy()
    for row, number in enumerate(ceiling_rules(rules, context.judged, context.facts)):
        if number < 0:
            continue
        clay_mm = clay_or_cored_mm(context.ground, cored_mm[row])
        into = depth_mm > clay_ceiling_mm(clay_mm, margin_mm)[:, None]
        for option in np.flatnonzero(context.weights[row] @ into > context.slack).tolist():
            held[row, option] = _ceiling(context, row, clay_mm, rules[number].constraint, depth_mm[option])


def _by_soil_and_machine(context: Context) -> Limits:
    """Limit of soil or machine on more than the slack of a zone, without the decision table."""
    ground, weights, names = context.ground, context.weights, list(context.catalog.setups)
    setup, depth_mm = context.setup, context.depth_mm
    beyond = weights @ ~context.options.allowed > context.slack
    unpulled = weights @ ~context.economy.pullable()[ground.soil] > context.slack
    too_deep = weights @ (depth_mm > ground.ceiling_mm[:, None]) > context.slack
    hostile_mm = np.where(np.isfinite(ground.ceiling_mm), ground.clay_mm, np.inf)
    held: Limits = np.full(beyond.shape, None, dtype=object)
    for row, option in np.argwhere(beyond).tolist():
        if unpulled[row, option]:
            soil = ground.soil_names[context.main_soil(row)]
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
    first = int(np.argmax(np.cumsum(context.weights[row][order]) > context.slack))
    return Held(
        limit=Limit.CLAY,
        value=float(clay_mm[order][first]),
        from_mm=float(depth_mm),
        kept_mm=context.prescription.clay_margin_mm,
        name=constraint,
    )
