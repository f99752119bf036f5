"""What each depth and set-up would return everywhere, before there are zones."""

import logging

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.options.calibration import calibrate, calibrations
from hardpan.options.candidates import into_clay_mm, list_candidates, tine_counts
from hardpan.options.choice import Evaluation, choose_number, positions, uniform_of, work_with
from hardpan.options.economy import Economy, describe, reach_probability
from hardpan.options.effort import Puller, refuse_powerless
from hardpan.options.ground import build_ground
from hardpan.options.mechanics import least_strength_factor
from hardpan.options.soil_types import economy_on, soil_effects
from hardpan.records.catalog import Catalog
from hardpan.records.decision import DecisionSettings
from hardpan.records.evidence import Evidence
from hardpan.records.ledger import Rates
from hardpan.records.machines import SetUp
from hardpan.records.options import Draft, Options


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
    fewest, held = tine_counts(catalog.ripper, asked.machine.tines)[-1], list[tuple[int, float]]()
    for texture, factor in calibrations(catalog, [catalog.soils[name].texture for name in soil_types], asked.machine):
        softest = factor * least_strength_factor(catalog.effort)
        puller = Puller(catalog=catalog, texture=texture, setups=setups, depth_mm=depth_mm, factor=softest)
        passes = puller.plan(fewest)
        if not np.isnan(passes.speed_kmh).all():
            return
        easiest = int(depth_mm.argmin())
        held.append((int(passes.limited_by[easiest]), float(passes.tractor_load[easiest])))
    refuse_powerless(catalog, float(depth_mm.min()), *held[0], fewest)


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
    counts = tine_counts(catalog.ripper, machine.tines)
    economy = economy_on(ground, table, evidence, catalog, rates, draft=draft, asked=asked, tines=counts[-1])
    pullable, depth_mm, into_mm = economy.pullable(), economy.section["depth_mm"], into_clay_mm(table, catalog)
    _refuse_powerless(economy, catalog, main_soil, pullable)
    credit, barred = soil_effects(
        table=table, survey=survey, ground=ground, catalog=catalog, prescription=prescription, season=asked.season
    )
    # the fewest tines pull whatever any number does
    offered = ground.allowed(depth_mm, into_mm, pullable) & ~barred
    totals, worked = economy.totals(offered, credit), work_with(economy, catalog, draft, counts)
    gained = Evaluation(
        net=np.where(offered, credit[ground.soil] * totals.gain, -np.inf),
        covered=reach_probability(ground.end_mm(prescription.cover_below_pan_mm), depth_mm),
        ha=ground.ha,
        depth_mm=depth_mm,
        setup=positions(table["setup"], list(catalog.setups)),
    )
    best, fitting = choose_number(worked, gained, catalog, prescription)
    logger.info(
        "%d options at %d nodes over %d draws; %d of them allowed somewhere; %d tines",
        len(table), len(ground.ha), n_draws, offered.any(axis=0).sum(), best.economy.tines,
    )  # fmt: skip
    return Options(
        table=describe(best.economy, catalog, main_soil),
        net=best.evaluated(gained).net,
        cost=best.cost.mean(axis=1)[ground.soil],
        gain=totals.gain,
        loosened=totals.loosened,
        breach=reach_probability(ground.end_mm(), depth_mm),
        covered=gained.covered,
        fitted=np.isin(gained.setup, [-1, *fitting.setups]),
        node_ha=ground.ha,
        uniform=uniform_of(worked, offered, totals.summed),
        tines=best.economy.tines,
        draft=draft,
        issues=(*issues, *ground.issues, *measured),
    )


def _refuse_powerless(economy: Economy, catalog: Catalog, main_soil: str, pullable: Bools) -> None:
    if not pullable[:, 1:].any():
        depth_mm = economy.section["depth_mm"]
        easiest = 1 + int(depth_mm[1:].argmin())
        passes = economy.passes[main_soil]
        limited_by, tractor_load = int(passes.limited_by[easiest]), float(passes.tractor_load[easiest])
        refuse_powerless(catalog, depth_mm[easiest], limited_by, tractor_load, economy.tines)
