"""A mix of psi and kPa in one column is told; soil of ordinary variety is not taken for one."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from hardpan.core.units import KPA_PER
from hardpan.survey.measures import suspect_psi


def survey(peaks_kpa):
    """One triangular profile an insertion, peaking at the value given."""
    shape = np.array([0.1, 0.5, 1.0, 0.6])
    value = np.concatenate([peak * shape for peak in peaks_kpa])
    code = np.repeat(np.arange(len(peaks_kpa)), len(shape))
    sites = pd.DataFrame({"site": [f"P{number:02d}" for number in range(len(peaks_kpa))]})
    return value, SimpleNamespace(code=code, insertions=sites, file="probes.csv")


def test_insertions_left_in_psi_among_kpa_are_named():
    peaks = np.random.default_rng(1).uniform(2200, 3400, 12)
    peaks[[2, 7, 9]] /= KPA_PER["psi"]
    (issue,) = suspect_psi(*survey(peaks))
    assert issue.code == "psi-suspected"
    assert "3 insertions" in issue.what
    assert issue.place == "site P02, P07, P09"


@pytest.mark.parametrize("seed", range(200))
def test_soil_of_ordinary_variety_raises_no_suspicion(seed):
    rng = np.random.default_rng(seed)
    spread = rng.uniform(0.1, 0.45)  # log standard deviation of the peaks of one paddock
    assert suspect_psi(*survey(2500 * np.exp(spread * rng.standard_normal(rng.integers(4, 120))))) == ()
