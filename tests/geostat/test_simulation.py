from dataclasses import replace

import numpy as np
import pytest

from hardpan import geostat
from hardpan.core.errors import HardpanError
from hardpan.geostat import (
    LOCAL,
    Covariance,
    Noise,
    Structure,
    covariance_between,
    draw_on_lattice,
    isotropic,
    simulation,
    to_correlation,
)

DRAWS = 4000
STRUCTURE = Structure(family="matern32", sill=0.9, length_m=60, ratio=0.6, heading_deg=40)


def posed(n=30, micro=0.1, noise=0.05):
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, 200, (n, 2))
    xy[0] = 100.0, 100.0
    z = np.random.default_rng(0).standard_normal(n)
    covariance = Covariance(structures=(STRUCTURE,), micro=micro, noise=noise)
    return xy, z, covariance, geostat.condition(geostat.observe(*xy.T, z, trend=xy[:, 0]), covariance)


def lattice(step_m=10.0):
    x, y = np.meshgrid(np.arange(0, 201, step_m), np.arange(0, 201, step_m))
    return np.column_stack([x.ravel(), y.ravel()])[::3]


def forced(monkeypatch, dense):
    if dense:
        monkeypatch.setattr(simulation, "_lattice_of", lambda _: None)
    else:
        monkeypatch.setattr(simulation, "_DENSE", 0)


@pytest.mark.parametrize("dense", [True, False], ids=["dense", "lattice"])
def test_draws_have_the_mean_and_covariance_of_kriging(monkeypatch, dense):
    forced(monkeypatch, dense)
    (xy, _, covariance, field), nodes = posed(), lattice()
    kriged = geostat.krige(field, *nodes.T, trend=nodes[:, 0])
    draws = geostat.simulate(field, *nodes.T, DRAWS, 5, trend=nodes[:, 0])
    assert draws.shape == (DRAWS, len(nodes))
    error = (draws.mean(axis=0) - kriged.mean) / np.sqrt(kriged.variance / DRAWS)
    assert np.abs(error).max() < 5  # standard errors; 147 nodes
    assert draws.var(axis=0) == pytest.approx(kriged.variance, rel=6 * np.sqrt(2 / DRAWS))
    # the mean over all nodes: its variance needs the covariances right; its kriging is linear in the data
    units = [geostat.condition(geostat.observe(*xy.T, unit, trend=xy[:, 0]), covariance) for unit in np.eye(len(xy))]
    weights = np.array([geostat.krige(unit, *nodes.T, trend=nodes[:, 0]).mean.mean() for unit in units])
    total = full_covariance(covariance, xy, nodes, weights)
    assert draws.mean(axis=1).var() == pytest.approx(total, rel=6 * np.sqrt(2 / DRAWS))


def full_covariance(covariance, xy, nodes, weights):
    """Variance of (mean of the field over the nodes) minus its kriged value, straight from the model."""
    same = np.all(nodes[:, None] == xy[None], axis=2)
    data = covariance_between(covariance, xy, xy) + (covariance.micro + covariance.noise) * np.eye(len(xy))
    among = covariance_between(covariance, nodes, nodes) + covariance.micro * np.eye(len(nodes))
    onto = covariance_between(covariance, nodes, xy) + covariance.micro * same
    assert nodes[:, 0].mean() == pytest.approx(weights @ xy[:, 0])  # unbiased for any trend
    return among.mean() - 2 * onto.mean(axis=0) @ weights + weights @ data @ weights


@pytest.mark.parametrize("dense", [True, False], ids=["dense", "lattice"])
def test_without_noise_every_draw_goes_through_the_data(monkeypatch, dense):
    forced(monkeypatch, dense)
    (_, z, _, field), nodes = posed(noise=0.0), lattice(step_m=20.0)
    here = np.flatnonzero(np.all(nodes == [100.0, 100.0], axis=1))
    if not len(here):
        nodes[0], here = [100.0, 100.0], np.array([0])
    draws = geostat.simulate(field, *nodes.T, 20, 5, trend=nodes[:, 0])
    assert draws[:, here] == pytest.approx(z[0], abs=3e-3)


@pytest.mark.parametrize("family", LOCAL)
@pytest.mark.parametrize("range_m", [90.0, 600.0])
def test_draws_on_a_lattice_have_the_models_covariance(family, range_m):
    """At nodes and between; the long range is three times the lattice, where part of the spectrum is left out."""
    covariance = to_correlation(family, isotropic(np.log([range_m, 1.0, 1.0, 1.0])))
    nodes = lattice()
    points = np.array([[103.0, 81.0], [151.0, 60.0], nodes[40]])
    noise = Noise.seeded(np.random.default_rng(1), DRAWS)
    drawn = np.vstack(draw_on_lattice(covariance, nodes, points, noise, negative=0.01))
    some = np.r_[np.arange(0, len(nodes), 17), len(nodes) + np.arange(3)]
    xy = np.vstack([nodes, points])[some]
    tolerance = 4.5 / np.sqrt(DRAWS) + 0.01
    assert np.cov(drawn[some]) == pytest.approx(covariance_between(covariance, xy, xy), abs=tolerance)
    assert drawn[len(nodes) + 2] == pytest.approx(drawn[40], abs=1e-3)  # a point on a node


def test_draws_follow_the_values():
    """With one more on every value each draw is one higher: the trend holds a constant."""
    (xy, z, covariance, field), nodes = posed(), lattice()
    higher = geostat.condition(geostat.observe(*xy.T, z + 7, trend=xy[:, 0]), covariance)
    one, other = (geostat.simulate(f, *nodes.T, 2, 5, trend=nodes[:, 0]) for f in (field, higher))
    assert other == pytest.approx(one + 7, abs=1e-6)


@pytest.mark.parametrize("dense", [True, False], ids=["dense", "lattice"])
def test_draws_of_one_seed_compare_across_data_and_covariances(monkeypatch, dense):
    """One site less and a range a tenth longer: draw by draw much the same fields.

    The field reaches beyond the lattice, where the longer range's torus has noise of its own. The correlation of
    independent draws over these 147 nodes and 20 draws is within 0.2 of 0.
    """
    forced(monkeypatch, dense)
    (xy, z, covariance, field), nodes = posed(noise=0.2), lattice()
    longer = replace(covariance, structures=(replace(STRUCTURE, length_m=66.0),))
    fewer = geostat.condition(geostat.observe(*xy[:-1].T, z[:-1], trend=xy[:-1, 0]), longer)
    one, near, other = (
        geostat.simulate(f, *nodes.T, 20, seed, trend=nodes[:, 0]) for f, seed in ((field, 1), (fewer, 1), (field, 2))
    )
    off = [draws - draws.mean(axis=0) for draws in (one, near, other)]
    assert np.corrcoef(off[0].ravel(), off[1].ravel())[0, 1] > 0.8
    assert abs(np.corrcoef(off[0].ravel(), off[2].ravel())[0, 1]) < 0.2


def test_the_seed_decides():
    (*_, field), nodes = posed(), lattice()
    one, same, other = (geostat.simulate(field, *nodes.T, 3, seed, trend=nodes[:, 0]) for seed in (1, 1, 2))
    assert np.array_equal(one, same)
    assert not np.allclose(one, other)


def test_many_scattered_nodes_are_refused(monkeypatch):
    monkeypatch.setattr(simulation, "_DENSE", 10)
    nodes = np.random.default_rng(0).uniform(0, 200, (50, 2))
    with pytest.raises(HardpanError, match="lattice"):
        geostat.simulate(posed()[-1], *nodes.T, 2, 1, trend=nodes[:, 0])
