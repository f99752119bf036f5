"""Where to probe, on one page."""

from hardpan.core.errors import HardpanError
from hardpan.core.threads import one_blas_thread
from hardpan.records.probing import ProbingRun
from hardpan.records.survey import Survey
from hardpan.run.catalog import moisture_models, read_catalog
from hardpan.run.config import Config, PaddockConfig
from hardpan.run.faults import all_faults
from hardpan.run.free_memory import memory_of
from hardpan.run.manifest import Clock, trail_of
from hardpan.sites.effort import Scatter, own_scatter
from hardpan.sites.stage import plan_coverage
from hardpan.survey.stage import read_access, read_survey


@one_blas_thread()
def plan_sites(config: PaddockConfig, clock: Clock) -> ProbingRun:
    """Sites to probe in a paddock, in walking order; writes nothing.

    A first survey, or beside readings those that are worth most to the decision of `run_paddock`.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    if isinstance(config, Config) and config.sites.by == "worth":
        from hardpan.run.chain import run_paddock  # a first survey needs nothing of it

        run = run_paddock(config, clock, further=True)
        if run.further is not None:
            return ProbingRun(survey=run.survey, catalog=run.catalog, plan=run.further, trail=run.trail)
    return _by_coverage(config, clock)


def _by_coverage(config: PaddockConfig, clock: Clock) -> ProbingRun:
    with clock.stage("survey"):
        memory = memory_of(config.memory)
        try:
            catalog = read_catalog(config)
            survey = read_survey(config.paddock, config.probes, config.soil, config.grid, catalog.soils, memory=memory)
            access, survey = read_access(config.sites, survey)
        except HardpanError as err:
            raise all_faults(err, config) from err
    with clock.stage("sites"):
        plan = plan_coverage(
            survey,
            access,
            config.sites,
            scatter=_scatter(config, survey),
            precision_mm=config.surfaces.precision_mm,
            seed=config.paddock.seed,
        )
    return ProbingRun(
        survey=survey, catalog=catalog, plan=plan, trail=trail_of(config, survey.digests, config.paddock.seed, clock)
    )


def _scatter(config: PaddockConfig, survey: Survey) -> Scatter:
    """What is usual between sites and within one; within as the readings tell, where there are any."""
    usual = config.surfaces.priors
    scatter = Scatter(between=usual.thickness_sd_mm**2, within=usual.noise_mm**2)
    if not isinstance(config, Config):
        return scatter
    from hardpan.pan.stage import detect_pan

    pan = detect_pan(survey.profiles, survey.crs, config.pan, moisture_models(config))
    return own_scatter(scatter, usual.noise_factor, pan)
