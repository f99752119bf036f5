"""The pipeline on one page: one call a stage, records in, records out."""

from hardpan.costs.stage import tally
from hardpan.money.stage import price_machines
from hardpan.options.stage import weigh_options
from hardpan.pan.stage import detect_pan
from hardpan.prescription.stage import prescribe
from hardpan.records.catalog import Catalog
from hardpan.records.evidence import Evidence, PaddockRun
from hardpan.records.pan import PanFeatures
from hardpan.records.survey import Survey
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config
from hardpan.run.manifest import Clock, trail_of
from hardpan.surfaces.stage import map_pan
from hardpan.survey.stage import read_survey
from hardpan.zones.stage import draw_zones


def run_paddock(config: Config, clock: Clock) -> PaddockRun:
    """Everything the configuration asks for, from readings to money; writes nothing.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    seed = config.paddock.seed
    with clock.stage("survey"):
        catalog = read_catalog(config)
        survey, pan = read_inputs(config, catalog)
    with clock.stage("surfaces"):
        surfaces = map_pan(pan, survey, config.surfaces, seed=seed, progress=clock.progress)
    with clock.stage("costs"):
        rates = price_machines(catalog, config.season, surfaces, seed=seed)
    evidence = Evidence(survey=survey, pan=pan, surfaces=surfaces)
    with clock.stage("options"):
        options = weigh_options(evidence, catalog, rates, asked=config.decision)
    with clock.stage("zones"):
        zones = draw_zones(evidence, options, catalog, config.zones, asked=config.prescription, seed=seed)
    with clock.stage("prescription"):
        plan = prescribe(zones, options, evidence, catalog, rates, asked=config.decision)
    with clock.stage("costs"):
        ledger = tally(plan, options, catalog, rates, asked=config.decision)
    return PaddockRun(
        survey=survey,
        pan=pan,
        surfaces=surfaces,
        catalog=catalog,
        rates=rates,
        options=options,
        zones=zones,
        plan=plan,
        ledger=ledger,
        trail=trail_of(config, survey, clock),
    )


def read_inputs(config: Config, catalog: Catalog) -> tuple[Survey, PanFeatures]:
    """Checked survey and what each insertion says of the pan: all that `hardpan check` needs."""
    survey = read_survey(config.paddock, config.probes, config.soil, config.grid, catalog.soils)
    return survey, detect_pan(survey.profiles, survey.crs, config.pan)
