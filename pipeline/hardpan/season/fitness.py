"""Years of weather in, the days on which soil would have been fit, and the chance of finishing, out."""

from collections.abc import Mapping
from datetime import date
from math import ceil

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.errors import InputError
from hardpan.records.catalog import Catalog
from hardpan.records.weather import DailyTable, FitDays
from hardpan.season.inputs import profile_of, reference_mm
from hardpan.season.water import draining, dry, moist_mm, next_day, perched

YEAR_DAYS = 365
LEAST_YEARS = 5
"""Fewer say nothing of eight years in ten."""
HALF, MOST = 0.5, 0.8
"""Shares of the years that have so many fit days or more."""


def count_fit_days(
    weather: DailyTable, catalog: Catalog, depth_mm: Mapping[str, float], *, dry_on: date, elevation_m: float = 0.0
) -> FitDays:
    """Fit days of each soil type for its depth, in every whole year from the day on which the soil is dry.

    A day is fit where the soil is moist to the depth, water no longer moves through it and none stands on the clay.

    Parameters
    ----------
    depth_mm : mapping
        Working depth by soil type.
    dry_on : date
        Day and month on which each year begins with dry soil; the year of it does not count.

    Raises
    ------
    InputError
        The weather has fewer than five whole years.
    """
    et0_mm, _ = reference_mm(weather, catalog, elevation_m=elevation_m)
    rain_mm = weather.table["rain_mm"].to_numpy(float)
    starts = _starts(weather, np.isnan(rain_mm) | np.isnan(et0_mm), dry_on)
    profile, depth = profile_of(catalog, list(depth_mm)), np.array(list(depth_mm.values()), dtype=float)
    state = dry(profile, (len(starts), len(depth)))
    fit = np.zeros((len(starts), YEAR_DAYS, len(depth)), dtype=bool)
    at = np.array([position for position, _ in starts])
    for day in range(YEAR_DAYS):
        state = next_day(state, rain_mm[at + day, None], et0_mm[at + day, None], profile)
        moving = draining(state, profile) | perched(state, profile)
        fit[:, day] = (moist_mm(state, profile) >= depth) & ~moving
    return FitDays(
        years=tuple(first.year for _, first in starts),
        first=starts[0][1],
        soil_types=tuple(depth_mm),
        depth_mm=tuple(depth.tolist()),
        fit=fit,
        months=_by_month(fit, starts[0][1], tuple(depth_mm)),
    )


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
    """Place in the table and day of the beginning of every year that has all its days.

    Raises
    ------
    InputError
        There are fewer than five.
    """
    days = pd.DatetimeIndex(weather.table.index)
    begins = np.flatnonzero((days.month == dry_on.month) & (days.day == dry_on.day))
    whole = [
        (at, days[at].date())
        for at in begins.tolist()
        if at + YEAR_DAYS <= len(days) and not missing[at : at + YEAR_DAYS].any()
    ]
    if len(whole) < LEAST_YEARS:
        raise InputError(
            what=f"{len(whole)} whole years from {dry_on.day}.{dry_on.month}. on", where=weather.file,
            right=f"at least {LEAST_YEARS}, without a day missing, to count fit days",
        )  # fmt: skip
    return whole


def _by_month(fit: Bools, first: date, soil_types: tuple[str, ...]) -> pd.DataFrame:
    """Fit days a month that half of the years, and 80 % of them, have or surpass."""
    month = (pd.date_range(first, periods=YEAR_DAYS)).month.to_numpy()
    rows = []
    for number, name in enumerate(soil_types):
        for one in dict.fromkeys(month.tolist()):
            counts = fit[:, month == one, number].sum(axis=1)
            rows.append({"soil_type": name, "month": one, "half": _had_by(counts, HALF), "most": _had_by(counts, MOST)})
    return pd.DataFrame(rows)


def _had_by(counts: Ints, share: float) -> float:
    """What a share of the years has or surpasses.

    >>> _had_by(np.array([9, 0, 9, 7, 8]), 0.8)
    7.0
    """
    return float(np.sort(counts)[::-1][ceil(round(share * len(counts), 9)) - 1])
