"""The days of a season over a list of paddocks: settings and calendars in, the plan of the season out."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from hardpan.core.arrays import Bools
from hardpan.core.errors import SettingsError
from hardpan.core.settings import InputPath, Settings, setting
from hardpan.farm.stage import combine_totals
from hardpan.records.ledger import net_of_all
from hardpan.records.past import FarmSeason, PaddockResult
from hardpan.records.season import Fate, Job, Rig, SeasonPlan
from hardpan.run.farm_fit import calendars_of, read_fit_table, typical_year
from hardpan.run.free_memory import usable_cores
from hardpan.season.accounts import stress_plan
from hardpan.season.planning import plan_season

_MOST_DAYS = 400
_HALF = 0.5


class RigSettings(Settings):
    """One rig of `[[plan.machines]]`; what is left out is as on the machine the paddocks were worked out with."""

    name: str = setting(says="Name it goes by", min_length=1)
    width_m: float | None = setting(None, says="Working width", unit="m", gt=0)
    speed_kmh: float | None = setting(None, says="Speed at work", unit="km/h", gt=0)
    deepest_mm: float | None = setting(None, says="It rips no paddock with a deeper zone", unit="mm", gt=0)
    dearer_per_ha: float = setting(
        0.0, says="What a ripped hectare costs more than with the machine of the paddocks; less: below 0", unit="money"
    )
    hours_per_day: float | None = setting(None, says="Hours in a day; else those of the plan", unit="h", gt=0, le=24)
    fold_h: float | None = setting(None, says="Folding for the road; else that of the plan", unit="h", ge=0)
    road_kmh: float | None = setting(None, says="Speed on the road; else that of the plan", unit="km/h", gt=0)
    not_before: date | None = setting(None, says="First day it is there")
    not_after: date | None = setting(None, says="Last day it is there")


class SeasonPlanSettings(Settings):
    """The `[plan]` table of a list of paddocks."""

    first: date = setting(says="First day of ripping")
    last: date = setting(says="Last day of ripping")
    hours_per_day: float = setting(10.0, says="Ripping hours in a day, moves included", unit="h", gt=0, le=24)
    rigs: int = setting(1, says="Rigs, all like the machine of the paddocks", ge=1, le=20)
    machines: tuple[RigSettings, ...] = setting((), says="Rigs that differ, instead of `rigs`", max_length=20)
    fold_h: float = setting(0.25, says="Folding the ripper for the road, unfolding as long again", unit="h", ge=0)
    road_kmh: float = setting(25.0, says="Speed between paddocks, straight lines", unit="km/h", gt=0)
    fit: InputPath | None = setting(
        None,
        says="Days on which soils are fit: a table of date and, by soil type or all as `fit`, yes or no; left out, the "
        "days come from season.weather of the paddocks",
    )
    sure: float = setting(
        _HALF, says="Share of the years that have as many fit days as the plan counts on, or more", gt=0, le=1
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What is asked of one paddock in the season."""

    must: bool = False
    waiting_per_day: float = 0.0
    not_before: date | None = None
    not_after: date | None = None


def plan_farm_season(
    results: Mapping[str, PaddockResult], wishes: Mapping[str, Wishes], settings: SeasonPlanSettings
) -> FarmSeason | None:
    """Which paddock is ripped on which days, and, where fit days of several years are known, how often each is.

    None where no paddock is to be ripped at all.

    Raises
    ------
    InputError
        The table of fit days cannot be used, or a paddock that must be ripped cannot be.
    SettingsError
        The days of the plan are none.
    """
    days, asked = _days(settings), _asked(settings)
    ripped = {slug: result for slug, result in results.items() if result.hours > 0.0}
    if not ripped:
        return None
    known = calendars_of(ripped, days, None if settings.fit is None else read_fit_table(settings.fit))
    rigs = [_rig(one, settings, days) for one in asked]
    planned_with = _planned_with(known.years, days, ripped, settings.sure)
    fit = known.years.get(days[0].year if planned_with is None else planned_with, {})
    places = _places(ripped)
    jobs = [
        Job(
            paddock=slug,
            hours={one.name: _hours(result, one) for one in asked if _reaches(one, result)},
            net={one.name: result.net - one.dearer_per_ha * result.ripped_ha for one in asked},
            fit=fit.get(slug, np.ones(len(days), dtype=bool)),
            allowed=_allowed(days, wishes[slug].not_before, wishes[slug].not_after),
            must=wishes[slug].must,
            waiting_per_day=wishes[slug].waiting_per_day,
            x_m=places[slug][0],
            y_m=places[slug][1],
        )
        for slug, result in ripped.items()
    ]
    plan = plan_season(jobs, rigs, days, threads=usable_cores())
    others = {year: fits for year, fits in known.years.items() if year != days[0].year}
    return FarmSeason(
        plan=plan,
        stress=stress_plan(plan, jobs, rigs, others) if len(others) > 1 else None,
        open_days={job.paddock: job.open_days for job in jobs},
        unknown=known.unknown if known.years else tuple(ripped),
        planned_with=planned_with,
        sure=settings.sure,
        returns=_returns(plan, ripped),
        idle=tuple(rig.name for rig in rigs if rig.name not in set(plan.work["rig"])),
    )


