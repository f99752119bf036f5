"""Scores against their definitions, and what the tables hold."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm, norm

from fields import Recipe, invent, shorten_rods
from hardpan.geostat import Observations
from hardpan.surfaces.forecasts import crps_lognormal, crps_lognormal_beyond, crps_normal, crps_normal_beyond
from hardpan.surfaces.scores import _blocks, fit_soil_mean, forecast_inverse_distance, forecast_soil_mean
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import build_domain, in_order, map_pan
from hardpan.surfaces.variables import Variable


def crps_by_definition(cdf, value):
    """Integral of (F(x) - 1(x >= value))^2, in two parts [gneiting2005]."""
    return (
        quad(lambda x: cdf(x) ** 2, -2000, value, limit=400)[0]
        + quad(lambda x: (1 - cdf(x)) ** 2, value, 6000, limit=400)[0]
    )


@pytest.mark.parametrize("value", [-30.0, 12.0, 80.0])
def test_the_score_of_a_normal_is_its_integral(value):
    expected = crps_by_definition(lambda x: norm.cdf(x, 10.0, 25.0), value)
    assert crps_normal(value, 10.0, 25.0) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("value", [400.0, 900.0, 2500.0])
def test_the_score_of_a_lognormal_is_its_integral(value):
    expected = crps_by_definition(lambda x: lognorm.cdf(x, 0.4, scale=1000.0), value)
    assert crps_lognormal(value, np.log(1000.0), 0.4) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("bound", [-40.0, 10.0, 70.0])
def test_the_score_of_a_bound_is_the_integral_up_to_it(bound):
    expected = quad(lambda x: norm.cdf(x, 10.0, 25.0) ** 2, -400, bound, limit=400)[0]
    assert crps_normal_beyond(bound, 10.0, 25.0) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("bound", [300.0, 1000.0, 2500.0])
def test_the_score_of_a_bound_of_a_lognormal_is_the_integral_up_to_it(bound):
    expected = quad(lambda x: lognorm.cdf(x, 0.4, scale=1000.0) ** 2, 0, bound, limit=400)[0]
    ours = crps_lognormal_beyond(np.array([bound]), np.array([np.log(1000.0)]), np.array([0.4]))
    assert ours[0] == pytest.approx(expected, rel=1e-6)


def test_a_right_forecast_scores_best_even_when_bounds_are_counted():
    """A proper score: over many values cut at one bound, the truth beats any shifted or stretched forecast."""
    rng = np.random.default_rng(0)
    value, bound = rng.normal(0.0, 1.0, 40_000), 0.5

    def score(mean, sd):
        seen = value < bound
        return np.where(seen, crps_normal(value, mean, sd), 0.0).sum() + (~seen).sum() * crps_normal_beyond(
            bound, mean, sd
        )

    def fair(mean, sd):
        # a value seen is scored against the forecast cut at the same bound
        seen = value < bound
        beyond = crps_normal_beyond(bound, mean, sd)
        inner = crps_normal(value, mean, sd) - (crps_normal(bound, mean, sd) - beyond)
        return np.where(seen, inner, beyond).mean()

    assert score(0.0, 1.0) > 0
    assert fair(0.0, 1.0) < min(fair(0.15, 1.0), fair(-0.15, 1.0), fair(0.0, 1.25), fair(0.0, 0.8))


def test_the_table_has_every_variable_method_and_fold(surfaces):
    counted = surfaces.scores.groupby(["variable", "folds"])["method"].nunique()
    assert set(counted) == {3}
    assert set(surfaces.scores["variable"]) == {"pan", "peak", "top", "bottom"}
    assert set(surfaces.scores["folds"]) == {"site", "block"}


def test_coverage_is_near_what_it_says(surfaces):
    """Some hundred dependent readings: a coverage of 0.9 is known to 0.05 or so, one of 0.5 to 0.1."""
    ours = surfaces.scores[(surfaces.scores["method"] == "kriging") & (surfaces.scores["folds"] == "site")]
    ours = ours.set_index("variable").loc[["top", "bottom", "peak"]]
    assert (ours["coverage_90"] - 0.9).abs().max() < 0.1
    assert (ours["coverage_50"] - 0.5).abs().max() < 0.2


@pytest.mark.parametrize("count", [3, 5, 27, 100])
def test_blocks_are_compact_and_of_one_size(count):
    xy = np.random.default_rng(count).uniform(0, [900, 500], (count, 2))
    block = _blocks(xy)
    sizes = np.bincount(block, minlength=6)
    assert sizes.sum() == count
    if count >= 27:
        assert np.ptp(sizes) <= 2
        within = np.mean([xy[block == j].std(axis=0).sum() for j in range(6)])
        assert within < 0.6 * xy.std(axis=0).sum()


def test_on_ground_without_structure_the_map_is_not_called_better_than_the_mean():
    """Bounds count for the mean as for the map; before, a mean of the values seen alone lost by half and more."""
    truth = invent(Recipe(n_sites=49, cell_m=30.0, stopped=0.0, field_mm=0.0, top_mm=0.0), 2)
    short = shorten_rods(truth, 0.7)
    verdict = map_pan(short.pan, short.survey, SurfaceSettings(cell_m=30.0, draws=20), seed=1).verdict
    assert verdict.gain < 0.1


def test_a_soil_type_mean_is_forecast_from_bounds_as_from_values():
    """A thousand values of one soil type cut at their median: their mean is that of the uncut within a few percent."""
    rng = np.random.default_rng(1)
    truth = invent(Recipe(n_sites=100, cell_m=30.0, stopped=0.0), 2)
    insertions = in_order(truth.pan.insertions)
    domain = build_domain(insertions, truth.survey, SurfaceSettings(cell_m=30.0))[0]
    n = len(domain.sites.xy_m)
    site = np.repeat(np.arange(n), 10)
    value = rng.standard_normal(10 * n)
    cut = value > 0.0
    seen = Observations(
        site=site, low=np.where(cut, 0.0, value), high=np.where(cut, np.inf, value), error=np.zeros(10 * n)
    )
    variable = Variable(name="bottom", unit="mm", observations=seen, rows=site, centre=0.0, scale=1.0)
    mixture = fit_soil_mean(variable, domain)
    forecast = forecast_soil_mean(variable, mixture, np.arange(n))
    assert forecast.mean == pytest.approx(0.0, abs=0.2)
    assert forecast.sd == pytest.approx(1.0, rel=0.1)
    assert forecast_inverse_distance(variable, mixture, domain, np.arange(n)).mean.mean() == pytest.approx(0.0, abs=0.1)
