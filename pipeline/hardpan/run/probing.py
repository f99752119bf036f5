"""Where to probe, on one page."""

from hardpan.core.threads import one_blas_thread
from hardpan.records.probing import ProbingRun
from hardpan.run.catalog import read_catalog
from hardpan.run.config import PaddockConfig
from hardpan.run.free_memory import memory_of
from hardpan.run.manifest import Clock, trail_of
from hardpan.sites.effort import Scatter
from hardpan.sites.stage import plan_coverage
from hardpan.survey.stage import read_access, read_survey


@one_blas_thread()
def plan_sites(config: PaddockConfig, clock: Clock) -> ProbingRun:
    """Sites to probe in a paddock, in walking order; writes nothing.

    Raises
    ------
    HardpanError
        An input or a setting cannot be used.
    """
    with clock.stage("survey"):
        catalog = read_catalog(config)
        memory = memory_of(config.memory)
        survey = read_survey(config.paddock, config.probes, config.soil, config.grid, catalog.soils, memory=memory)
        access, survey = read_access(config.sites, survey)
    usual = config.surfaces.priors
    with clock.stage("sites"):
        plan = plan_coverage(
            survey,
            access,
            config.sites,
            scatter=Scatter(between=usual.thickness_sd_mm**2, within=usual.noise_mm**2),
            precision_mm=config.surfaces.precision_mm,
            seed=config.paddock.seed,
        )
    return ProbingRun(survey=survey, access=access, catalog=catalog, plan=plan, trail=trail_of(config, survey, clock))
