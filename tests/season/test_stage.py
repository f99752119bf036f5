"""How deep each soil is moist, from a table of weather."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from builders.decision import shipped_catalog
from hardpan.core.errors import InputError
from hardpan.prescription.tables import moisture_window
from hardpan.records.advice import Known, Verdict
from hardpan.records.decision import SeasonSettings
from hardpan.records.weather import WEATHER, DailyTable, Reference
from hardpan.season.inputs import reference_mm
from hardpan.season.stage import balance_weather

SOILS = ("deep sand", "sand over clay")


@pytest.fixture(scope="module")
def catalog():
    return shipped_catalog()


def weather(rain, et0=5.0, *, start="2027-01-01", **columns):
    """Daily table; a column of one number is the same every day."""
    index = pd.date_range(start, periods=len(rain), name="day")
    table = pd.DataFrame({"rain_mm": np.array(rain, dtype=float), "et0_mm": et0, **columns}, index=index)
    return DailyTable(table=table.reindex(columns=list(WEATHER)).astype(float), file="daily.csv", latitude_deg=-31.0)


def water(rain, catalog, et0=5.0, **season):
    asked = {"dry_on": date(2027, 1, 1)} | season
    return balance_weather(weather(rain, et0), SeasonSettings(**asked), catalog, SOILS)


def window(depth_mm, found, catalog, soil="deep sand", *, repellent=False, **season):
    return moisture_window(
        depth_mm, SeasonSettings(**season), catalog.available_water["sand"], found.soils[soil], repellent=repellent
    )


def test_rain_after_a_dry_start_wets_sand_to_rain_less_evaporation_over_available_water(catalog):
    found = water([0.0, 40.0, 0.0, 0.0], catalog)
    layer = catalog.balance.surface["sand"]
    surface = (layer.field_capacity.value - 0.5 * layer.wilting_point.value) * 100.0
    use = catalog.balance.bare.weeds.value * 5.0 * 3
    deepest = 100.0 + (40.0 - surface) / 0.062
    assert found.soils["deep sand"].moist_depth_mm == pytest.approx(deepest)
    assert found.soils["deep sand"].least_mm == found.soils["deep sand"].most_mm  # the start is known
    assert use < 40.0 - surface
    assert (found.day, found.reference) == (date(2027, 1, 4), Reference.GIVEN)


def test_a_verdict_follows_the_weather(catalog):
    ready = water([0.0, 45.0, 0.0, 0.0], catalog)
    assert window(450, ready, catalog).verdict is Verdict.READY
    short = water([0.0, 25.0, 0.0, 0.0], catalog)
    waits = window(450, short, catalog)
    assert (waits.verdict, waits.known) == (Verdict.WAIT, Known.WEATHER)
    again = water([0.0, 25.0, 0.0, waits.rain_needed_mm + 1.0], catalog)
    assert again.soils["deep sand"].moist_depth_mm >= 450.0  # the rain it asks for is enough
    dry = water([0.0, 3.0, 0.0, 0.0], catalog)
    assert window(450, dry, catalog).verdict is Verdict.TOO_DRY
    draining = water([0.0, 0.0, 0.0, 45.0], catalog)
    assert (window(450, draining, catalog).verdict, window(450, draining, catalog).known) == (
        Verdict.WAIT, Known.DRAINING,
    )  # fmt: skip


def test_water_that_stands_on_clay_is_too_wet(catalog):
    found = water([0.0, 0.0, 60.0, 0.0], catalog)
    clay, sand = (window(400, found, catalog, soil) for soil in ("sand over clay", "deep sand"))
    assert (clay.verdict, clay.known) == (Verdict.TOO_WET, Known.PERCHED)
    assert sand.verdict is Verdict.READY


def test_who_digs_or_rolls_soil_by_hand_knows_more_than_the_weather(catalog):
    found = water([0.0, 45.0, 0.0, 0.0], catalog)
    dug = window(450, found, catalog, moist_depth_mm=200.0)
    assert (dug.verdict, dug.known) == (Verdict.WAIT, Known.DUG)
    assert window(450, found, catalog, too_wet=True).known is Known.HAND_TEST
    draining = water([0.0, 0.0, 0.0, 45.0], catalog)
    assert window(450, draining, catalog, too_wet=False).verdict is Verdict.READY
    told = water([0.0, 45.0], catalog, moist_depth_mm=300.0)
    assert [issue.code for issue in told.issues] == ["weather-unused"]


def test_repellent_ground_is_not_reckoned(catalog):
    found = water([0.0, 45.0, 0.0, 0.0], catalog)
    told = window(450, found, catalog, repellent=True)
    assert (told.verdict, told.known) == (Verdict.UNKNOWN, Known.REPELLENT)


def test_a_start_that_nobody_knows_is_said_and_not_guessed(catalog):
    found = water([0.0, 15.0, 0.0, 0.0], catalog, dry_on=None)
    soil = found.soils["deep sand"]
    assert np.isnan(soil.moist_depth_mm)
    assert soil.least_mm < 400.0 < soil.most_mm
    assert window(450, found, catalog).known is Known.OPEN
    assert "weather-start" in [issue.code for issue in found.issues]


def test_enough_rain_makes_an_unknown_start_known(catalog):
    found = water([90.0] * 2 + [0.0] * 3, catalog, dry_on=None)
    assert found.soils["deep sand"].moist_depth_mm == pytest.approx(catalog.balance.bare.reach.value)


def test_days_without_rain_in_the_file_are_said_and_leave_open_what_hangs_on_them(catalog):
    rain = [0.0, 20.0, np.nan, np.nan, 0.0, 0.0]
    found = water(rain, catalog)
    assert np.isnan(found.soils["deep sand"].moist_depth_mm)
    gap = next(issue for issue in found.issues if issue.code == "weather-gap")
    assert "no rain is given for 2027-01-03 to 2027-01-04" in gap.what
    before = water(rain, catalog, day=date(2027, 1, 2))
    assert before.soils["deep sand"].moist_depth_mm > 100.0


def test_the_weeks_before_are_told(catalog):
    found = water([0.0] * 10 + [45.0] + [0.0] * 20, catalog)
    sand = found.weeks[found.weeks["soil_type"] == "deep sand"]
    assert sand["day"].tolist() == [date(2027, 1, 3), date(2027, 1, 10), date(2027, 1, 17), date(2027, 1, 24),
                                    date(2027, 1, 31)]  # fmt: skip
    assert (sand["moist_mm"] > 400.0).tolist() == [False, False, True, True, True]


@pytest.mark.parametrize(
    ("season", "words"),
    [
        (
            {"dry_on": date(2026, 12, 1)},
            r"dry_on = 2026-12-01 is outside of its days; expected 2027-01-01 to 2027-01-04",
        ),
        ({"day": date(2027, 2, 1)}, "day = 2027-02-01 is outside of its days"),
        ({"dry_on": date(2027, 1, 4)}, "not before the plan's day"),
    ],
)
def test_days_that_the_file_does_not_hold_are_refused(catalog, season, words):
    with pytest.raises(InputError, match=words):
        water([0.0] * 4, catalog, **season)


def test_evaporation_is_reckoned_from_what_there_is_and_named(catalog):
    none = {"et0_mm": np.nan}
    warm = {"low_c": 14.8, "high_c": 26.6}
    pan = weather([0.0] * 3, pan_mm=8.0, et0=np.nan)
    assert reference_mm(pan, catalog, elevation_m=0.0)[1] is Reference.PAN
    assert reference_mm(weather([0.0] * 3, np.nan, **warm), catalog, elevation_m=0.0)[1] is Reference.HARGREAVES
    full = weather([0.0] * 3, np.nan, **warm, humidity_pct=50.0, wind_ms=2.0, solar_mj=20.0)
    assert reference_mm(full, catalog, elevation_m=0.0)[1] is Reference.PENMAN_MONTEITH
    with pytest.raises(InputError, match="has rain but no evaporation"):
        reference_mm(weather([0.0] * 3, none["et0_mm"]), catalog, elevation_m=0.0)


def test_penman_monteith_is_that_of_another_library(catalog):
    """pyfao56, the short reference of ASCE, which is FAO-56's equation."""
    refet = pytest.importorskip("pyfao56.refet", reason="pyfao56 is not installed")
    table = weather(
        [0.0] * 30, np.nan, start="2026-12-20", low_c=np.linspace(12, 19, 30), high_c=np.linspace(28, 36, 30),
        humidity_pct=45.0, wind_ms=2.5, solar_mj=np.linspace(18, 30, 30),
    )  # fmt: skip
    ours, _ = reference_mm(table, catalog, elevation_m=250.0)
    for at, (day, row) in enumerate(table.table.iterrows()):
        saturated = 0.6108 / 2 * sum(np.exp(17.27 * t / (t + 237.3)) for t in (row["low_c"], row["high_c"]))
        theirs = refet.ascedaily(
            rfcrp="S", z=250.0, lat=-31.0, doy=day.day_of_year, israd=row["solar_mj"], tmax=row["high_c"],
            tmin=row["low_c"], vapr=0.45 * saturated, wndsp=2.5, wndht=2.0,
        )  # fmt: skip
        assert ours[at] == pytest.approx(theirs, rel=0.01)
