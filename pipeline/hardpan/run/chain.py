"""The pipeline on one page: one call a stage, records in, records out."""

from dataclasses import replace
from functools import partial

from hardpan.core.errors import Faults, HardpanError, InputError, SettingsError
from hardpan.core.memory import UNLIMITED, Memory
from hardpan.core.threads import one_blas_thread
from hardpan.costs.stage import tally
from hardpan.money.stage import price_machines
from hardpan.options.stage import check_machine, weigh_options
from hardpan.outputs.display import check_outputs
from hardpan.pan.stage import detect_pan
from hardpan.prescription.sensitivity import money_moved
from hardpan.prescription.stage import settle_zones
from hardpan.records.catalog import Catalog
from hardpan.records.evidence import Evidence, PaddockRun, Prepared
from hardpan.records.farm import WHOLE_MACHINE, Allotment
from hardpan.records.ledger import Rates
from hardpan.records.options import Options
from hardpan.records.pan import PanFeatures
from hardpan.records.plan import Plan
from hardpan.records.probing import SitePlan
from hardpan.records.survey import Survey
from hardpan.records.weather import DailyTable, SeasonWater
from hardpan.records.zones import Zones
from hardpan.run.alternatives import read_offers, try_alternatives
from hardpan.run.catalog import moisture_models, read_catalog
from hardpan.run.config import Config
from hardpan.run.faults import all_faults, questions
from hardpan.run.free_memory import held_bytes, memory_of
from hardpan.run.manifest import Clock, trail_of
from hardpan.run.outlook import outlook_of
from hardpan.run.projection import check_memory
from hardpan.season.stage import balance_weather
from hardpan.sites.stage import plan_infill
from hardpan.strips.stage import lay_strips
from hardpan.surfaces.stage import check_mappable, map_pan
from hardpan.survey.stage import read_access, read_daily, read_survey
from hardpan.zones.stage import check_ground, draw_zones


