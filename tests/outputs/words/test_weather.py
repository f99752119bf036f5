"""What is said of the season's weather."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.words.english.set_up import EnglishWeather
from hardpan.outputs.words.units import Units
from hardpan.records.weather import Finishing, FitDays, Outlook, Reference, SeasonWater

DAYS = (date(2027, 5, 26), date(2027, 6, 2))
FIT = FitDays(
    years=tuple(range(2001, 2021)), first=date(2001, 1, 1), soil_types=("loam",), depth_mm=(450.0,),
    fit=np.ones((20, 365, 1), dtype=bool),
)  # fmt: skip
MONTHS = pd.DataFrame({"soil_type": "loam", "month": [5, 6], "half": [21.0, 18.0], "most": [9.0, 0.0]})
FINISHING = Finishing(
    first=date(2027, 6, 3),
    last=date(2027, 7, 31),
    days=6.2,
    chance=0.85,
    half=23.0,
    most=14.0,
    left=(23.0,) * 20,
    ha_per_day=10.0,
)


@pytest.fixture
def words():
    return EnglishWeather(Units.of_files("AUD"))


def outlook(**given):
    weeks = pd.DataFrame({"soil_type": "loam", "day": DAYS, "moist_mm": [np.nan, 412.3]})
    water = SeasonWater(day=DAYS[-1], reference=Reference.GIVEN, soils={}, weeks=weeks)
    return Outlook(**{"water": water, "fit": FIT, "months": MONTHS, "finishing": FINISHING, **given})


def test_the_chance_of_finishing_stands_beside_the_days_it_rests_on(words):
    told = words.finishing(outlook())
    assert told.startswith("The plan takes 6.2 fit days. From 3 Jun to 31 Jul its ground was fit on 23 days or more")
    assert "in half of 20 years and on 14 or more in eight years of ten: enough to finish in 85 % of the years." in told
    assert told.endswith("it takes 10.0 ha a fit day.")


def test_nothing_is_said_where_no_years_tell_and_a_season_that_is_over_is_called_so(words):
    assert words.finishing(None) == ""
    assert words.finishing(outlook(fit=None, finishing=None)) == ""
    assert words.finishing(outlook(finishing=None)).endswith("is over.")


def test_a_month_has_what_half_of_the_years_and_eight_in_ten_have(words):
    table = words.fit_table(outlook())
    assert table.to_dict("list") == {"month": ["May", "Jun"], "loam, 450 mm": ["21 / 9", "18 / 0"]}
    assert words.fit_table(outlook(fit=None)).empty


def test_the_past_weeks_stand_side_by_side_and_what_is_not_known_is_a_dash(words):
    table = words.weeks(outlook())
    assert table.to_dict("list") == {"soil type": ["loam"], "26 May": ["–"], "2 Jun": ["412"]}
    assert words.weeks(None).empty
