"""What is chosen in each zone."""

from dataclasses import replace

import numpy as np

from hardpan.options import PrescriptionSettings, choose, runner_up
from hardpan.prescription.context import build_context
from hardpan.prescription.evaluation import evaluate_zones, zone_outcome
from hardpan.prescription.past import last_ripping
from hardpan.prescription.setting_up import ballast_issues
from hardpan.prescription.telling import Decision, write_plan
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.season import HistorySettings, SeasonSettings
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey
from hardpan.records.zones import Zones


def prescribe(  # noqa: PLR0917
    zones: Zones,
    options: Options,
    surfaces: Surfaces,
    survey: Survey,
    pan: PanFeatures,
    catalog: Catalog,
    rates: Rates,
    prescription: PrescriptionSettings,
    season: SeasonSettings,
    history: HistorySettings,
) -> Plan:
    """Give the depth and set-up of each zone, with its reason, the next best choice and the money."""
    context = build_context(
        zones=zones,
        options=options,
        surfaces=surfaces,
        survey=survey,
        pan=pan,
        catalog=catalog,
        rates=rates,
        prescription=prescription,
        season=season,
    )
    evaluation = evaluate_zones(context)
    chosen, fitted = choose(evaluation, len(catalog.setups), prescription)
    pairs = np.stack([chosen, runner_up(evaluation, chosen, fitted)], axis=1)
    outcomes = [zone_outcome(context, evaluation, row, pair) for row, pair in enumerate(pairs)]
    plan = write_plan(Decision(context=context, evaluation=evaluation, pairs=pairs, fitted=fitted, outcomes=outcomes))
    machine = (*ballast_issues(catalog), *last_ripping(history, catalog, surfaces.soil_types))
    return replace(plan, issues=(*machine, *plan.issues))