@one_blas_thread()
def run_paddock(
    config: Config, clock: Clock, *, further: bool | None = None, allotment: Allotment = WHOLE_MACHINE
) -> PaddockRun:
    """Everything the configuration asks for, from readings to money; writes nothing.

    Where to probe again, and how much money each unchecked number moves, is worked out where `further`; left out, where
    a report is to say so. The `allotment` is what this run may take of a machine that others use at the same time; the
    result does not depend on it.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    seed, reported = config.paddock.seed, "report" in config.outputs.formats if further is None else further
    ready, surfaces_asked = prepare(config, clock, allotment), _within(config, allotment).surfaces
    catalog, survey, pan, rates = ready.catalog, ready.survey, ready.pan, ready.rates
    with clock.stage("surfaces"):
        surfaces = map_pan(pan, survey, surfaces_asked, seed=seed, progress=clock.progress)
    evidence = Evidence(survey=survey, pan=pan, surfaces=surfaces)
    with clock.stage("options"):
        options = weigh_options(evidence, catalog, rates, asked=config.decision)
    with clock.stage("zones"):
        zones = draw_zones(
            evidence,
            options,
            catalog,
            config.zones,
            asked=config.prescription,
            seed=seed,
            tramlines=ready.access.tramlines,
        )
    with clock.stage("prescription"):
        zones, plan = settle_zones(zones, options, evidence, catalog, rates, asked=config.decision)
        decided = plan, zones, options, evidence, catalog
        price = partial(_price, config, survey.soil_types)
        moves = money_moved(*decided, rates=rates, price=price, asked=config.decision) if reported else None
    settled = zones, plan
    machines = try_alternatives(evidence, options, zones, plan, ready=ready, config=config)
    strips = None
    if config.strips.asked:
        with clock.stage("strips"):
            laid = lay_strips(zones, plan, survey.paddock, catalog.ripper, config.strips, seed=seed)
        zones, plan, strips = laid.zones, laid.plan, laid.strips
    with clock.stage("costs"):
        ledger = tally(plan, options, catalog, rates, asked=config.decision)
    sites = None
    if reported:
        with clock.stage("sites"):
            sites = _further(evidence, options, settled, ready, config)
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
        trail=trail_of(config, survey.digests, seed, clock),
        strips=strips,
        machines=machines,
        moves=moves,
        further=sites,
        outlook=outlook_of(ready, plan, ledger, config.season),
    )


def _further(
    evidence: Evidence, options: Options, settled: tuple[Zones, Plan], ready: Prepared, config: Config
) -> SitePlan | None:
    """Where to probe again; None where no pan was met, or where ground may be ripped but not probed."""
    try:
        return plan_infill(
            evidence,
            options,
            *settled,
            catalog=ready.catalog,
            rates=ready.rates,
            access=ready.access,
            settings=config.sites,
            asked=config.decision,
        )
    except InputError:
        return None


def _within(config: Config, allotment: Allotment) -> Config:
    """Configuration with no more threads than allotted."""
    threads = min(config.surfaces.threads, allotment.threads or config.surfaces.threads)
    return config.model_copy(update={"surfaces": config.surfaces.model_copy(update={"threads": threads})})


def prepare(config: Config, clock: Clock, allotment: Allotment = WHOLE_MACHINE) -> Prepared:
    """All that is known before anything is mapped: what `hardpan check` reads and refuses, and `run` builds on.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used, or no plan could come of them.
    """
    with clock.stage("survey"):
        memory = memory_of(config.memory, allotment)
        try:
            catalog = read_catalog(config)
            survey, pan = read_inputs(config, catalog, memory)
            access, survey = read_access(config.sites, survey)
            weather, water, survey = _weather(config, catalog, survey)
            catalog = catalog.model_copy(update={"soil_water": {} if water is None else water.soils})
        except HardpanError as err:
            raise all_faults(err, config) from err
        faults = Faults()
        with faults.gathered():
            check_outputs(survey, config.outputs)
        with faults.gathered():
            check_mappable(pan)
        with faults.gathered():
            check_ground(survey, catalog.ripper, config.zones)
        with faults.gathered():
            check_machine(catalog, survey.soil_types, asked=config.decision)
        faults.refuse()
        rates = _price(config, survey.soil_types, catalog, config.surfaces.draws)
        offers = read_offers(config, catalog, survey.soil_types)
        ready = Prepared(
            catalog=catalog,
            survey=survey,
            pan=pan,
            rates=rates,
            access=access,
            offers=offers,
            weather=weather,
            water=water,
        )
        check_memory(ready, _within(config, allotment), replace(memory, held_bytes=held_bytes()))
    return ready


def _price(config: Config, soil_types: tuple[str, ...], catalog: Catalog, n_draws: int) -> Rates:
    """What an hour, a litre and a loosened hectare are worth by a catalogue."""
    return price_machines(catalog, config.season, soil_types, n_draws=n_draws, seed=config.paddock.seed)


def _weather(config: Config, catalog: Catalog, survey: Survey) -> tuple[DailyTable | None, SeasonWater | None, Survey]:
    """The season's weather, what it says of each soil type, and the survey with what was noted of it."""
    if config.season.weather is None:
        return None, None, survey
    weather, survey = read_daily(config.season.weather, survey)
    water = balance_weather(weather, config.season, catalog, survey.soil_types)
    return weather, water, replace(survey, issues=(*survey.issues, *water.issues))


def read_inputs(config: Config, catalog: Catalog, memory: Memory = UNLIMITED) -> tuple[Survey, PanFeatures]:
    """Checked survey, and what each insertion says of the pan."""
    survey = read_survey(config.paddock, config.probes, config.soil, config.grid, catalog.soils, memory=memory)
    survey = replace(survey, issues=(*survey.issues, *questions(config, survey, catalog)))
    return survey, detect_pan(survey.profiles, survey.crs, config.pan, moisture_models(config))


def weigh_machines(config: Config, clock: Clock) -> PaddockRun:
    """The paddock planned with the present machine, and in `machines` what the others would do there; writes nothing.

    Raises
    ------
    HardpanError
        No other machine is given, or an input or a setting cannot be used.
    """
    if not config.alternatives:
        raise SettingsError(
            what="there is nothing to compare the present machine with",
            where="[[alternatives]]",
            right="tables with name and tractor, ripper, setup or rate_per_ha",
        )
    return run_paddock(config, clock, further=False)
