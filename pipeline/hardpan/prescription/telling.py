"""The plan's tables and sentences, from what was decided."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.core.money import sign_of
from hardpan.options import LEAVE, ZoneEvaluation, rules_met
from hardpan.prescription.context import Context
from hardpan.prescription.defaults import shipped_numbers
from hardpan.prescription.evaluation import ZoneOutcome
from hardpan.prescription.limits import end_of_ripper, what_deeper_lacks, what_held
from hardpan.prescription.setting_up import setting_up
from hardpan.prescription.tables import candidate_table, condition_table, moisture_table, not_fixed, spreading_texts
from hardpan.prescription.wording import (
    DEEPER,
    NOTHING_ELSE,
    SECOND_SET_UP,
    Alternative,
    Story,
    closed,
    gain_to_pay,
    option_text,
    reason,
    would_change,
    would_unbar,
)
from hardpan.records.columns import PLAN
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """What was decided of a context; sequences follow the rows of its table."""

    context: Context
    evaluation: ZoneEvaluation
    pairs: Ints
    """(n_zones, 2): chosen option and runner-up."""
    fitted: Ints
    """Positions of the set-ups the ripper is fitted with in this paddock."""
    outcomes: Sequence[ZoneOutcome]


def write_plan(decision: Decision) -> Plan:
    """Give the plan: one row a zone with its reason, and the tables behind it."""
    table, ripped = decision.context.table, decision.pairs[:, 0] != LEAVE
    rows = [_zone_row(decision, place) for place in range(len(table))]
    plan = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=table.crs)[list(PLAN)]
    machine = pd.DataFrame([outcome.machine for outcome in decision.outcomes])[(plan["depth_mm"] > 0).to_numpy()]
    machine = machine.reset_index(drop=True)
    zone_of = dict(zip(table.index, table["zone"], strict=True))
    soils = tuple(dict.fromkeys(table.loc[table["kind"] == "ground", "soil_type"]))
    return Plan(
        zones=plan,
        machine=machine,
        conditions=condition_table(
            decision.context.catalog.rules,
            decision.context.judged,
            decision.context.facts,
            zone=zone_of,
            spreading=spreading_texts(decision.context, ripped),
            ripped=table.index[ripped],
        ),
        moisture=moisture_table(decision.context, plan),
        returns=np.stack([outcome.returns[:, 0] for outcome in decision.outcomes]),
        runner_up_returns=np.stack([outcome.returns[:, 1] for outcome in decision.outcomes]),
        hours=np.stack([outcome.hours for outcome in decision.outcomes]),
        fuel_l=np.stack([outcome.fuel_l for outcome in decision.outcomes]),
        candidates=candidate_table(decision.context, decision.evaluation),
        defaults=shipped_numbers(decision.context.catalog, soils),
        setting_up=setting_up(decision.context.catalog, machine, plan),
        issues=_short_of_cover(decision, plan),
    )


def _zone_row(decision: Decision, place: int) -> dict[str, object]:
    table, options = decision.context.table, decision.context.options.table
    zone, outcome, (chosen, second) = table.iloc[place], decision.outcomes[place], decision.pairs[place]
    ground, ripped = zone["kind"] == "ground", chosen != LEAVE
    option = options.iloc[chosen]
    story = tell(decision, place)
    per_ha = outcome.returns[:, 0] / max(zone["area_ha"], 1e-9)
    low, high = np.quantile(per_ha, [0.05, 0.95])
    label = table.index[place]
    return {
        "zone": int(zone["zone"]),
        "kind": zone["kind"],
        "soil_type": zone["soil_type"],
        "area_ha": float(zone["area_ha"]),
        "depth_mm": int(option["depth_mm"]),
        "setup": option["setup"],
        "spacing_mm": float(option["spacing_mm"]),
        "speed_kmh": outcome.speed_kmh if ripped else 0.0,
        "passes": outcome.passes if ripped else 0,
        "reason": reason(story) if ground else closed(zone["soil_type"], decision.context.kept_m),
        "runner_up": (_named(decision, second) if second != chosen else NOTHING_ELSE) if ground else "",
        "runner_up_cost_per_ha": float(per_ha.mean() - outcome.returns[:, 1].mean() / zone["area_ha"])
        if ground
        else 0.0,
        "breach_probability": outcome.breach if ground else 0.0,
        "loosened_share": outcome.loosened if ripped else 0.0,
        "net_per_ha": float(per_ha.mean()),
        "net_low_per_ha": float(low),
        "net_high_per_ha": float(high),
        "loss_probability": float((per_ha < 0).mean()),
        "will_not_fix": not_fixed(decision.context.catalog.rules, decision.context.judged, label) if ground else "",
        "would_change": _would_change(decision, place, story) if ground else "",
        "geometry": table.geometry.iloc[place],
    }


def tell(decision: Decision, place: int) -> Story:
    """Give what is known of one zone when its sentence is written."""
    zone, outcome, catalog = decision.context.table.iloc[place], decision.outcomes[place], decision.context.catalog
    evaluation, (instead, barred) = decision.evaluation, _best_ripped(decision, place)
    chosen = decision.pairs[place][0]
    option = decision.context.options.table.iloc[chosen]
    soil = catalog.soils.get(zone["soil_type"])
    return Story(
        soil=str(zone["soil_type"]),
        depth_mm=int(option["depth_mm"]),
        setup=catalog.setups[option["setup"]].says if option["setup"] else "",
        bottom_mm=outcome.bottom_range_mm,
        chance=float(decision.context.facts["pan_probability"].iloc[place]),
        net=float(outcome.returns[:, 0].mean() / max(zone["area_ha"], 1e-9)),
        currency=sign_of(decision.context.rates.currency),
        responds=soil is None or soil.responds,
        note="" if soil is None else soil.note,
        clay_mm=float(decision.context.facts["clay_depth_mm"].fillna(np.inf).iloc[place]),
        held=what_held(decision.context, evaluation, place, int(chosen)),
        asked_by=_asked_by(decision, place, option["setup"]),
        tines=outcome.tines,
        all_tines=catalog.ripper.tines,
        passes=outcome.passes,
        held_by=outcome.held_by,
        slow_kmh=outcome.slow_kmh,
        deeper=what_deeper_lacks(decision.context, place, int(chosen)),
        instead=instead,
        barred=barred,
        other_pays=bool((evaluation.net[place][evaluation.setup >= 0] > 0).any()),
        covered=float(evaluation.covered[place, chosen]),
        cover_share=decision.context.prescription.cover_share
        if decision.context.prescription.rule == "cover"
        else None,
        coverable=float(np.where(np.isfinite(evaluation.net[place]), evaluation.covered[place], 0.0).max()),
    )


def _best_ripped(decision: Decision, place: int) -> tuple[Alternative | None, str]:
    """Give the option nearest to being taken, and what forbids the set-ups fitted ("": nothing does).

    It is the one that brings most for its cost, under the rule `cover` the deepest.

    Among the set-ups fitted, or all where none of those is allowed; None where nothing is.
    """
    evaluation = decision.evaluation
    gain, cost = evaluation.gain[place], evaluation.cost[place]
    allowed = np.isfinite(evaluation.net[place]) & (evaluation.setup >= 0)
    fitted = np.isin(evaluation.setup, decision.fitted)
    barred = "" if (allowed & fitted).any() else str(evaluation.why_not[place][fitted][0])
    open_to = allowed if barred else allowed & fitted
    if not open_to.any():
        # a clause with a depth in it bars the shallowest: say that the ripper has none above it
        end = end_of_ripper(decision.context.catalog, int(evaluation.setup[fitted][0]), deepest=False)
        return None, f"{barred}, and {end}" if " mm" in barred else barred
    cover = decision.context.prescription.rule == "cover"
    best = int(np.where(open_to, evaluation.depth_mm if cover else gain / np.maximum(cost, 1e-9), -np.inf).argmax())
    row = decision.context.options.table.iloc[best]
    says = decision.context.catalog.setups[row["setup"]].says
    found = Alternative(
        depth_mm=int(row["depth_mm"]),
        setup=says,
        cost=float(cost[best]),
        gain=float(gain[best]),
        held=what_held(decision.context, evaluation, place, best) if decision.pairs[place][0] == LEAVE else "",
    )
    return found, barred


def _asked_by(decision: Decision, place: int, setup: str) -> str:
    """Give the constraint whose rule credits the set-up taken, "" where none does."""
    rules, label = decision.context.catalog.rules, decision.context.table.index[place]
    met = [rules[number] for number in rules_met(decision.context.judged, label) if setup in rules[number].gain]
    return max(met, key=lambda rule: rule.gain[setup].value).constraint if met else ""


def _named(decision: Decision, option: int) -> str:
    row = decision.context.options.table.iloc[option]
    says = decision.context.catalog.setups[row["setup"]].says if row["setup"] else ""
    return option_text(int(row["depth_mm"]), says)


def _would_change(decision: Decision, place: int, story: Story) -> str:
    """Give what would turn the choice: the pan's bottom where that decides, else money."""
    outcome, soil = decision.outcomes[place], str(decision.context.table["soil_type"].iloc[place])
    chosen, second = decision.pairs[place]
    first = float(decision.context.rates.worth.set_index("soil_type")["first_year_t_per_ha"].loc[soil])
    if chosen == LEAVE:
        return _would_rip(story, first)
    better = outcome.returns[:, 1] > outcome.returns[:, 0]
    depths = decision.context.options.table["depth_mm"].to_numpy()
    deeper = bool(depths[second] > depths[chosen])
    turning = turning_bottom_mm(outcome.bottom_mm, better, deeper=deeper) if depths[second] != depths[chosen] else None
    return would_change(
        share_better=float(better.mean()),
        other=_named(decision, int(second)),
        bottom_mm=turning,
        deeper=deeper,
        probes=_probes_to_tell(outcome.bottom_mm, decision.context.prescription.step_mm),
        pays=story.net >= 0,
        needed_t_per_ha=first
        * decision.evaluation.cost[place, chosen]
        / max(decision.evaluation.gain[place, chosen], 1e-9),
    )


