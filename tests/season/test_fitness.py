"""Fit days of years of weather, and the chance of finishing."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from builders.decision import shipped_catalog
from hardpan.records.decision import SeasonSettings
from hardpan.records.weather import WEATHER, DailyTable, FitDays, Work
from hardpan.season.fitness import (
    YEAR_DAYS,
    by_month,
    chance_of_finishing,
    count_fit_days,
    finish,
    needed_per_day,
    year_begins,
)
from hardpan.season.stage import balance_weather

DRY = date(2000, 1, 1)


@pytest.fixture(scope="module")
def catalog():
    return shipped_catalog()


def table(rain_by_day, start="2001-01-01"):
    """Years of 365 days and leap days; rain on the days of each year that `rain_by_day` names, by year number."""
    index = pd.date_range(start, periods=len(rain_by_day) * 365 + 2, name="day")
    rain = pd.Series(0.0, index=index)
    for year, days in enumerate(rain_by_day):
        for day, mm in days.items():
            rain.loc[pd.Timestamp(2001 + year, 1, 1) + pd.Timedelta(days=day)] = mm
    frame = pd.DataFrame({"rain_mm": rain, "et0_mm": 4.0}).reindex(columns=list(WEATHER)).astype(float)
    return DailyTable(table=frame, file="years.csv")


def test_fit_days_are_those_of_the_balance_run_day_by_day(catalog):
    weather = table([{30: 45.0, 60: 20.0}, {40: 30.0}, {}, {100: 60.0}, {10: 15.0, 12: 25.0}])
    depth = {"deep sand": 450.0, "sand over clay": 350.0, "loam": 300.0}
    found = count_fit_days(weather, catalog, depth, dry_on=DRY)
    assert found.years == (2001, 2002, 2003, 2004, 2005)
    for year, day in ((0, 29), (0, 30), (0, 31), (1, 41), (3, 101), (4, 20)):
        first = date(2001 + year, 1, 1)
        asked = SeasonSettings(dry_on=first, day=(pd.Timestamp(first) + pd.Timedelta(days=day)).date())
        water = balance_weather(weather, asked, catalog, list(depth))
        for number, (name, mm) in enumerate(depth.items()):
            soil = water.soils[name]
            fit = soil.moist_depth_mm >= mm and not soil.draining and not soil.perched
            assert bool(found.fit[year, day, number]) == fit


def test_months_tell_what_half_and_four_fifths_of_the_years_have(catalog):
    # rain that wets the sand to 450 mm on 1 February of four years of five, and so from 2 February on
    weather = table([{31: 60.0}, {31: 60.0}, {31: 60.0}, {31: 60.0}, {}])
    months = by_month(count_fit_days(weather, catalog, {"deep sand": 450.0}, dry_on=DRY)).set_index("month")
    assert months.loc[1, ["half", "most"]].tolist() == [0.0, 0.0]
    assert months.loc[2, ["half", "most"]].tolist() == [27.0, 27.0]  # the fifth year has none
    rare = table([{31: 60.0}, {}, {}, {}, {31: 60.0}])
    months = by_month(count_fit_days(rare, catalog, {"deep sand": 450.0}, dry_on=DRY)).set_index("month")
    assert months.loc[2, ["half", "most"]].tolist() == [0.0, 0.0]


def test_a_year_with_a_day_missing_is_left_out_and_too_few_are_not_counted(catalog):
    weather = table([{}] * 5)
    gap = weather.table.copy()
    gap.loc["2003-05-05", "rain_mm"] = np.nan
    short = DailyTable(table=gap.iloc[: 5 * 365 + 1], file="years.csv")
    assert count_fit_days(short, catalog, {"loam": 300.0}, dry_on=DRY) is None
    whole = table([{}] * 6)
    gap = whole.table.copy()
    gap.loc["2003-05-05", "rain_mm"] = np.nan
    found = count_fit_days(DailyTable(table=gap, file="years.csv"), catalog, {"loam": 300.0}, dry_on=DRY)
    assert found.years == (2001, 2002, 2004, 2005, 2006)


def test_the_chance_of_finishing_asks_for_each_soil_and_for_all_together():
    fit = np.zeros((4, 10, 2), dtype=bool)
    fit[0] = True  # ten days for both
    fit[1, :5] = True  # five days on which both are fit
    fit[2, :5, 0] = fit[2, 5:, 1] = True  # five days each, one after the other
    assert chance_of_finishing(fit, np.array([4.0, 4.0])) == 0.5  # the second year has five days, not eight
    assert chance_of_finishing(fit, np.array([2.0, 3.0])) == 0.75
    assert chance_of_finishing(fit, np.array([0.0, 5.0])) == 0.75
    assert chance_of_finishing(fit, np.array([0.0, 11.0])) == 0.0


def fit_of(days_by_year, dry_on=DRY):
    """Fit days of one soil type from the number of days on which it begins to be fit and ends, by year."""
    fit = np.zeros((len(days_by_year), YEAR_DAYS, 1), dtype=bool)
    for year, (begin, end) in enumerate(days_by_year):
        fit[year, begin:end] = True
    years = tuple(range(2001, 2001 + len(days_by_year)))
    return FitDays(years=years, first=dry_on.replace(year=2001), soil_types=("loam",), depth_mm=(300.0,), fit=fit)


def test_the_days_after_that_of_the_plan_and_up_to_the_last_are_set_against_the_hours_of_the_work():
    fit = fit_of([(0, 365), (50, 54), (50, 53), (0, 40), (52, 365)])
    work = {"loam": Work(depth_mm=300.0, hours=30.0, area_ha=60.0)}
    day = date(2027, 1, 1) + timedelta(days=49)
    found = finish(fit, work, 10.0, day, day + timedelta(days=5))
    # of the five days 50 to 54 the years have 5, 4, 3, 0 and 3
    assert (found.first, found.last) == (day + timedelta(days=1), day + timedelta(days=5))
    assert (found.days, found.chance, found.half, found.most) == (3.0, 0.8, 3.0, 3.0)
    assert found.left == (5.0, 4.0, 3.0, 0.0, 3.0)
    assert found.ha_per_day == pytest.approx(20.0)
    assert finish(fit, work, 6.0, day, day + timedelta(days=5)).chance == 0.2
    assert finish(fit, work, 10.0, day, None).last == date(2027, 12, 31)


def test_a_month_in_which_the_soil_is_taken_for_dry_comes_last_with_both_its_parts():
    months = by_month(fit_of([(0, 1), (363, 365)] * 3, date(2000, 12, 15)))  # 15 December, and the 13th and 14th
    assert months["month"].tolist() == [*range(1, 13)]
    assert months.iloc[-1][["half", "most"]].tolist() == [2.0, 1.0]


def test_a_year_of_fit_days_begins_on_the_dry_day_before():
    fit = fit_of([(0, 9)], date(2000, 12, 15))
    assert year_begins(fit, date(2027, 12, 14)) == date(2026, 12, 15)
    assert year_begins(fit, date(2027, 12, 15)) == date(2027, 12, 15)


def test_acres_a_day_of_a_published_example():
    """Iowa State A3-25 (`iowa-a325`): 1600 acres in 8.3 days are 192.8 a day, in days of 14 hours 13.8 an hour."""
    assert needed_per_day(1600.0, 8.3) == pytest.approx(192.8, abs=0.05)
    assert needed_per_day(1600.0, 8.3) / 14.0 == pytest.approx(13.8, abs=0.05)


def test_every_year_counts_a_year(catalog):
    found = count_fit_days(table([{}] * 6), catalog, {"loam": 300.0}, dry_on=DRY)
    assert found.fit.shape == (6, YEAR_DAYS, 1)
    assert found.first == date(2001, 1, 1)
