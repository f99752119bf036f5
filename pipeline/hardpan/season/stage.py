"""Daily weather in, how deep each soil type is moist on the day of the plan, and the days left for the work, out."""

import logging
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import InputError
from hardpan.records.catalog import Catalog
from hardpan.records.decision import SeasonSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.weather import DailyTable, Outlook, Reference, SeasonWater, SoilWater, Work
from hardpan.season.fitness import LEAST_YEARS, by_month, count_fit_days, finish
from hardpan.season.inputs import Forcing, forcing_of, profile_of
from hardpan.season.water import Profile, State, draining, dry, full, moist_mm, next_day, perched

WEEKS = 8
"""Before the day of the plan that are told."""
DRY, WET = 0, 1
"""Rows of a state: as dry and as wet as can be."""

logger = logging.getLogger(__name__)


def balance_weather(
    weather: DailyTable, season: SeasonSettings, catalog: Catalog, soil_types: Sequence[str]
) -> SeasonWater:
    """How deep each soil type is moist on the day of the plan, from a balance of every day up to it.

    The balance begins with dry soil on `season.dry_on`, or on the first day of the file both with dry soil and with
    soil at field capacity, between which the truth lies. A day without rain in the file is taken for one without rain
    in the one, and for one that fills the soil in the other.

    Raises
    ------
    InputError
        The file has no evaporation nor what it can be reckoned from, or does not hold the days asked for.
    """
    forcing = forcing_of(weather, catalog, elevation_m=season.elevation_m)
    first, last = _span(weather, season)
    every = pd.DatetimeIndex(weather.table.index)
    used = slice(*every.searchsorted([first, last + pd.Timedelta(days=1)]))
    days = every[used]
    profile = profile_of(catalog, soil_types)
    states = _states(forcing, used, profile, known=season.dry_on is not None)
    depth = np.array([moist_mm(state, profile) for state in states])
    within = catalog.balance.bare.known_within.value
    known = np.where(depth[:, WET] - depth[:, DRY] <= within, depth[:, DRY], np.nan)
    weekly = np.arange(len(days) - 1, -1, -7)[:WEEKS][::-1]
    weeks = pd.DataFrame(
        {"soil_type": name, "day": days[at].date(), "moist_mm": known[at, number]}
        for number, name in enumerate(soil_types)
        for at in weekly.tolist()
    )
    soils = {
        name: _soil_water(states[-1], profile, number, depth=depth[-1, :, number], known_mm=float(known[-1, number]))
        for number, name in enumerate(soil_types)
    }
    logger.info("%d days of weather up to %s, %s", len(days), last.date(), forcing.reference)
    missing = np.isnan(forcing.rain_mm[used])
    return SeasonWater(
        day=last.date(), reference=forcing.reference, soils=soils, weeks=weeks,
        issues=_issues(weather, days[missing], forcing.reference, season),
    )  # fmt: skip


def look_ahead(
    weather: DailyTable, water: SeasonWater, season: SeasonSettings, catalog: Catalog, work: Mapping[str, Work]
) -> Outlook:
    """What the weather says of a plan: how wet the soil is, the fit days of other years, the chance of finishing.

    Parameters
    ----------
    work : mapping of Work
        What the plan asks of each soil type that is ripped.
    """
    if not work or season.dry_on is None:
        return Outlook(water=water, fit=None, months=pd.DataFrame(), finishing=None)
    depth_mm = {name: one.depth_mm for name, one in work.items()}
    fit = count_fit_days(weather, catalog, depth_mm, dry_on=season.dry_on, elevation_m=season.elevation_m)
    if fit is None:
        what = f"the weather has fewer than {LEAST_YEARS} whole years that begin in the days of season.dry_on"
        done = "fit days and the chance of finishing are not told"
        few = (_warned("few-years", what, done, weather),)
        return Outlook(water=water, fit=None, months=pd.DataFrame(), finishing=None, issues=few)
    finishing = finish(fit, work, season.hours_per_day, water.day, season.finish_by)
    left = finishing if finishing.first <= finishing.last else None
    return Outlook(water=water, fit=fit, months=by_month(fit), finishing=left)


