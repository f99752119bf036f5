"""Which limit forbids an option in a zone, with its figures."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hardpan.core.arrays import Floats
from hardpan.options import Limits, forbidden_setups, machine_limit
from hardpan.prescription.context import ROUNDING, Context, clay_chances, hostile_clay_mm, moist_to_mm
from hardpan.records.reasons import Held, Limit


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
    depths, each = clay_mm.ravel(), np.broadcast_to(weights / len(clay_mm), clay_mm.shape).ravel()
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
