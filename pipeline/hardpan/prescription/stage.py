"""What is chosen in each zone: depth and set-up, why, and what comes of them."""

import logging
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.said import Said, depth, percent
from hardpan.options import LEAVE, runner_up
from hardpan.prescription.context import Context, Decision, build_context, on_zones
from hardpan.prescription.evaluation import evaluate_zones, makeup_of, zone_outcome
from hardpan.prescription.limits import limits_of
from hardpan.prescription.reasons import reason_of
from hardpan.prescription.setting import choose_and_set, join_alike
from hardpan.prescription.setting_up import ballast_issues, last_ripping, steps_of
from hardpan.prescription.tables import candidate_table, conditions_of, moisture_table, shipped_numbers
from hardpan.prescription.ways import choose_ways, way_tried
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings, HistorySettings
from hardpan.records.evidence import Evidence
from hardpan.records.issues import Issue, Issues
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.plan import PLAN, Plan
from hardpan.records.zones import Zones

logger = logging.getLogger(__name__)


def settle_zones(
    zones: Zones, options: Options, evidence: Evidence, catalog: Catalog, rates: Rates, *, asked: DecisionSettings
) -> tuple[Zones, Plan]:
    """Zones of which no neighbours of one soil type are worked alike, and the plan of them.

    Those that would be are joined, and the choice is made anew on their ground as a whole, until there are none.
    """
    context = build_context(zones, options, evidence, catalog, rates, asked=asked)
    decided = _decide(context)
    while (joined := join_alike(zones, decided.pairs[:, 0], options, catalog.ripper)) is not zones:
        zones, context = joined, on_zones(context, joined, evidence)
        decided = _decide(context)
    return zones, _plan(decided, asked.history)


def prescribe(
    zones: Zones, options: Options, evidence: Evidence, catalog: Catalog, rates: Rates, *, asked: DecisionSettings
) -> Plan:
    """Depth and set-up of each zone as it is drawn, with its reason, the next best choice and the money."""
    return _plan(_decide(build_context(zones, options, evidence, catalog, rates, asked=asked)), asked.history)


def _decide(context: Context) -> Decision:
    """Option and runner-up of each zone."""
    unset = evaluate_zones(context, limits_of(context))
    settled = choose_and_set(context, unset)
    evaluation, chosen = settled.evaluation, settled.chosen
    pairs = np.stack([chosen, runner_up(evaluation, chosen, settled.fitted)], axis=1)
    return Decision(context=context, unset=unset, settled=settled, pairs=pairs)


def _plan(decision: Decision, history: HistorySettings) -> Plan:
    """Plan of a decision: what comes of it, and why."""
    context, evaluation, pairs = decision.context, decision.evaluation, decision.pairs
    choices = choose_ways(context, decision.unset, pairs[:, 0])
    also = [sorted({choice.option(row) for choice in choices} - {LEAVE}) for row in range(len(pairs))]
    outcomes = [zone_outcome(context, evaluation, row, pair, also[row]) for row, pair in enumerate(pairs)]
    beyond = np.stack([decision.settled.paid(options) for options in pairs.T], axis=1)
    paid = [replace(outcome, returns=outcome.returns - money) for outcome, money in zip(outcomes, beyond, strict=True)]
    ways = tuple(way_tried(choice, outcomes) for choice in choices)
    plan = _written(replace(decision, outcomes=paid, ways=ways), history)
    logger.info("%d zones judged, %d are ripped", len(plan.zones), (plan.zones["depth_mm"] > 0).sum())
    return plan


def _written(decision: Decision, history: HistorySettings) -> Plan:
    """One row and one reason a zone, and the tables behind them."""
    context, outcomes = decision.context, decision.outcomes
    table = context.table
    places = range(len(table))
    zones = pd.DataFrame([_zone_row(decision, place) for place in places])
    plan = gpd.GeoDataFrame(zones, geometry="geometry", crs=table.crs)[list(PLAN)]
    machine = pd.DataFrame([outcome.machine for outcome in outcomes])[(plan["depth_mm"] > 0).to_numpy()]
    machine = machine.reset_index(drop=True)
    reasons = tuple(reason_of(decision, place) for place in places)
    soils = tuple(dict.fromkeys(table.loc[table["kind"] == "ground", "soil_type"]))
    return Plan(
        zones=plan,
        reasons=reasons,
        machine=machine,
        conditions=conditions_of(context, plan["setup"].tolist()),
        moisture=moisture_table(context, plan, reasons),
        returns=np.stack([outcome.returns[:, 0] for outcome in outcomes]),
        setting=decision.settled.setting,
        fitting_h=decision.settled.fitting_h,
        runner_up_returns=np.stack([outcome.returns[:, 1] for outcome in outcomes]),
        hours=np.stack([outcome.hours for outcome in outcomes]),
        fuel_l=np.stack([outcome.fuel_l for outcome in outcomes]),
        candidates=candidate_table(context, decision.evaluation),
        makeup=makeup_of(context, decision.unset),
        defaults=shipped_numbers(context.catalog, soils),
        setting_up=steps_of(context.catalog, machine, plan, decision.settled.fitting_h),
        ways=decision.ways,
        issues=(
            *ballast_issues(context.catalog),
            *last_ripping(history),
            *_short_of_cover(decision, plan),
        ),
    )


def _zone_row(decision: Decision, place: int) -> dict[str, object]:
    table, options = decision.context.table, decision.context.options.table
    zone, outcome, (chosen, _) = table.iloc[place], decision.outcomes[place], decision.pairs[place]
    ground, ripped = zone["kind"] == "ground", chosen != LEAVE
    option = options.iloc[chosen]
    per_ha = outcome.returns[:, 0] / max(zone["area_ha"], 1e-9)
    low, high = np.quantile(per_ha, [0.05, 0.95])
    behind = float(per_ha.mean() - outcome.returns[:, 1].mean() / zone["area_ha"]) if ground else 0.0
    return {
        "zone": int(zone["zone"]),
        "kind": zone["kind"],
        "soil_type": zone["soil_type"],
        "area_ha": float(zone["area_ha"]),
        "depth_mm": int(option["depth_mm"]),
        "setup": option["setup"],
        "spacing_mm": float(option["spacing_mm"]),
        "speed_kmh": outcome.speed_kmh if ripped else 0.0,
        "passes": outcome.pull.passes if ripped else 0,
        "runner_up_cost_per_ha": behind,
        "breach_probability": outcome.breach if ground else 0.0,
        "loosened_share": outcome.loosened if ripped else 0.0,
        "net_per_ha": float(per_ha.mean()),
        "net_low_per_ha": float(low),
        "net_high_per_ha": float(high),
        "loss_probability": float((per_ha < 0).mean()),
        "geometry": table.geometry.iloc[place],
    }


def _short_of_cover(decision: Decision, plan: gpd.GeoDataFrame) -> Issues:
    asked = decision.context.prescription.cover_share
    if decision.context.prescription.rule != "cover":
        return ()
    reached = decision.evaluation.covered[np.arange(len(plan)), decision.pairs[:, 0]]
    short = (plan["depth_mm"].to_numpy() > 0) & (reached < asked)
    return tuple(
        Issue(
            stage="prescription",
            code="cover-not-reached",
            what=f"no allowed depth passes below the pan on {percent(asked)} of the zone",
            done=Said("the deepest allowed, {depth}, does so on {share}", depth=depth(mm), share=percent(share)),
            place=f"zone {zone}",
        )
        for zone, mm, share in zip(plan["zone"][short], plan["depth_mm"][short], reached[short], strict=True)
    )