def check_plan(settings: SeasonPlanSettings, wishes: Mapping[str, Wishes]) -> None:
    """Refuse days or a table of fit days that cannot be used, before any paddock is worked out.

    Parameters
    ----------
    wishes : mapping of Wishes
        By the paddock's place in the list.

    Raises
    ------
    HardpanError
        One line.
    """
    days = _days(settings)
    spans = {f'[[plan.machines]] "{one.name}"': (one.not_before, one.not_after) for one in settings.machines}
    for place, (first, last) in spans.items():
        _refuse_backwards(first, last, place)
    for place, one in wishes.items():
        _refuse_backwards(one.not_before, one.not_after, place)
        if one.must and not _allowed(days, one.not_before, one.not_after).any():
            raise SettingsError(
                what="must be ripped, but may not on any day of the plan", where=place,
                right=f"days from {days[0]} to {days[-1]}", do="see not_before and not_after",
            )  # fmt: skip
    names = [one.name for one in settings.machines]
    if twice := [name for number, name in enumerate(names) if name in names[:number]]:
        raise SettingsError(what=f"the name {twice[0]!r} is taken", where="[[plan.machines]]", do="give each its own")
    if settings.fit is not None:
        read_fit_table(settings.fit)


def _refuse_backwards(first: date | None, last: date | None, where: str) -> None:
    if first is not None and last is not None and first > last:
        raise SettingsError(what=f"not_before = {first} is after not_after = {last}", where=where)


def _days(settings: SeasonPlanSettings) -> tuple[date, ...]:
    count = (settings.last - settings.first).days + 1
    if not 1 <= count <= _MOST_DAYS:
        raise SettingsError(
            what=f"from {settings.first} to {settings.last} are {max(count, 0)} days", where="plan.last",
            right=f"1 to {_MOST_DAYS} days",
        )  # fmt: skip
    return tuple(settings.first + timedelta(days=number) for number in range(count))


def _asked(settings: SeasonPlanSettings) -> tuple[RigSettings, ...]:
    """Rigs that differ, or so many alike."""
    return settings.machines or tuple(RigSettings(name=f"rig {number}") for number in range(1, settings.rigs + 1))


def _rig(one: RigSettings, settings: SeasonPlanSettings, days: tuple[date, ...]) -> Rig:
    there = _allowed(days, one.not_before, one.not_after)
    return Rig(
        name=one.name,
        hours=np.where(there, one.hours_per_day or settings.hours_per_day, 0.0),
        fold_h=settings.fold_h if one.fold_h is None else one.fold_h,
        road_kmh=one.road_kmh or settings.road_kmh,
    )


def _hours(result: PaddockResult, one: RigSettings) -> float:
    """Hours of a paddock with a rig: those of its own machine by width and speed, zone by zone."""
    if one.width_m is None and one.speed_kmh is None:
        return result.hours
    zones = result.zones[result.zones["depth_mm"] > 0]
    width = 1.0 if one.width_m is None else zones["width_m"] / one.width_m
    speed = 1.0 if one.speed_kmh is None else zones["speed_kmh"] / one.speed_kmh
    return float((zones["hours"] * width * speed).sum())


def _reaches(one: RigSettings, result: PaddockResult) -> bool:
    return one.deepest_mm is None or float(result.zones["depth_mm"].max()) <= one.deepest_mm


def _returns(plan: SeasonPlan, ripped: Mapping[str, PaddockResult]) -> tuple[float, float, float]:
    """Net return of the paddocks that are ripped with its range, less what their machines cost more than their own."""
    done = plan.jobs[plan.jobs["fate"] == Fate.DONE]
    amount, low, high = net_of_all(combine_totals({slug: ripped[slug].totals for slug in done["paddock"]}))
    dearer = sum(ripped[slug].net for slug in done["paddock"]) - float(done["net"].sum())
    return amount - dearer, low - dearer, high - dearer


def _planned_with(
    years: Mapping[int, Mapping[str, Bools]], days: tuple[date, ...], ripped: Mapping[str, PaddockResult], sure: float
) -> int | None:
    """Year whose fit days the plan counts on; None where its own are known, or none are."""
    if not years or days[0].year in years:
        return None
    return typical_year(years, {slug: result.hours for slug, result in ripped.items()}, sure)


def _allowed(days: tuple[date, ...], not_before: date | None, not_after: date | None) -> Bools:
    first, last = not_before or days[0], not_after or days[-1]
    return np.array([first <= day <= last for day in days])


def _places(ripped: Mapping[str, PaddockResult]) -> dict[str, tuple[float, float]]:
    """Where each paddock lies, m, in the CRS of the first."""
    crs, places = next((result.zones.crs for result in ripped.values()), None), {}
    for slug, result in ripped.items():
        west, south, east, north = result.zones.to_crs(crs).total_bounds
        places[slug] = (float(west + east) / 2.0, float(south + north) / 2.0)
    return places
