"""The days of a season over a list of paddocks: settings and calendars in, the plan of the season out."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from hardpan.core.arrays import Bools
from hardpan.core.errors import InputError, SettingsError
from hardpan.core.settings import InputPath, Settings, setting
from hardpan.records.across import FarmSeason, PaddockResult
from hardpan.records.season import Job, Rig
from hardpan.run.rows import read_rows
from hardpan.season.planning import plan_season, stress_plan

_YES, _NO = frozenset({"yes", "1", "true"}), frozenset({"no", "0", "false"})
_MOST_DAYS = 400
_LIKELY = 0.5
"""Share of the years in which a day must be fit to be planned with, where that of the plan itself is not known."""


class SeasonPlanSettings(Settings):
    """The `[plan]` table of a list of paddocks."""

    first: date = setting(says="First day of ripping")
    last: date = setting(says="Last day of ripping")
    hours_per_day: float = setting(10.0, says="Ripping hours in a day, moves included", unit="h", gt=0, le=24)
    rigs: int = setting(1, says="Rigs, all like the machine of the paddocks", ge=1, le=20)
    fold_h: float = setting(0.25, says="Folding the ripper for the road, unfolding as long again", unit="h", ge=0)
    road_kmh: float = setting(25.0, says="Speed between paddocks, straight lines", unit="km/h", gt=0)
    fit: InputPath | None = setting(
        None, says="Days on which soils are fit: a table of date and, by soil type or all as `fit`, yes or no"
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
) -> FarmSeason:
    """Which paddock is ripped on which days, and, where fit days of several years are given, how often each is.

    Raises
    ------
    InputError
        The table of fit days cannot be used, or a paddock that must be ripped cannot be.
    SettingsError
        The days of the plan are none.
    """
    days = _days(settings)
    known = None if settings.fit is None else _read_fit(settings.fit)
    rigs = [
        Rig(
            name=f"rig {number}",
            hours=np.full(len(days), settings.hours_per_day),
            fold_h=settings.fold_h,
            road_kmh=settings.road_kmh,
        )
        for number in range(1, settings.rigs + 1)
    ]
    ripped = {slug: result for slug, result in results.items() if result.hours > 0.0}
    years = {} if known is None else _years(known, days, ripped)
    places = _places(ripped)
    jobs = [
        Job(
            paddock=slug,
            hours={rig.name: result.hours for rig in rigs},
            net={rig.name: result.net for rig in rigs},
            fit=_fit(slug, days, years),
            allowed=_allowed(days, wishes[slug]),
            must=wishes[slug].must,
            waiting_per_day=wishes[slug].waiting_per_day,
            x_m=places[slug][0],
            y_m=places[slug][1],
        )
        for slug, result in ripped.items()
    ]
    whole = {year: fits for year, fits in years.items() if year != days[0].year}
    return FarmSeason(
        plan=plan_season(jobs, rigs, days),
        stress=stress_plan(jobs, rigs, days, whole) if len(whole) > 1 else None,
        fit_known=known is not None,
    )


def check_plan(settings: SeasonPlanSettings) -> None:
    """Refuse days or a table of fit days that cannot be used, before any paddock is worked out.

    Raises
    ------
    HardpanError
        One line.
    """
    _days(settings)
    if settings.fit is not None:
        _read_fit(settings.fit)


def _days(settings: SeasonPlanSettings) -> tuple[date, ...]:
    count = (settings.last - settings.first).days + 1
    if not 1 <= count <= _MOST_DAYS:
        raise SettingsError(
            what=f"from {settings.first} to {settings.last} are {max(count, 0)} days", where="plan.last",
            right=f"1 to {_MOST_DAYS} days",
        )  # fmt: skip
    return tuple(settings.first + timedelta(days=number) for number in range(count))


def _allowed(days: tuple[date, ...], wishes: Wishes) -> Bools:
    first, last = wishes.not_before or days[0], wishes.not_after or days[-1]
    return np.array([first <= day <= last for day in days])


def _fit(slug: str, days: tuple[date, ...], years: Mapping[int, Mapping[str, Bools]]) -> Bools:
    """Fit days of the plan: as given for its year, else those that are fit in half of the years; all, without any."""
    if not years:
        return np.ones(len(days), bool)
    if days[0].year in years:
        return years[days[0].year][slug]
    return np.asarray(np.mean([fits[slug] for fits in years.values()], axis=0) >= _LIKELY)


def _places(ripped: Mapping[str, PaddockResult]) -> dict[str, tuple[float, float]]:
    """Where each paddock lies, m, in the CRS of the first."""
    crs, places = next((result.zones.crs for result in ripped.values()), None), {}
    for slug, result in ripped.items():
        west, south, east, north = result.zones.to_crs(crs).total_bounds
        places[slug] = (float(west + east) / 2.0, float(south + north) / 2.0)
    return places


def _years(
    known: Mapping[date, Mapping[str, bool]], days: tuple[date, ...], ripped: Mapping[str, PaddockResult]
) -> dict[int, dict[str, Bools]]:
    """Fit days of each year that has all days of the plan, by paddock: a day on which all its soil types are fit."""
    out: dict[int, dict[str, Bools]] = {}
    for year in sorted({day.year for day in known}):
        same = [_in_year(day, year + day.year - days[0].year) for day in days]
        if all(day in known for day in same):
            rows = [known[day] for day in same]
            out[year] = {slug: np.array([_is_fit(row, result) for row in rows]) for slug, result in ripped.items()}
    return out


def _in_year(day: date, year: int) -> date:
    leap = day.month == 2 and day.day == 29
    return date(year, 2, 28) if leap else day.replace(year=year)


def _is_fit(row: Mapping[str, bool], result: PaddockResult) -> bool:
    soils = set(result.zones.loc[result.zones["depth_mm"] > 0, "soil_type"])
    missing = sorted(soil for soil in soils if soil not in row and "fit" not in row)
    if missing:
        raise InputError(
            what=f"has no column {missing[0]!r}, the soil type of {result.name}", where="plan.fit",
            right="a column for each soil type that is ripped, or one `fit` for all",
        )  # fmt: skip
    return all(row.get(soil, row.get("fit", True)) for soil in soils)


def _read_fit(path: Path) -> dict[date, dict[str, bool]]:
    """Whether soils are fit, by day and column."""
    names, rows = read_rows(path, where=f"plan.fit = {path}", what="a table of fit days")
    if "date" not in names:
        raise InputError(what="has no column date", where=path.name, right="date, and yes or no by soil type or `fit`")
    found: dict[date, dict[str, bool]] = {}
    for place, row in rows:
        try:
            day = date.fromisoformat(row.pop("date"))
        except ValueError as err:
            raise InputError(what="is no date", where=place, right="year-month-day") from err
        if day in found:
            raise InputError(what=f"{day} comes twice", where=place, do="leave one out")
        cells = {name: cell.lower() for name, cell in row.items()}
        for name, cell in cells.items():
            if cell not in _YES | _NO:
                raise InputError(what=f"{name} is {cell!r}", where=place, right="yes or no")
        found[day] = {name: cell in _YES for name, cell in cells.items()}
    return found
