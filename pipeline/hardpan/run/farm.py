"""A list of paddocks, worked through: one result folder a paddock, and what is told of all of them."""

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import hardpan
from hardpan.core.errors import HardpanError, SettingsError
from hardpan.farm.cluster import connect
from hardpan.farm.runners import Processes, Runner, Serial
from hardpan.farm.stage import Tell, combine_totals, unheard, work_through
from hardpan.outputs.folder import clear_leftovers
from hardpan.outputs.ownership import check_farm_folder
from hardpan.records.farm import Allotment, Job, Outcome, RunnerKind, Status
from hardpan.records.past import FarmRun, FarmSeason, PaddockResult
from hardpan.run.farm_job import work_paddock
from hardpan.run.farm_list import FarmList, read_farm_list
from hardpan.run.farm_season import check_plan, plan_farm_season
from hardpan.run.free_memory import free_bytes, usable_cores
from hardpan.run.manifest import Clock
from hardpan.survey.inputs.earlier import read_paddock_result


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmOptions:
    """How a list is worked through."""

    runner: RunnerKind = RunnerKind.PROCESSES
    scheduler: str | None = None
    """Address of a running scheduler; None: one of this machine's own."""
    workers: int | None = None
    """Paddocks at a time; None: as many as processors."""
    dry: bool = False
    """Check every paddock and write nothing."""


LOCAL = FarmOptions()


def run_farm(file: Path, out: Path, clock: Clock, options: FarmOptions = LOCAL, *, tell: Tell = unheard) -> FarmRun:
    """What came of every paddock of a list; the result of each is put into its own folder below `out`.

    A paddock whose earlier result is whole and made of the same inputs, settings and version keeps it. One that fails
    stops no other. Killed at any moment, each folder holds a whole result or none, and the same call goes on.

    Raises
    ------
    HardpanError
        The list cannot be used, `out` holds what is not ours, or the scheduler cannot be reached; nothing is written.
    """
    with clock.stage("list"):
        listed = read_farm_list(file)
        if listed.plan is not None:
            check_plan(listed.plan, {one.place: one.wishes for one in listed.paddocks})
        check_farm_folder(out, [one.slug for one in listed.paddocks])
    with open_runner(options) as runner:
        if not options.dry:
            out.mkdir(parents=True, exist_ok=True)
            clear_leftovers(out)
        earlier = _read_earlier(listed, out)
        jobs = _jobs(listed, out, clock, earlier, dry=options.dry)
        with clock.stage("paddocks"):
            outcomes = work_through(_by_worth(jobs, earlier), work_paddock, runner, tell=tell, progress=clock.progress)
        if not options.dry:
            clear_leftovers(out)
    found, results = _read_results(jobs, {outcome.slug: outcome for outcome in outcomes}, earlier)
    with clock.stage("season"):
        season, fault = _season(listed, results)
    return FarmRun(
        file=file,
        digest=hashlib.sha256(file.read_bytes()).hexdigest(),
        jobs=jobs,
        outcomes=found,
        results=results,
        tallies=combine_totals({slug: result.totals for slug, result in results.items()}),
        must={one.slug: one.wishes.must for one in listed.paddocks},
        season=season,
        fault=fault,
        version=hardpan.__version__,
        started=clock.started,
    )


@contextmanager
def open_runner(options: FarmOptions) -> Iterator[Runner]:
    """The runner asked for, with its processes or its connection ended after the block.

    Raises
    ------
    HardpanError
        It needs what is not installed, or cannot be reached.
    """
    if options.scheduler is not None and options.runner is not RunnerKind.DASK:
        raise SettingsError(what=f"--scheduler {options.scheduler} without --runner dask", do="add --runner dask")
    workers = options.workers or usable_cores()
    part = Allotment(free_bytes=free_bytes() / workers, threads=max(1, usable_cores() // workers))
    if options.runner is RunnerKind.SERIAL:
        yield Serial()
    elif options.runner is RunnerKind.DASK:
        with connect(options.scheduler, workers, part, hardpan.__version__) as cluster:
            yield cluster
    else:
        yield Processes(workers=workers, allotment=part)


def _read_earlier(listed: FarmList, out: Path) -> dict[str, PaddockResult]:
    """Earlier results that can be read, by slug, whether or not they are still those of their configurations."""
    found = dict[str, PaddockResult]()
    for one in listed.paddocks:
        with suppress(HardpanError):
            found[one.slug] = read_paddock_result(out / one.slug)
    return found


def _jobs(
    listed: FarmList, out: Path, clock: Clock, earlier: Mapping[str, PaddockResult], *, dry: bool
) -> tuple[Job, ...]:
    return tuple(
        Job(
            paddock=one.name,
            place=one.place,
            config=one.config.resolve(),
            folder=out.resolve() / one.slug,
            defaults=listed.defaults,
            version=hardpan.__version__,
            now=clock.now,
            dry=dry,
            earlier=one.slug in earlier,
        )
        for one in listed.paddocks
    )


def _by_worth(jobs: tuple[Job, ...], earlier: Mapping[str, PaddockResult]) -> tuple[Job, ...]:
    """Jobs in the order of work: first those never worked out, then by return per hour of the earlier result."""
    worth = {slug: result.net_per_hour for slug, result in earlier.items()}
    return tuple(sorted(jobs, key=lambda job: -worth.get(job.slug, float("inf"))))


def _season(listed: FarmList, results: dict[str, PaddockResult]) -> tuple[FarmSeason | None, str]:
    """Plan of the season, or why there is none: what was worked out stands whatever becomes of the plan."""
    if listed.plan is None or not results:
        return None, ""
    wishes = {one.slug: one.wishes for one in listed.paddocks}
    try:
        return plan_farm_season(results, wishes, listed.plan), ""
    except HardpanError as err:
        return None, "; ".join(str(err).splitlines())


def _read_results(
    jobs: tuple[Job, ...], outcomes: Mapping[str, Outcome], earlier: Mapping[str, PaddockResult]
) -> tuple[tuple[Outcome, ...], dict[str, PaddockResult]]:
    """Outcomes in the order of the jobs, and the results of those done or kept; what cannot be read has failed."""
    found, results = list[Outcome](), dict[str, PaddockResult]()
    for outcome in (outcomes[job.slug] for job in jobs):
        told = outcome
        if outcome.status is Status.KEPT:
            results[outcome.slug] = earlier[outcome.slug]
        elif outcome.status is Status.DONE:
            try:
                results[outcome.slug] = read_paddock_result(jobs[len(found)].folder)
            except HardpanError as err:
                told = replace(outcome, status=Status.FAILED, reason=str(err))
        found.append(told)
    return tuple(found), results
