"""The yardstick of what readings allow is itself right: against kriging of another library, and against the truth."""

import gstools as gs
import numpy as np
import pytest

import fields
from truth.known import draw_known


@pytest.fixture(scope="module")
def known():
    """Three paddocks with a third of the insertions stopped: truth, and draws by one who knows how they were made."""
    recipe = fields.Recipe(n_sites=36, side_m=600.0, cell_m=20.0, stopped=0.33)
    truths = [fields.invent(recipe, seed) for seed in (300, 301, 302)]
    return recipe, [(truth, draw_known(truth, recipe, draws=300, seed=1)) for truth in truths]


def test_the_top_of_the_pan_is_that_of_simple_kriging(known):
    """gstools, with the mean of a site's insertions erring by their noise over the root of their number."""
    recipe, [(truth, (top, *_)), *_] = known
    pan = truth.pan.insertions[truth.pan.insertions["state"] == "present"]
    x, y = pan.geometry.x.to_numpy(), pan.geometry.y.to_numpy()
    west, south = fields.WEST_M, fields.SOUTH_M
    soil = fields.soil_at(truth.survey.soils, np.stack([x, y], axis=1))
    off = pan["top_mm"].to_numpy() - np.array(fields.TOP_MM)[soil]
    sites, at, count = np.unique(np.stack([x, y]), axis=1, return_inverse=True, return_counts=True)
    mean = np.bincount(at.ravel(), weights=off) / count
    model = gs.Exponential(dim=2, var=recipe.top_mm**2, len_scale=recipe.range_m / 2.996)
    error = fields.TOP_NOISE_MM**2 / count
    krige = gs.krige.Simple(model, sites - [[west], [south]], mean, mean=0.0, cond_err=error, exact=False)
    frame = truth.survey.frame
    cells = np.stack([grid.ravel() for grid in np.meshgrid(frame.x_m, frame.y_m)])
    middle, variance = krige(cells - [[west], [south]])
    middle = middle + np.array(fields.TOP_MM)[fields.soil_at(truth.survey.soils, cells.T)]
    away = (top.mean(axis=0) - middle) / np.sqrt(variance / len(top))
    assert np.abs(away).max() < 5.0  # five standard errors of a mean of 300 draws, over a thousand cells
    assert np.sqrt((top.var(axis=0) / variance).mean()) == pytest.approx(1.0, abs=0.02)


def test_the_bottom_lies_in_the_90_percent_interval_nine_times_in_ten(known):
    """Cells are alike within a range of 300 m: three paddocks hold about a dozen independent ones, hence the slack."""
    inside = []
    for truth, (_, bottom, *_) in known[1]:
        low, high = np.quantile(bottom, [0.05, 0.95], axis=0)
        inside.append((low <= truth.bottom_mm.ravel()) & (truth.bottom_mm.ravel() <= high))
    assert np.mean(inside) == pytest.approx(0.9, abs=0.05)


def test_the_chance_of_a_pan_is_as_right_as_it_says(known):
    """The squared error of a chance p that is right has the mean p (1 - p)."""
    chance = np.concatenate([present.mean(axis=0) for _, (_, _, present, _) in known[1]])
    there = np.concatenate([truth.present.ravel() for truth, _ in known[1]])
    assert chance.mean() == pytest.approx(there.mean(), abs=0.03)
    assert np.mean((chance - there) ** 2) == pytest.approx(np.mean(chance * (1.0 - chance)), abs=0.02)
