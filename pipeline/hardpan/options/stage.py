"""What each depth and set-up would return everywhere, before there are zones."""

import numpy as np

from hardpan.options.calibration import calibrate, draft_factors, draft_range_pct
from hardpan.options.candidates import list_candidates
from hardpan.options.choice import Evaluation, choose, positions
from hardpan.options.conditions import soil_effects
from hardpan.options.economy import describe, economy_of, into_clay_mm
from hardpan.options.effort import refuse_powerless
from hardpan.options.ground import build_ground
from hardpan.options.returns import reach_probability
from hardpan.options.settings import MachineSettings, PrescriptionSettings
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.season import SeasonSettings
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey

SHIPPED_MACHINE = MachineSettings()


def weigh_options(  # noqa: PLR0917
    surfaces: Surfaces,
    survey: Survey,
    pan: PanFeatures,
    catalog: Catalog,
    rates: Rates,
    prescription: PrescriptionSettings,
    season: SeasonSettings,
    machine: MachineSettings = SHIPPED_MACHINE,
) -> Options:
    """Give what every candidate depth and set-up would return at every node, over the draws.

    Raises
    ------
    SettingsError
        No set-up has a depth, nothing can be pulled, or the measured fuel cannot be.
    """
    ground = build_ground(surfaces, survey, catalog, prescription)
    table, issues = list_candidates(catalog, prescription, machine)
    reference = ground.main_soil()
    main_soil, main_kpa = ground.soil_names[reference], float(ground.usual_strength_kpa[reference])
    calibration, anchor, measured = calibrate(catalog, ground.textures[reference], machine, main_kpa)
    spread = draft_factors(draft_range_pct(catalog.effort, measured=bool(measured)), rates.scenarios.sizes["draw"])
    economy = economy_of(
        table,
        ground,
        catalog,
        rates,
        pan.excess_shape,
        draft_factor=spread,
        calibration=calibration,
        anchor=anchor,
    )
    pullable = economy.pullable()
    if not pullable[:, 1:].any():
        easiest = 1 + int(table["depth_mm"].to_numpy()[1:].argmin())
        held = economy.passes[main_soil].limited_by[easiest]
        refuse_powerless(catalog, table["depth_mm"][easiest], int(held))
    allowed = ground.allowed(economy.section["depth_mm"], into_clay_mm(table, catalog), pullable)
    credit, barred = soil_effects(
        table=table, survey=survey, ground=ground, catalog=catalog, prescription=prescription, season=season
    )
    offered = allowed & ~barred
    totals, (hours, litres), cost_per_ha = economy.totals(offered, credit), economy.work(), economy.cost()
    cost, paddock_costs = cost_per_ha.mean(axis=1)[ground.soil], economy.summed(cost_per_ha, offered)
    evaluation = Evaluation(
        net=np.where(offered, credit[ground.soil] * totals.gain - cost, -np.inf),
        covered=reach_probability(ground.end_mm(prescription.below_pan_mm), economy.section["depth_mm"]),
        ha=ground.ha,
        depth_mm=economy.section["depth_mm"],
        setup=positions(table["setup"], list(catalog.setups)),
    )
    fitted = choose(evaluation, len(catalog.setups), prescription)[1]
    return Options(
        table=describe(economy, catalog, main_soil),
        net=evaluation.net,
        cost=cost,
        loosened=totals.loosened,
        breach=reach_probability(ground.end_mm(), economy.section["depth_mm"]),
        covered=evaluation.covered,
        fitted=np.isin(evaluation.setup, [-1, *fitted]),
        node_ha=ground.ha,
        paddock_returns=(totals.summed - paddock_costs).T,
        paddock_costs=paddock_costs.T,
        paddock_hours=economy.summed(hours, offered).T,
        paddock_fuel_l=economy.summed(litres, offered).T,
        gain=totals.gain,
        open_to=allowed,
        uniform_depth_mm=prescription.user_uniform_depth_mm,
        zone_cost=catalog.prices.extra_zone.value,
        limit_slack=prescription.limit_slack,
        cover_share=prescription.cover_share if prescription.rule == "cover" else None,
        draft_factor=spread,
        calibration=calibration,
        draft_anchor=anchor,
        reference_soil=main_soil,
        issues=(*issues, *ground.issues, *measured),
    )
