"""A paddock with weather through the whole job."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from hardpan import Clock, read_config, run_paddock
from hardpan.outputs.advice import plan_advice
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units
from hardpan.records.advice import Known, Verdict
from hardpan.run.chain import prepare
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


def test_weather_is_read_before_anything_is_mapped_and_a_hole_in_it_is_an_issue(tmp_path):
    ready = prepare(paddock(tmp_path, [0, 35.0, "", 0]), clock())
    assert "weather-gap" in [issue.code for issue in ready.survey.issues]
