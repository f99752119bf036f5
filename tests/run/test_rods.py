"""Readings by rods of different lengths, from files to maps: soft ground counts as far as it was read."""

import numpy as np
import pytest

from hardpan.records.pan import Peak, State
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from hardpan.surfaces.stage import map_pan
from small_paddock import SOUTH_M, WEST_M, Small

STEP_MM = 25


def written(folder, insertions, thick_mm=100.0, **tables):
    """Configuration of a paddock with these insertions: date, end of the record (mm), and hard or soft."""
    path = Small(tables={"surfaces": "draws = 20\ncell_m = 20", **tables}).write(folder)
    rng = np.random.default_rng(7)
    rows = ["site,x,y,date,depth_mm,cone_index_kpa"]
    for number, (date, end_mm, hard) in enumerate(insertions):
        east, north = rng.uniform(10.0, 190.0, 2)
        top = rng.uniform(220.0, 300.0)
        for depth in range(STEP_MM, end_mm + 1, STEP_MM):
            kpa = rng.normal(2900.0 if hard and 0 < depth - top < thick_mm else 1100.0, 60.0)
            rows.append(f"S{number},{WEST_M + east:.1f},{SOUTH_M + north:.1f},{date},{depth},{kpa:.0f}")
    (folder / "probes.csv").write_text("\n".join(rows) + "\n")
    return read_config(path)


def found(config):
    return read_inputs(config, read_catalog(config))


def test_each_dates_share_of_pans_is_that_of_its_own_insertions(tmp_path):
    dates = {"2026-05-04": (425, 0.0), "2026-06-01": (450, 0.016), "2026-06-29": (500, 0.0), "2026-07-27": (700, 0.425)}
    insertions = [
        (date, end_mm - STEP_MM * (number % 3 == 0), number < round(share * 40))
        for date, (end_mm, share) in dates.items()
        for number in range(40)
    ]
    pan = found(written(tmp_path, insertions))[1]
    shares = pan.dates.set_index("date")["present_share"]
    for date, (_, share) in dates.items():
        assert shares[date] == pytest.approx(round(share * 40) / 40, abs=0.02)


def test_one_deeper_reading_takes_no_other_insertion_away(tmp_path):
    insertions = [("2026-05-04", 425, number < 33) for number in range(79)] + [("2026-05-04", 450, False)]
    config = written(tmp_path, insertions)
    survey, pan = found(config)
    assert not (pan.insertions["state"] == State.UNUSABLE).any()
    maps = map_pan(pan, survey, config.surfaces, seed=1).maps
    # Two standard errors of a share of 33 among 80 are 0.11.
    assert float(maps["pan_probability"].mean()) == pytest.approx(33 / 80, abs=0.12)


def test_rods_that_end_in_hard_ground_leave_the_peak_as_it_was_read(tmp_path):
    insertions = [("2026-05-04", 425, number % 2 == 0) for number in range(30)]
    insertions += [("2026-06-01", 600, number % 3 == 0) for number in range(6)]
    pan = found(written(tmp_path, insertions, thick_mm=1000.0))[1]
    met = pan.insertions[pan.insertions["state"] == State.PRESENT]
    assert (met["peak_kind"] == Peak.OBSERVED).all()


def test_the_mapped_peak_is_no_higher_than_any_reading_where_no_strength_stopped_a_rod(tmp_path):
    insertions = [("2026-05-04", 700, True)] * 12 + [("2026-06-01", 325, True)] * 20
    config = written(tmp_path, insertions, thick_mm=180.0)
    survey, pan = found(config)
    assert (pan.insertions["bottom_mm"].isna()).sum() >= 15
    maps = map_pan(pan, survey, config.surfaces, seed=1).maps
    assert float(maps["peak_kpa"].max()) <= survey.profiles.readings["cone_index_kpa"].max() + 1e-6


def test_every_date_has_a_rod_of_its_own(tmp_path):
    config = written(tmp_path, [("2026-05-04", 425, False)] * 20 + [("2026-06-01", 600, False)] * 20)
    survey, _ = found(config)
    assert set(survey.profiles.readings["stop"].to_numpy()) == {"rod end"}
