"""Why each zone is worked as it is, what comes next, and what would turn the choice."""

from dataclasses import replace

import numpy as np

from hardpan.core.arrays import Bools, Floats
from hardpan.options import (
    LEAVE,
    rules_met,
    setup_credits,
)
from hardpan.prescription.context import Context, Decision
from hardpan.prescription.limits import clay_chances, end_of_ripper, what_deeper_lacks, what_held
from hardpan.records.reasons import (
    Alternative,
    Closed,
    Cover,
    Left,
    Open,
    Opening,
    Reason,
    Ripped,
    Turn,
)

OUT_OF_REACH = 2.0
"""A gain so many times the high end of the soil type's range is none that could be expected."""


def reason_of(decision: Decision, place: int) -> Reason:
    """Reason of the choice in the zone at a place of the table."""
    context = decision.context
    zone, (chosen, second) = context.table.iloc[place], map(int, decision.pairs[place])
    number, name = int(zone["zone"]), str(zone["soil_type"])
    if zone["kind"] != "ground":
        kept_m, lift_m = float(context.kept_m.get(name, 0.0)), float(context.lift_m.get(name, 0.0))
        return Reason(zone=number, why=Closed(name=name, kept_m=kept_m, lift_m=lift_m))
    rules = context.catalog.rules
    met = (rules[rule] for rule in rules_met(context.judged, context.table.index[place]))
    why = _left(decision, place) if chosen == LEAVE else _ripped(decision, place, chosen)
    return Reason(
        zone=number,
        why=why,
        runner_up=_option(context, second) if second != chosen else None,
        change=_opening(decision, place, why) if isinstance(why, Left) else _turn(decision, place),
        unmended=tuple(dict.fromkeys(rule.constraint for rule in met if rule.not_fixed)),
    )


def _ripped(decision: Decision, place: int, chosen: int) -> Ripped:
    context, outcome = decision.context, decision.outcomes[place]
    option = context.options.table.iloc[chosen]
    return Ripped(
        depth_mm=int(option["depth_mm"]),
        setup=str(option["setup"]),
        pan_probability=float(context.facts["pan_probability"].iloc[place]),
        bottom_mm=outcome.bottom_range_mm,
        read_to_mm=context.read_to_mm,
        net_per_ha=_net_per_ha(decision, place),
        pull=outcome.pull,
        held=what_held(context, decision.evaluation, place, chosen),
        credited_by=_credited_by(decision, place, str(option["setup"])),
        clay_mm=float(context.facts["clay_depth_mm"].fillna(np.inf).iloc[place]),
        clay_chance=float(clay_chances(context, place)[chosen]),
        loosened=outcome.loosened,
        deeper=what_deeper_lacks(context, decision.evaluation, place, chosen),
        cover=_cover(decision, place),
    )


def _left(decision: Decision, place: int) -> Left:
    context, evaluation = decision.context, decision.evaluation
    name = str(context.table["soil_type"].iloc[place])
    soil = context.catalog.soils.get(name)
    allowed = np.isfinite(evaluation.net[place]) & (evaluation.setup >= 0)
    fitted = np.isin(evaluation.setup, decision.fitted)
    barred = None if (allowed & fitted).any() else evaluation.held[place][fitted][0]
    other_pays = bool((evaluation.net[place][evaluation.setup >= 0] > 0).any())
    cover = _cover(decision, place)
    would_do = other_pays if cover is None else cover.otherwise
    best = _best(decision, place, allowed & fitted if barred is None and would_do else allowed)
    shallowest = None
    if best is None and barred is not None and barred.limit.bars_deeper:
        shallowest = end_of_ripper(context.catalog, int(evaluation.setup[fitted][0]), deepest=False)
    return Left(
        soil_type=name,
        responds=soil is None or soil.responds,
        pan_probability=float(context.facts["pan_probability"].iloc[place]),
        best=best,
        barred=barred,
        shallowest=shallowest,
        other_pays=other_pays,
        cover=cover,
        soft_to_mm=context.soft_to_mm,
        elsewhere=tuple((tried.way, best) for tried in decision.ways if (best := tried.best[place]) is not None),
    )


def _best(decision: Decision, place: int, open_to: Bools) -> Alternative | None:
    """Option nearest to being taken of those `open_to` a zone (n_options,), None where there are none.

    It is the one that returns most, under the rule `cover` the deepest.
    """
    if not open_to.any():
        return None
    context, evaluation = decision.context, decision.evaluation
    gain, cost = evaluation.gain[place], evaluation.cost[place]
    cover = context.prescription.rule == "cover"
    best = int(np.where(open_to, evaluation.depth_mm if cover else gain - cost, -np.inf).argmax())
    held = what_held(context, evaluation, place, best)
    option = _option(context, best)
    return replace(option, cost_per_ha=float(cost[best]), gain_per_ha=float(gain[best]), held=held)


def _option(context: Context, option: int) -> Alternative:
    row = context.options.table.iloc[option]
    return Alternative(depth_mm=int(row["depth_mm"]), setup=str(row["setup"]))


