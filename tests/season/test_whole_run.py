"""A paddock with weather through the whole job."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from hardpan import Clock, read_config, run_paddock
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.told import plan_advice
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Known, Verdict
from hardpan.run.chain import prepare
from hardpan.survey.inputs.earlier import read_paddock_result
from small_paddock import Small

SEASON = 'weather = "daily.csv"\ndry_on = 2027-01-01\n'


def paddock(folder, rain, season=SEASON):
    """Configuration of a small paddock on sand with days of rain."""
    path = replace(Small(), tables={"season": season, "prescription": 'rule = "cover"'}).write(folder)
    days = "\n".join(f"2027-01-{day:02d},{mm},5" for day, mm in enumerate(rain, 1))
    (folder / "daily.csv").write_text(f"date,rain_mm,et0_mm\n{days}\n", encoding="utf-8")
    return read_config(path)


def clock():
    return Clock(now=datetime(2027, 1, 31, tzinfo=UTC))


@pytest.mark.slow
def test_the_weather_holds_the_depth_and_is_told(tmp_path):
    run = run_paddock(paddock(tmp_path, [0, 35.0, 0, 0]), clock(), further=False)
    moist_mm = run.catalog.soil_water["deep sand"].moist_depth_mm
    ripped = run.plan.zones[run.plan.zones["depth_mm"] > 0]
    assert 0 < ripped["depth_mm"].max() <= moist_mm < 700
    window = run.plan.moisture.set_index("zone").loc[ripped["zone"]]
    assert set(window["verdict"]) == {Verdict.READY}
    assert set(window["known"]) == {Known.WEATHER}
    words = speak(Units.of_files(run.rates.currency), run.catalog)
    told = " ".join(plan_advice(run.plan.zones, run.plan.moisture, run.plan.conditions, run.catalog, words))
    assert "reckoned from daily rain and evaporation" in told
    assert "daily.csv" in run.survey.digests.index


def years_of_rain(folder):
    """Six years from 2021 on; in all but 2023 it rains 60 mm on 2 January, in 2026 the file ends on the 9th."""
    days = pd.date_range("2021-01-01", "2027-01-09")
    wet = (days.month == 1) & (days.day == 2) & (days.year != 2023)
    table = pd.DataFrame({"date": days.strftime("%Y-%m-%d"), "rain_mm": np.where(wet, 60.0, 0.0), "et0_mm": 5.0})
    table.to_csv(folder / "daily.csv", index=False)


@pytest.mark.slow
def test_years_of_weather_say_how_likely_the_plan_is_finished_and_a_list_of_paddocks_reads_it(tmp_path):
    season = SEASON + "day = 2027-01-09\nfinish_by = 2027-01-31\n"
    config = paddock(tmp_path, [0], season)
    years_of_rain(tmp_path)
    run = run_paddock(config, clock(), further=False)
    ahead = run.outlook
    assert (ahead.fit.years, ahead.fit.soil_types) == ((2021, 2022, 2023, 2024, 2025, 2026), ("deep sand",))
    assert (ahead.finishing.first, ahead.finishing.last) == (date(2027, 1, 10), date(2027, 1, 31))
    hours = run.ledger.lines.query("item == 'hours' and zone == 'total'")["quantity"].item()
    assert ahead.finishing.days == pytest.approx(hours / 10.0, abs=0.01)
    assert ahead.finishing.chance == pytest.approx(5 / 6)
    write_outputs(run, OutputSettings(formats=("geojson", "report")), tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    for told in (
        "enough to finish in 83\u00a0% of the years",
        "Days a month on which the soil is fit",
        "evenings of the past",
    ):
        assert told in page
    fit = read_paddock_result(tmp_path / "out").fit
    assert np.array_equal(fit.fit, ahead.fit.fit)
    assert (fit.years, fit.first, fit.soil_types) == (ahead.fit.years, ahead.fit.first, ahead.fit.soil_types)
    assert fit.depth_mm == ahead.fit.depth_mm


def test_weather_is_read_before_anything_is_mapped_and_a_hole_in_it_is_an_issue(tmp_path):
    ready = prepare(paddock(tmp_path, [0, 35.0, "", 0]), clock())
    assert "weather-gap" in [issue.code for issue in ready.survey.issues]