def _would_rip(story: Story, first_year_t_per_ha: float) -> str:
    """Give what would have ground ripped that is left."""
    if not story.responds:
        return "a test strip that shows a gain"
    if story.instead is None:
        return would_unbar(story.barred)
    if story.cover_share is not None:
        return "" if story.covered >= story.cover_share else DEEPER
    if story.other_pays or story.instead.gain > story.instead.cost:
        return SECOND_SET_UP
    if story.instead.gain <= 0:
        return "a test strip that shows a gain"
    return gain_to_pay(first_year_t_per_ha * story.instead.cost / story.instead.gain)


def turning_bottom_mm(bottom_mm: Floats, better: np.ndarray, *, deeper: bool) -> float | None:
    """Give the pan bottom beyond which the runner-up wins in most draws; None where no bottom parts the two.

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


def _probes_to_tell(bottom_mm: Floats, step_mm: int) -> int:
    """Give the probe sites that would bring the mean bottom within one depth step (90 %), at most 12."""
    known = bottom_mm[np.isfinite(bottom_mm)]
    if known.size < 10:
        return 3
    return int(np.clip(np.ceil((1.645 * known.std() / step_mm) ** 2), 1, 12))


def _short_of_cover(decision: Decision, plan: gpd.GeoDataFrame) -> Issues:
    asked = decision.context.prescription.cover_share
    if decision.context.prescription.rule != "cover":
        return ()
    reached = decision.evaluation.covered[np.arange(len(plan)), decision.pairs[:, 0]]
    short = (plan["depth_mm"].to_numpy() > 0) & (reached < asked)
    return tuple(
        Issue(
            outcome=Outcome.WARN,
            stage="prescription",
            code="cover-not-reached",
            what=f"no allowed depth passes below the pan on {asked:.0%} of the zone",
            done=f"the deepest allowed, {depth} mm, does so on {share:.0%}",
            place=f"zone {zone}",
        )
        for zone, depth, share in zip(plan["zone"][short], plan["depth_mm"][short], reached[short], strict=True)
    )
