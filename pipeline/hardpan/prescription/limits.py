"""What forbids an option in a zone, with its figure, and which limit held the depth of the zone."""

from dataclasses import replace

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.options import (
    LEAVE,
    Texts,
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

ROUNDING = 1e-12
"""Shares of a zone are sums of floats."""

LOOK_MM = 200
"""How far past a limit it is asked whether more would be returned: a ridge between tines is about as high."""


def why_not(context: Context, setup: Ints, depth_mm: Floats) -> Texts:
    """Give what forbids each option in each zone, a clause with its figure, (n_zones, n_options), "" where nothing."""
    says = [item.says for item in context.catalog.setups.values()]
    texts = _by_soil_and_machine(context, setup, depth_mm, says)
    texts[np.ix_(context.table["kind"] != "ground", depth_mm > 0)] = "excluded"
    rules = context.catalog.rules
    barring = forbidden_setups(rules, context.judged, context.facts, list(context.catalog.setups))
    for row, name in enumerate(context.table["soil_type"]):
        soil = context.catalog.soils.get(name)
        if soil is not None and not soil.responds:
            texts[row, depth_mm > 0] = f"{name} is not expected to respond"
        for code in np.flatnonzero(barring[row] >= 0):
            texts[row, setup == code] = f"{rules[barring[row, code]].constraint} forbids {says[code]}"
    cored_mm = context.facts["clay_depth_mm"].fillna(np.inf).to_numpy()
    for row, number in enumerate(ceiling_rules(rules, context.judged, context.facts)):
        if number >= 0:
            # where the map knows no clay, what the cores of the zone found
            clay_mm = np.where(np.isinf(context.ground.clay_mm), cored_mm[row], context.ground.clay_mm)
            into = depth_mm > np.maximum(clay_mm - context.prescription.clay_margin_mm, 0.0)[:, None]
            named = rules[number].constraint
            kind = named if "clay" in named else "hostile clay"
            for option in np.flatnonzero(context.weights[row] @ into > _slack(context)):
                texts[row, option] = _ceiling(context, row, clay_mm, kind, depth_mm[option])
    if context.prescription.only_moist:
        for row, moist_mm in enumerate(moist_to_mm(context)):
            beyond = depth_mm > np.nan_to_num(moist_mm, nan=np.inf)
            texts[row, beyond] = f"the soil is moist to only {moist_mm:.0f} mm"
    return texts


def _by_soil_and_machine(context: Context, setup: Ints, depth_mm: Floats, says: list[str]) -> Texts:
    """Give what soil and machine forbid on more than the slack of a zone, without the decision table."""
    ground, weights = context.ground, context.weights
    beyond = weights @ ~context.options.allowed > _slack(context)
    unpulled = weights @ ~context.economy.pullable()[ground.soil] > _slack(context)
    too_deep = weights @ (depth_mm > ground.ceiling_mm[:, None]) > _slack(context)
    hostile_mm = np.where(np.isfinite(ground.ceiling_mm), ground.clay_mm, np.inf)
    texts = np.full(beyond.shape, "", dtype=object)
    for row, option in np.argwhere(beyond):
        if unpulled[row, option]:
            name = ground.soil_names[_main_soil(context, row)]
            held = machine_limit(context.catalog, int(context.economy.passes[name].limited_by[option]))
            texts[row, option] = f"{held} forbids {depth_mm[option]:.0f} mm and deeper"
        elif too_deep[row, option]:
            texts[row, option] = _ceiling(context, row, hostile_mm, "hostile clay", depth_mm[option])
        else:
            texts[row, option] = f"{says[setup[option]]} do not reach far enough into the clay"
    return texts


def _ceiling(context: Context, row: int, clay_mm: Floats, kind: str, depth_mm: float) -> str:
    """Give in words the clay a tine stays above: the shallowest of the zone, less the slack that may pass it."""
    order = np.argsort(clay_mm, kind="stable")
    first = int(np.argmax(np.cumsum(context.weights[row][order]) > _slack(context)))
    margin = context.prescription.clay_margin_mm
    kept = f" (kept {margin:.0f} mm above)" if margin else ""
    return f"{kind} from {clay_mm[order][first]:.0f} mm{kept} forbids {depth_mm:.0f} mm and deeper"


def what_held(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> str:
    """Give the limit but for which another depth than that of `option` would be taken, "" where there is none.

    Under the rule `cover` a limit holds where the share asked for is not reached.
    """
    if option == LEAVE:
        return ""
    name, depth, step = evaluation.setup[option], evaluation.depth_mm[option], context.prescription.step_mm
    deeper = np.flatnonzero((evaluation.setup == name) & (np.abs(evaluation.depth_mm - depth - step) < 0.5))
    below = (
        evaluation.why_not[row, deeper[0]] if deeper.size else end_of_ripper(context.catalog, int(name), deepest=True)
    )
    shallower = np.any((evaluation.setup == name) & (evaluation.depth_mm < depth))
    above = "" if shallower else end_of_ripper(context.catalog, int(name), deepest=False)
    if context.prescription.rule == "cover":
        if evaluation.covered[row, option] < context.prescription.cover_share:
            return str(below)
        end_mm = context.ground.end_mm(context.prescription.below_pan_mm)
        less = float(context.weights[row] @ reach_probability(end_mm, np.array([depth - step]))[:, 0])
        return above if less >= context.prescription.cover_share else ""
    if not (below or above):
        return ""
    net = _net_around(context, evaluation, row, option)
    least = max(net[1], 0.0)
    return str(below) if below and net[2:].max() > least else (above if net[0] > least else "")


def what_deeper_lacks(context: Context, row: int, option: int) -> str:
    """Give in words what takes tines off, or a second pass, one step deeper than an option; "" where nothing does."""
    table = context.options.table
    like, passes = table.iloc[option], context.economy.passes[context.ground.soil_names[_main_soil(context, row)]]
    step = context.prescription.step_mm
    deeper = np.flatnonzero((table["setup"] == like["setup"]) & (table["depth_mm"] == like["depth_mm"] + step))
    if option == LEAVE or not deeper.size:
        return ""
    held = machine_limit(context.catalog, int(passes.limited_by[deeper[0]]))
    if passes.passes[deeper[0]] > passes.passes[option]:
        return f"{held} then asks for two passes"
    if passes.tines[deeper[0]] < passes.tines[option]:
        return f"{held} then allows only {passes.tines[deeper[0]]:.0f} of {context.catalog.ripper.tines} tines"
    return ""


def _main_soil(context: Context, row: int) -> int:
    """Give the soil type of the node that most of a zone lies on."""
    return int(context.ground.soil[context.weights[row].argmax()])


def end_of_ripper(catalog: Catalog, code: int, *, deepest: bool) -> str:
    """Give in words the deepest or shallowest depth of a set-up, the position of one, in the ripper."""
    setup = list(catalog.setups.values())[code]
    end_mm = depth_limits_mm(catalog.ripper, setup)[int(deepest)]
    own = end_mm != depth_limits_mm(catalog.ripper, None)[int(deepest)]
    go = f"{setup.says} go" if own else "the ripper goes"
    return f"{go} no {'deeper' if deepest else 'shallower'} than {end_mm:g} mm"


def _net_around(context: Context, evaluation: ZoneEvaluation, row: int, option: int) -> Floats:
    """Give the expected net return per ha one step shallower than an option, at it, and in steps deeper.

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
