"""Years of weather in, the days on which soil would have been fit, and the chance of finishing, out."""

from collections.abc import Mapping
from datetime import date, timedelta
from math import ceil

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.records.catalog import Catalog
from hardpan.records.weather import DailyTable, Finishing, FitDays, Work
from hardpan.season.inputs import forcing_of, profile_of
from hardpan.season.water import draining, dry, moist_mm, next_day, perched

YEAR_DAYS = 365
LEAST_YEARS = 5
"""Fewer say nothing of eight years in ten."""
HALF, MOST = 0.5, 0.8
"""Shares of the years that have so many fit days or more."""


def count_fit_days(
    weather: DailyTable, catalog: Catalog, depth_mm: Mapping[str, float], *, dry_on: date, elevation_m: float = 0.0
) -> FitDays | None:
    """Fit days of each soil type for its depth, in every whole year from the day on which the soil is dry.

    None where the weather has fewer than `LEAST_YEARS` whole years.

    A day is fit where the soil is moist to the depth, water no longer moves through it and none stands on the clay.

    Parameters
    ----------
    depth_mm : mapping
        Working depth by soil type.
    dry_on : date
        Day and month on which each year begins with dry soil; the year of it does not count.
    """
    forcing = forcing_of(weather, catalog, elevation_m=elevation_m)
    starts = _starts(weather, np.isnan(forcing.rain_mm) | np.isnan(forcing.et0_mm), dry_on)
    if len(starts) < LEAST_YEARS:
        return None
    profile, depth = profile_of(catalog, list(depth_mm)), np.array(list(depth_mm.values()), dtype=float)
    state = dry(profile, (len(starts), len(depth)))
    fit = np.zeros((len(starts), YEAR_DAYS, len(depth)), dtype=bool)
    at = np.array([position for position, _ in starts])
    for day in range(YEAR_DAYS):
        rain_mm, et0_mm, most = (one[at + day, None] for one in (forcing.rain_mm, forcing.et0_mm, forcing.most))
        state = next_day(state, rain_mm, et0_mm, profile, most)
        moving = draining(state, profile) | perched(state, profile)
        fit[:, day] = (moist_mm(state, profile) >= depth) & ~moving
    return FitDays(
        years=tuple(first.year for _, first in starts),
        first=starts[0][1],
        soil_types=tuple(depth_mm),
        depth_mm=tuple(depth.tolist()),
        fit=fit,
    )


def finish(
    fit: FitDays, work: Mapping[str, Work], hours_per_day: float, day: date, finish_by: date | None
) -> Finishing:
    """Whether the days after `day` are enough for the work, by the years of `fit`.

    Parameters
    ----------
    work : mapping of Work
        By soil type, those of `fit`.
    finish_by : date or None
        Last day it may be ripped; None, or past the end of the year that begins with dry soil: that end.
    """
    begins = year_begins(fit, day)
    ends = begins + timedelta(days=YEAR_DAYS - 1)
    last = ends if finish_by is None else min(finish_by, ends)
    days = fit.fit[:, (day - begins).days + 1 : max((last - begins).days, 0) + 1]
    needed = np.array([work[name].hours for name in fit.soil_types]) / hours_per_day
    counts = days.any(axis=2).sum(axis=1)
    half, most = (_had_by(counts, share) for share in (HALF, MOST))
    area_ha = sum(work[name].area_ha for name in fit.soil_types)
    return Finishing(
        first=day + timedelta(days=1), last=last, days=float(needed.sum()), chance=chance_of_finishing(days, needed),
        half=half, most=most, left=tuple(counts.tolist()), ha_per_day=needed_per_day(area_ha, most) if most else np.inf,
    )  # fmt: skip


def year_begins(fit: FitDays, day: date) -> date:
    """The last day, at `day` or before it, on which a year of fit days begins."""
    this = fit.first.replace(year=day.year)
    return this if this <= day else fit.first.replace(year=day.year - 1)


def chance_of_finishing(fit: Bools, days_needed: Floats) -> float:
    """Share of years in which every soil type has the fit days it needs, and all together have enough.

    Parameters
    ----------
    fit : Bools
        (n_years, n_days, n_soils), of the days between now and the day it must be finished by.
    days_needed : Floats
        Days of work on each soil type, (n_soils,).
    """
    own = (fit.sum(axis=1) >= days_needed).all(axis=1)
    together = fit[:, :, days_needed > 0].any(axis=2).sum(axis=1) >= days_needed.sum()
    return float((own & together).mean())


def needed_per_day(area: float, fit_days: float) -> float:
    """Area to work on each fit day so that all of it is done.

    >>> round(needed_per_day(1600.0, 8.3), 1)  # Iowa State A3-25: 192.8 acres a day (`iowa-a325`)
    192.8
    """
    return area / fit_days


def _starts(weather: DailyTable, missing: Bools, dry_on: date) -> list[tuple[int, date]]:
    """Place in the table and day of the beginning of every year that has all its days."""
    days = pd.DatetimeIndex(weather.table.index)
    first = min(dry_on.day, 28) if dry_on.month == 2 else dry_on.day  # each year has it
    begins = np.flatnonzero((days.month == dry_on.month) & (days.day == first))
    return [
        (at, days[at].date())
        for at in begins.tolist()
        if at + YEAR_DAYS <= len(days) and not missing[at : at + YEAR_DAYS].any()
    ]


def by_month(fit: FitDays) -> pd.DataFrame:
    """Fit days a month that half of the years, and 80 % of them, have or surpass; columns of `Outlook.months`."""
    month = (pd.date_range(fit.first, periods=YEAR_DAYS)).month.to_numpy()
    order = list(dict.fromkeys(month.tolist()))
    if fit.first.day > 1:  # that month ends the year as well as it begins it
        order.append(order.pop(0))
    rows = []
    for number, name in enumerate(fit.soil_types):
        for one in order:
            counts = fit.fit[:, month == one, number].sum(axis=1)
            rows.append({"soil_type": name, "month": one, "half": _had_by(counts, HALF), "most": _had_by(counts, MOST)})
    return pd.DataFrame(rows)


def _had_by(counts: Ints, share: float) -> float:
    """What a share of the years has or surpasses.

    >>> _had_by(np.array([9, 0, 9, 7, 8]), 0.8)
    7.0
    """
    return float(np.sort(counts)[::-1][ceil(round(share * len(counts), 9)) - 1])
