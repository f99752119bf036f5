"""The plan's tables and sentences, from what was decided."""

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats, Ints
from hardpan.core.money import sign_of
from hardpan.options import LEAVE, Ballot, rules_met
from hardpan.prescription.context import Case
from hardpan.prescription.defaults import shipped_numbers
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
from hardpan.prescription.zonework import Zonework
from hardpan.records.columns import PLAN
from hardpan.records.issues import Issue, Issues, Outcome
from hardpan.records.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """A case decided; sequences follow the rows of its table."""

    case: Case
    ballot: Ballot
    pairs: Ints
    """(n_zones, 2): chosen option and runner-up."""
    fitted: Ints
    """Positions of the set-ups the ripper is fitted with in this paddock."""
    works: Sequence[Zonework]


def write_plan(decision: Decision) -> Plan:
    """Give the plan: one row a zone with its reason, and the tables behind it."""
    table, ripped = decision.case.table, decision.pairs[:, 0] != LEAVE
    rows = [_zone_row(decision, place) for place in range(len(table))]
    plan = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=table.crs)[list(PLAN)]
    machine = pd.DataFrame([work.machine for work in decision.works])[(plan["depth_mm"] > 0).to_numpy()]
    machine = machine.reset_index(drop=True)
    zone_of = dict(zip(table.index, table["zone"], strict=True))
    soils = tuple(dict.fromkeys(table.loc[table["kind"] == "ground", "soil_type"]))
    return Plan(
        zones=plan,
        machine=machine,
        conditions=condition_table(
            decision.case.catalog.rules,
            decision.case.judged,
            decision.case.facts,
            zone=zone_of,
            spreading=spreading_texts(decision.case, ripped),
            ripped=table.index[ripped],
        ),
        moisture=moisture_table(decision.case, plan),
        returns=np.stack([work.returns[:, 0] for work in decision.works]),
        runner_up_returns=np.stack([work.returns[:, 1] for work in decision.works]),
        hours=np.stack([work.hours for work in decision.works]),
        fuel_l=np.stack([work.fuel_l for work in decision.works]),
        candidates=candidate_table(decision.case, decision.ballot),
        defaults=shipped_numbers(decision.case.catalog, soils),
        setting_up=setting_up(decision.case.catalog, machine, plan),
        issues=_short_of_cover(decision, plan),
    )


def _zone_row(decision: Decision, place: int) -> dict[str, object]:
    table, options = decision.case.table, decision.case.options.table
    zone, work, (chosen, second) = table.iloc[place], decision.works[place], decision.pairs[place]
    ground, ripped = zone["kind"] == "ground", chosen != LEAVE
    option = options.iloc[chosen]
    story = tell(decision, place)
    per_ha = work.returns[:, 0] / max(zone["area_ha"], 1e-9)
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
        "speed_kmh": work.speed_kmh if ripped else 0.0,
        "passes": work.passes if ripped else 0,
        "reason": reason(story) if ground else closed(zone["soil_type"], decision.case.kept_m),
        "runner_up": (_named(decision, second) if second != chosen else NOTHING_ELSE) if ground else "",
        "runner_up_cost_per_ha": float(per_ha.mean() - work.returns[:, 1].mean() / zone["area_ha"]) if ground else 0.0,
        "breach_probability": work.breach if ground else 0.0,
        "loosened_share": work.loosened if ripped else 0.0,
        "net_per_ha": float(per_ha.mean()),
        "net_low_per_ha": float(low),
        "net_high_per_ha": float(high),
        "loss_probability": float((per_ha < 0).mean()),
        "will_not_fix": not_fixed(decision.case.catalog.rules, decision.case.judged, label) if ground else "",
        "would_change": _would_change(decision, place, story) if ground else "",
        "geometry": table.geometry.iloc[place],
    }


