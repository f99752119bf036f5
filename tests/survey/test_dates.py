"""Probing dates: a span asked for, seasons kept apart, and a site effect for each date where taken together."""

import numpy as np
import pandas as pd
import pytest

from hardpan.core.errors import HardpanError
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from hardpan.surfaces.stage import map_pan
from hardpan.survey.dates import number_seasons
from small_paddock import SOUTH_M, WEST_M, Small

DATES = ["2018-06-01", "2018-06-15", "2020-07-01"]
TOGETHER = 'seasons = "together"'


def paddock(folder, probes=""):
    """Configuration of a paddock whose twelve sites were probed on three dates of two seasons."""
    path = Small(tables={"probes": probes, "surfaces": "draws = 20\ncell_m = 20"}).write(folder)
    rng = np.random.default_rng(3)
    places = rng.uniform(10.0, 190.0, (12, 2))
    rows = ["site,x,y,date," + ",".join(f"{depth} mm" for depth in range(50, 701, 50))]
    for date in DATES:
        for number, (east, north) in enumerate(places):
            kpa = [3500 + 10 * number if 250 < depth < 450 else 1000 + number for depth in range(50, 701, 50)]
            cells = ",".join(str(one + rng.integers(50)) for one in kpa)
            rows.append(f"P{number},{WEST_M + east:.2f},{SOUTH_M + north:.2f},{date},{cells}")
    (folder / "probes.csv").write_text("\n".join(rows) + "\n")
    return read_config(path)


def read(config):
    return read_inputs(config, read_catalog(config))


def codes(survey):
    return {issue.code: issue for issue in survey.issues}


def test_only_the_latest_season_is_used_and_the_report_says_so(tmp_path):
    survey, _ = read(paddock(tmp_path))
    assert set(survey.profiles.readings["date"].to_numpy()) == {"2020-07-01"}
    assert (survey.profiles.readings["replicate"] == 1).all()
    told = codes(survey)["seasons-apart"]
    assert "2018-06-01 to 2018-06-15: 24 insertions; 2020-07-01 to 2020-07-01: 12 insertions" in told.what


@pytest.mark.parametrize(
    ("span", "dates"),
    [
        ("to = 2018-12-31", DATES[:2]),
        ('from = "2018-06-02"\nto = 2018-12-31', DATES[1:2]),
        ("from = 2019-01-01", DATES[2:]),
    ],
)
def test_a_span_of_dates_is_kept_to(tmp_path, span, dates):
    survey, _ = read(paddock(tmp_path, span))
    assert set(survey.profiles.readings["date"].to_numpy()) == set(dates)
    assert f"{12 * (3 - len(dates))} insertions outside" in codes(survey)["other-dates"].what


def test_a_span_without_an_insertion_is_refused_with_the_dates_there_are(tmp_path):
    with pytest.raises(HardpanError, match="its dates run from 2018-06-01 to 2020-07-01"):
        read(paddock(tmp_path, "from = 2021-01-01"))


def test_seasons_taken_together_have_a_site_for_each_date(tmp_path):
    config = paddock(tmp_path, TOGETHER)
    survey, pan = read(config)
    assert len(set(survey.profiles.readings["site"].to_numpy())) == 36
    assert "seasons-together" in codes(survey)
    maps = map_pan(pan, survey, config.surfaces, seed=1).maps
    assert float(maps["pan_probability"].min()) > 0.5
    assert np.isfinite(maps["pan_bottom_mm"].to_numpy()).any()


def test_dates_of_one_season_share_their_sites(tmp_path):
    survey, _ = read(paddock(tmp_path, "to = 2018-12-31"))
    assert len(set(survey.profiles.readings["site"].to_numpy())) == 12
    assert set(survey.profiles.readings["replicate"].to_numpy()) == {1, 2}


def test_a_season_goes_over_the_new_year():
    days = pd.to_datetime(pd.Series(["2025-12-20", "2026-01-10", "2025-06-01", None]))
    assert number_seasons(days, 120.0).tolist() == [1, 1, 0, -1]
