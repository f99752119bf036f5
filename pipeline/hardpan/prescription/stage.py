"""What is chosen in each zone."""

from dataclasses import replace

import numpy as np

from hardpan.options import choose, runner_up
from hardpan.prescription.context import build_context
from hardpan.prescription.evaluation import evaluate_zones, zone_outcome
from hardpan.prescription.past import last_ripping
from hardpan.prescription.planning import write_plan
from hardpan.prescription.reasons import Decision
from hardpan.prescription.setting_up import ballast_issues
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.plan import Plan
from hardpan.records.zones import Zones


def prescribe(
    zones: Zones, options: Options, evidence: Evidence, catalog: Catalog, rates: Rates, *, asked: DecisionSettings
) -> Plan:
    """Depth and set-up of each zone, with its reason, the next best choice and the money."""
    context = build_context(zones, options, evidence, catalog, rates, asked=asked)
    evaluation = evaluate_zones(context)
    chosen, fitted = choose(evaluation, len(catalog.setups), asked.prescription)
    pairs = np.stack([chosen, runner_up(evaluation, chosen, fitted)], axis=1)
    outcomes = [zone_outcome(context, evaluation, row, pair) for row, pair in enumerate(pairs)]
    plan = write_plan(Decision(context=context, evaluation=evaluation, pairs=pairs, fitted=fitted, outcomes=outcomes))
    machine = (*ballast_issues(catalog), *last_ripping(asked.history, catalog, evidence.surfaces.soil_types))
    return replace(plan, issues=(*machine, *plan.issues))