def tell(decision: Decision, place: int) -> Story:
    """Give what is known of one zone when its sentence is written."""
    zone, work, catalog = decision.case.table.iloc[place], decision.works[place], decision.case.catalog
    ballot, (instead, barred) = decision.ballot, _best_ripped(decision, place)
    chosen = decision.pairs[place][0]
    option = decision.case.options.table.iloc[chosen]
    soil = catalog.soils.get(zone["soil_type"])
    return Story(
        soil=str(zone["soil_type"]),
        depth_mm=int(option["depth_mm"]),
        setup=catalog.setups[option["setup"]].says if option["setup"] else "",
        bottom_mm=work.bottom_range_mm,
        chance=float(decision.case.facts["pan_probability"].iloc[place]),
        net=float(work.returns[:, 0].mean() / max(zone["area_ha"], 1e-9)),
        currency=sign_of(decision.case.rates.currency),
        responds=soil is None or soil.responds,
        note="" if soil is None else soil.note,
        clay_mm=float(decision.case.facts["clay_depth_mm"].fillna(np.inf).iloc[place]),
        held=what_held(decision.case, ballot, place, int(chosen)),
        asked_by=_asked_by(decision, place, option["setup"]),
        tines=work.tines,
        all_tines=catalog.ripper.tines,
        passes=work.passes,
        held_by=work.held_by,
        slow_kmh=work.slow_kmh,
        deeper=what_deeper_lacks(decision.case, place, int(chosen)),
        instead=instead,
        barred=barred,
        other_pays=bool((ballot.net[place][ballot.setup >= 0] > 0).any()),
        covered=float(ballot.covered[place, chosen]),
        cover_share=decision.case.prescription.cover_share if decision.case.prescription.rule == "cover" else None,
        coverable=float(np.where(np.isfinite(ballot.net[place]), ballot.covered[place], 0.0).max()),
    )


def _best_ripped(decision: Decision, place: int) -> tuple[Alternative | None, str]:
    """Give the option nearest to being taken, and what forbids the set-ups fitted ("": nothing does).

    It is the one that brings most for its cost, under the rule `cover` the deepest.

    Among the set-ups fitted, or all where none of those is allowed; None where nothing is.
    """
    ballot = decision.ballot
    gain, cost = ballot.gain[place], ballot.cost[place]
    allowed = np.isfinite(ballot.net[place]) & (ballot.setup >= 0)
    fitted = np.isin(ballot.setup, decision.fitted)
    barred = "" if (allowed & fitted).any() else str(ballot.why_not[place][fitted][0])
    open_to = allowed if barred else allowed & fitted
    if not open_to.any():
        # a clause with a depth in it bars the shallowest: say that the ripper has none above it
        end = end_of_ripper(decision.case.catalog, int(ballot.setup[fitted][0]), deepest=False)
        return None, f"{barred}, and {end}" if " mm" in barred else barred
    cover = decision.case.prescription.rule == "cover"
    best = int(np.where(open_to, ballot.depth_mm if cover else gain / np.maximum(cost, 1e-9), -np.inf).argmax())
    row = decision.case.options.table.iloc[best]
    says = decision.case.catalog.setups[row["setup"]].says
    found = Alternative(
        depth_mm=int(row["depth_mm"]),
        setup=says,
        cost=float(cost[best]),
        gain=float(gain[best]),
        held=what_held(decision.case, ballot, place, best) if decision.pairs[place][0] == LEAVE else "",
    )
    return found, barred


def _asked_by(decision: Decision, place: int, setup: str) -> str:
    """Give the constraint whose rule credits the set-up taken, "" where none does."""
    rules, label = decision.case.catalog.rules, decision.case.table.index[place]
    met = [rules[number] for number in rules_met(decision.case.judged, label) if setup in rules[number].gain]
    return max(met, key=lambda rule: rule.gain[setup].value).constraint if met else ""


def _named(decision: Decision, option: int) -> str:
    row = decision.case.options.table.iloc[option]
    says = decision.case.catalog.setups[row["setup"]].says if row["setup"] else ""
    return option_text(int(row["depth_mm"]), says)


def _would_change(decision: Decision, place: int, story: Story) -> str:
    """Give what would turn the choice: the pan's bottom where that decides, else money."""
    work, soil = decision.works[place], str(decision.case.table["soil_type"].iloc[place])
    chosen, second = decision.pairs[place]
    first = float(decision.case.rates.worth.set_index("soil_type")["first_year_t_per_ha"].loc[soil])
    if chosen == LEAVE:
        return _would_rip(story, first)
    better = work.returns[:, 1] > work.returns[:, 0]
    depths = decision.case.options.table["depth_mm"].to_numpy()
    deeper = bool(depths[second] > depths[chosen])
    turning = turning_bottom_mm(work.bottom_mm, better, deeper=deeper) if depths[second] != depths[chosen] else None
    return would_change(
        share_better=float(better.mean()),
        other=_named(decision, int(second)),
        bottom_mm=turning,
        deeper=deeper,
        probes=_probes_to_tell(work.bottom_mm, decision.case.prescription.step_mm),
        pays=story.net >= 0,
        needed_t_per_ha=first * decision.ballot.cost[place, chosen] / max(decision.ballot.gain[place, chosen], 1e-9),
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
    asked = decision.case.prescription.cover_share
    if decision.case.prescription.rule != "cover":
        return ()
    reached = decision.ballot.covered[np.arange(len(plan)), decision.pairs[:, 0]]
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