def _cover(decision: Decision, place: int) -> Cover | None:
    asked, evaluation = decision.context.prescription, decision.evaluation
    if asked.rule != "cover":
        return None
    reach = np.where(np.isfinite(evaluation.net[place]), evaluation.covered[place], 0.0)
    fitted = np.isin(evaluation.setup, decision.fitted)
    return Cover(
        asked=asked.cover_share,
        reached=float(evaluation.covered[place, decision.pairs[place][0]]),
        reachable=float(reach[fitted].max(initial=0.0)),
        otherwise=bool(reach[(evaluation.setup >= 0) & ~fitted].max(initial=0.0) >= asked.least_cover_share),
    )


def _credited_by(decision: Decision, place: int, setup: str) -> str:
    """Constraint whose rule credits a set-up with most gain, "" where none does."""
    context = decision.context
    column = list(context.catalog.setups).index(setup)
    by = int(setup_credits(context.catalog, context.judged, context.facts)[0][place, column])
    return context.catalog.rules[by].constraint if by >= 0 else ""


def _turn(decision: Decision, place: int) -> Turn:
    """What would turn the choice where ground is ripped: the pan's bottom where that decides, and the gain."""
    outcome, (chosen, second) = decision.outcomes[place], decision.pairs[place]
    better = outcome.returns[:, 1] > outcome.returns[:, 0]
    depths = decision.context.options.table["depth_mm"].to_numpy()
    deeper = bool(depths[second] > depths[chosen])
    turning = turning_bottom_mm(outcome.bottom_mm, better, deeper=deeper) if depths[second] != depths[chosen] else None
    evaluation = decision.evaluation
    return Turn(
        needed_t_per_ha=_needed(decision, place, evaluation.cost[place, chosen], evaluation.gain[place, chosen]),
        pays=_net_per_ha(decision, place) >= 0,
        better_share=float(better.mean()),
        bottom_mm=np.nan if turning is None else turning,
        deeper=deeper,
        probes=probes_to_tell(outcome.bottom_mm, decision.context.prescription.step_mm),
    )


def _opening(decision: Decision, place: int, why: Left) -> Open | None:
    """What would have ground ripped that is left, None where nothing would."""
    if not why.responds:
        return Open(by=Opening.STRIP)
    if why.best is None:
        return Open(by=Opening.LIMIT)
    if why.cover is not None:
        return None if why.covered else Open(by=Opening.SETUP if why.cover.otherwise else Opening.DEEPER)
    if why.other_pays or why.best.gain_per_ha > why.best.cost_per_ha:
        return Open(by=Opening.SETUP)
    needed = _needed(decision, place, why.best.cost_per_ha, why.best.gain_per_ha)
    return Open(by=Opening.GAIN, needed_t_per_ha=needed) if np.isfinite(needed) else Open(by=Opening.STRIP)


def _needed(decision: Decision, place: int, cost: float, gain: float) -> float:
    """Gain of the first season of ripping as in the trials that would just pay, t/ha; infinite where out of reach."""
    soil = decision.context.catalog.soils[str(decision.context.table["soil_type"].iloc[place])]
    most = OUT_OF_REACH * soil.first_year_gain.span[1] * decision.context.catalog.crop.gain_factor.value
    needed = _first_year(decision, place) * cost / gain if gain > 0.0 else np.inf
    return float(needed) if needed <= most else float("inf")


def _first_year(decision: Decision, place: int) -> float:
    """Expected gain of the first season of ripping as in the trials, t/ha."""
    soil_type = str(decision.context.table["soil_type"].iloc[place])
    return float(decision.context.rates.worth.set_index("soil_type")["first_year_t_per_ha"].loc[soil_type])


def _net_per_ha(decision: Decision, place: int) -> float:
    area_ha = max(float(decision.context.table["area_ha"].iloc[place]), 1e-9)
    return float(decision.outcomes[place].returns[:, 0].mean() / area_ha)


def turning_bottom_mm(bottom_mm: Floats, better: np.ndarray, *, deeper: bool) -> float | None:
    """Pan bottom beyond which the runner-up wins in most draws, mm; None where no bottom parts the two.

    The cut between draws that gets most of them right, taken only if it beats always choosing the same.
    """
    known = np.isfinite(bottom_mm)
    order = np.argsort(bottom_mm[known], kind="stable")
    sorted_mm, wins = bottom_mm[known][order], (better if deeper else ~better)[known][order]
    n = wins.size
    if n < 10:
        return None
    below = np.concatenate([[0], np.cumsum(~wins)])
    above = wins.sum() - np.concatenate([[0], np.cumsum(wins)])
    right = below + above
    cut = int(right.argmax())
    if right[cut] < max(right[0], right[-1]) + 0.05 * n:
        return None
    return float((sorted_mm[cut - 1] + sorted_mm[cut]) / 2.0)


def probes_to_tell(bottom_mm: Floats, step_mm: float) -> int:
    """Probe sites that would bring the mean bottom within one depth step (90 %), at most 12."""
    known = bottom_mm[np.isfinite(bottom_mm)]
    if known.size < 10:
        return 3
    return int(np.clip(np.ceil((1.645 * known.std() / step_mm) ** 2), 1, 12))
