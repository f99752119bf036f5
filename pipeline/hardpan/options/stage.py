"""What each depth and set-up would return everywhere, before there are zones."""

import logging

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.options.assembly import economy_on
from hardpan.options.calibration import calibrate, calibrations
from hardpan.options.candidates import into_clay_mm, list_candidates
from hardpan.options.choice import Evaluation, choose, positions
from hardpan.options.conditions import soil_effects
from hardpan.options.economy import Economy, describe, reach_probability
from hardpan.options.effort import Puller, refuse_powerless
from hardpan.options.ground import build_ground
from hardpan.options.mechanics import least_strength_factor
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.machines import SetUp
from hardpan.records.options import Draft, Options, Uniform


def check_machine(catalog: Catalog, soil_types: tuple[str, ...], *, asked: DecisionSettings) -> None:
    """Refuse a machine that no ground of the paddock could be ripped with, whatever the pan is like.

    The ground is taken as soft as draft can be: what hangs on the strength of the mapped pan is left to
    `weigh_options`.

    Raises
    ------
    SettingsError
        No set-up has a depth, the measured pass cannot be, or nothing can be pulled.
    """
    depth_mm, setups = _pulled(catalog, list_candidates(catalog, asked.prescription, asked.machine)[0])
    held = list[tuple[int, float]]()
    for texture, factor in calibrations(catalog, [catalog.soils[name].texture for name in soil_types], asked.machine):
        softest = factor * least_strength_factor(catalog.effort)
        passes = Puller(catalog=catalog, texture=texture, setups=setups, depth_mm=depth_mm, factor=softest).plan()
        if not np.isnan(passes.speed_kmh).all():
            return
        easiest = int(depth_mm.argmin())
        held.append((int(passes.limited_by[easiest]), float(passes.tractor_load[easiest])))
    refuse_powerless(catalog, float(depth_mm.min()), *held[0])


def _pulled(catalog: Catalog, table: pd.DataFrame) -> tuple[Floats, tuple[SetUp, ...]]:
    """Depth (n,) and set-up of each option that is pulled."""
    ripped = table[table["depth_mm"] > 0]
    return ripped["depth_mm"].to_numpy(float), tuple(catalog.setups[name] for name in ripped["setup"])


logger = logging.getLogger(__name__)


def weigh_options(
    evidence: Evidence, catalog: Catalog, rates: Rates, *, asked: DecisionSettings, draft: Draft | None = None
) -> Options:
    """What every candidate depth and set-up would return at every node, over the draws.

    `draft` is that of the paddock as a pass of another machine left it; None: as `asked` tells.

    Raises
    ------
    SettingsError
        No set-up has a depth, nothing can be pulled, or the measured fuel cannot be.
    """
    prescription, survey = asked.prescription, evidence.survey
    ground = build_ground(evidence.surfaces, survey, catalog, prescription)
    table, issues = list_candidates(catalog, prescription, asked.machine)
    reference = ground.main_soil()
    main_soil, main_kpa = ground.soil_names[reference], float(ground.usual_strength_kpa[reference])
    n_draws = rates.scenarios.sizes["draw"]
    texture, machine = ground.textures[reference], asked.machine
    known = (draft, ()) if draft else calibrate(catalog, texture, machine, main_kpa, n_draws=n_draws)
    draft, measured = known
    economy = economy_on(ground, table, evidence, catalog, rates, draft=draft, asked=asked)
    pullable, depth_mm = economy.pullable(), economy.section["depth_mm"]
    _refuse_powerless(economy, catalog, main_soil, pullable)
    allowed = ground.allowed(depth_mm, into_clay_mm(table, catalog), pullable)
    credit, barred = soil_effects(
        table=table, survey=survey, ground=ground, catalog=catalog, prescription=prescription, season=asked.season
    )
    offered = allowed & ~barred
    totals, cost_per_ha = economy.totals(offered, credit), economy.cost()
    cost = cost_per_ha.mean(axis=1)[ground.soil]
    evaluation = Evaluation(
        net=np.where(offered, credit[ground.soil] * totals.gain - cost, -np.inf),
        covered=reach_probability(ground.end_mm(prescription.cover_below_pan_mm), depth_mm),
        ha=ground.ha,
        depth_mm=depth_mm,
        setup=positions(table["setup"], list(catalog.setups)),
    )
    fitted = choose(evaluation, len(catalog.setups), prescription)[1]
    logger.info(
        "%d options at %d nodes over %d draws; %d of them allowed somewhere",
        len(table), len(ground.ha), n_draws, offered.any(axis=0).sum(),
    )  # fmt: skip
    return Options(
        table=describe(economy, catalog, main_soil),
        net=evaluation.net,
        cost=cost,
        gain=totals.gain,
        allowed=allowed,
        loosened=totals.loosened,
        breach=reach_probability(ground.end_mm(), depth_mm),
        covered=evaluation.covered,
        fitted=np.isin(evaluation.setup, [-1, *fitted]),
        node_ha=ground.ha,
        uniform=_uniform(economy, offered, totals.summed, cost_per_ha),
        draft=draft,
        reference_soil=main_soil,
        issues=(*issues, *ground.issues, *measured),
    )


def _refuse_powerless(economy: Economy, catalog: Catalog, main_soil: str, pullable: Bools) -> None:
    if not pullable[:, 1:].any():
        depth_mm = economy.section["depth_mm"]
        easiest = 1 + int(depth_mm[1:].argmin())
        passes = economy.passes[main_soil]
        refuse_powerless(
            catalog, depth_mm[easiest], int(passes.limited_by[easiest]), float(passes.tractor_load[easiest])
        )


def _uniform(economy: Economy, offered: Bools, worth: Floats, cost_per_ha: Floats) -> Uniform:
    """Each option wherever it is `offered`; `worth` (n_draws, n_options) is that of what is broken there."""
    (hours, litres), costs = economy.work(), economy.summed(cost_per_ha, offered)
    return Uniform(
        returns=(worth - costs).T,
        costs=costs.T,
        hours=economy.summed(hours, offered).T,
        fuel_l=economy.summed(litres, offered).T,
    )
