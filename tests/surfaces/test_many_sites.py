"""More sites than one system can hold: the map against that of one system, and against the truth."""

import numpy as np
import pytest

from hardpan.surfaces import stage, variables
from hardpan.surfaces.settings import SurfaceSettings

pytestmark = pytest.mark.slow

NORMAL_95 = 1.6448536269514722


def mapped(truth, **settings):
    asked = SurfaceSettings(cell_m=truth.survey.frame.cell_m, draws=100, **settings)
    return stage.map_pan(truth.pan, truth.survey, asked, seed=1)


def test_kriging_from_the_nearest_gives_the_map_of_the_whole_system(fields, monkeypatch):
    truth = fields.invent(fields.Recipe(n_sites=200, stopped=0.3), 5)
    whole = mapped(truth)
    monkeypatch.setattr(stage, "MOST_JOINT", 150)
    near = mapped(truth)
    assert "many-sites" in {issue.code for issue in near.issues}
    assert "many-sites" not in {issue.code for issue in whole.issues}
    sd = whole.maps["pan_bottom_sd_mm"].to_numpy()[whole.inside]
    apart = (near.maps["pan_bottom_mm"] - whole.maps["pan_bottom_mm"]).to_numpy()[whole.inside]
    assert np.sqrt(np.mean((apart / sd) ** 2)) < 0.3
    chance = (near.maps["pan_probability"] - whole.maps["pan_probability"]).to_numpy()[whole.inside]
    assert np.abs(chance).mean() < 0.05


def test_twenty_four_hundred_insertions_are_mapped_with_the_right_uncertainty(fields):
    """The truth is known at points, so that points are mapped."""
    truth = fields.invent(fields.Recipe(n_sites=800, stopped=0.3), 7)
    surfaces = mapped(truth, block=False)
    on = truth.present & surfaces.inside
    error = surfaces.maps["pan_bottom_mm"].to_numpy()[on] - truth.bottom_mm[on]
    sd = surfaces.maps["pan_bottom_sd_mm"].to_numpy()[on]
    assert abs(error.mean()) < 6.0
    assert 0.85 < np.mean(np.abs(error) <= NORMAL_95 * sd) < 0.95
    drawn = surfaces.draws["bottom_mm"].to_numpy().std(axis=0)
    assert np.mean(drawn) == pytest.approx(np.mean(sd), rel=0.1)
    assert surfaces.maps["pan_probability"].to_numpy()[surfaces.inside].min() >= 0.0


def test_a_likelihood_in_groups_gives_the_map_of_that_of_all_together(fields, monkeypatch):
    truth = fields.invent(fields.Recipe(n_sites=160, stopped=0.3), 5)
    whole = mapped(truth)
    monkeypatch.setattr(variables, "MOST_TOGETHER", 100)
    monkeypatch.setattr(variables, "GROUP", 60)
    grouped = mapped(truth)
    for name in ("top", "bottom"):
        one, other = (found.maps[f"pan_{name}_mm"].to_numpy()[found.inside] for found in (whole, grouped))
        sd = whole.maps[f"pan_{name}_sd_mm"].to_numpy()[whole.inside]
        assert not np.array_equal(one, other)
        assert np.sqrt(np.mean(((other - one) / sd) ** 2)) < 0.2
        assert np.mean(grouped.maps[f"pan_{name}_sd_mm"].to_numpy()[grouped.inside] / sd) == pytest.approx(1.0, abs=0.1)
