"""Where the readings end at the device's limit, and where they only share their peaks."""

import numpy as np
import pandas as pd
import pytest

from hardpan.survey.columns import ProbeReadings
from hardpan.survey.readings import judge
from hardpan.survey.settings import ProbeSettings

SETTINGS = ProbeSettings(file="p.csv")
DEPTH_MM = np.arange(0.0, 601.0, 25.0)


def survey(seed, step_kpa, limit_kpa=np.inf, count=12):
    """Pans of differing strength, read by a device of a given limit that shows steps of `step_kpa`."""
    rng = np.random.default_rng(seed)
    peak, depth = rng.normal(3000.0, 300.0, (count, 1)), rng.normal(320.0, 40.0, (count, 1))
    kpa = 600.0 + (peak - 600.0) * np.exp(-(((DEPTH_MM - depth) / 90.0) ** 2)) + rng.normal(0.0, 60.0, (count, 25))
    kpa = step_kpa * np.round(np.clip(kpa, 0.0, limit_kpa) / step_kpa)
    size = kpa.size
    names = [f"P{at}" for at in range(count)]
    return ProbeReadings(
        insertions=pd.DataFrame({"site": names, "file": "p.csv", "device": ""}),
        code=np.repeat(np.arange(count), 25),
        depth_mm=np.tile(DEPTH_MM, count),
        thickness_mm=np.zeros(size),
        kpa=kpa.ravel(),
        at_least=np.zeros(size, dtype=bool),
        theta=np.full(size, np.nan),
        row=np.arange(size),
        held=np.zeros(size, dtype=bool),
        se_kpa=np.full(size, np.nan),
    )


def share_limited(step_kpa, **more):
    return np.mean([judge(survey(seed, step_kpa, **more), SETTINGS)[0].at_least.any() for seed in range(100)])


@pytest.mark.parametrize("step_kpa", [1, 10, 50, 100, 250, 500])
def test_a_coarse_display_is_hardly_ever_taken_for_a_limit(step_kpa):
    assert share_limited(step_kpa) <= 0.02


@pytest.mark.parametrize("step_kpa", [1, 10, 50])
def test_a_limit_below_most_peaks_is_found(step_kpa):
    assert share_limited(step_kpa, limit_kpa=2500.0) >= 0.98