def _span(weather: DailyTable, season: SeasonSettings) -> tuple[pd.Timestamp, pd.Timestamp]:
    """First day of the balance and day of the plan.

    Raises
    ------
    InputError
        The file does not hold them.
    """
    index = weather.table.index
    first = index[0] if season.dry_on is None else pd.Timestamp(season.dry_on)
    last = index[-1] if season.day is None else pd.Timestamp(season.day)
    for key, day in (("dry_on", first), ("day", last)):
        if not index[0] <= day <= index[-1]:
            raise InputError(
                what=f"[season] {key} = {day.date()} is outside of its days", where=weather.file,
                right=f"{index[0].date()} to {index[-1].date()}",
            )  # fmt: skip
    if first >= last:
        raise InputError(
            what=f"the soil was dry on {first.date()}, not before the plan's day {last.date()}", where="[season]"
        )
    return first, last


def _states(forcing: Forcing, used: slice, profile: Profile, *, known: bool) -> list[State]:
    """State of each evening of the days that are used, rows `DRY` and `WET` by soil type."""
    rain_mm, et0_mm, highest = forcing.rain_mm[used], forcing.et0_mm[used], forcing.most[used]
    shape = (2, len(profile.above))
    wettest = full(profile, shape)
    state = dry(profile, shape) if known else _rows(dry(profile, shape), wettest)
    lost = np.isnan(rain_mm)
    least, most = (0.0, 0.0) if np.isnan(et0_mm).all() else (float(np.nanmin(et0_mm)), float(np.nanmax(et0_mm)))
    rain = np.where(lost, 0.0, rain_mm)
    gone = np.isnan(et0_mm)
    dry_mm, wet_mm = np.where(gone, most, et0_mm), np.where(gone, least, et0_mm)
    out = []
    for day in range(len(rain)):
        state = next_day(state, rain[day], np.array([[dry_mm[day]], [wet_mm[day]]]), profile, highest[day])
        if lost[day]:
            state = _rows(state, wettest)
        out.append(state)
    return out


def _rows(upper: State, lower: State) -> State:
    """The dry row of one state and the wet row of another."""
    return State(
        **{
            name: np.stack([getattr(upper, name)[DRY], getattr(lower, name)[WET]])
            for name in ("depletion_mm", "water_mm", "front_mm", "since_rain", "since_clay")
        }
    )


def _soil_water(state: State, profile: Profile, number: int, *, depth: Floats, known_mm: float) -> SoilWater:
    """State of one soil type on the day of the plan; it drains or stands where the drier start says so."""
    return SoilWater(
        moist_depth_mm=known_mm,
        least_mm=float(depth[DRY]),
        most_mm=float(depth[WET]),
        draining=bool(draining(state, profile)[DRY, number]),
        perched=bool(perched(state, profile)[DRY, number]),
        untouched=bool(state.water_mm[WET, number] <= 0),
        surface_lacks_mm=float(state.depletion_mm[DRY, number]),
    )


def _issues(weather: DailyTable, missing: pd.DatetimeIndex, reference: Reference, season: SeasonSettings) -> Issues:
    """What was missing, and what was taken in its place."""
    told = []
    if reference is not Reference.GIVEN:
        told.append(("reference", "the weather has no reference evapotranspiration", f"reckoned: {reference}"))
    if len(missing):
        runs = _runs([day.date() for day in missing])
        done = "taken as dry and as soaking: what hangs on it is said not to be known"
        told.append(("weather-gap", f"no rain is given for {runs}", done))
    if season.dry_on is None:
        done = "reckoned from dry and from full soil; give season.dry_on, the last day on which the soil was dry"
        told.append(("weather-start", f"nothing says how wet the soil was on {weather.table.index[0].date()}", done))
    if season.moist_depth_mm is not None or season.rain_since_dry_mm is not None:
        done = "used in place of the weather: who digs knows more"
        told.append(("weather-unused", "[season] says how deep the soil is moist or how much it rained", done))
    return tuple(_warned(*one, weather) for one in told)


def _warned(code: str, what: str, done: str, weather: DailyTable) -> Issue:
    return Issue(stage="season", code=code, what=what, done=done, file=weather.file)


def _runs(days: Sequence[date]) -> str:
    """First run of days that follow one another, and how many more there are."""
    breaks = [number for number, (one, other) in enumerate(pairwise(days), 1) if (other - one).days > 1]
    end = breaks[0] if breaks else len(days)
    first = f"{days[0]}" if end == 1 else f"{days[0]} to {days[end - 1]}"
    return first + (f" and {len(breaks)} more times" if breaks else "")
