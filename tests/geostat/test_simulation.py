import numpy as np
import pytest

from hardpan.core.errors import HardpanError
from hardpan.geostat import simulation
from hardpan.geostat.covariance import Covariance, Structure, covariance_between
from hardpan.geostat.kriging import factorise, predict
from hardpan.geostat.parameters import FAMILIES, correlation_of, plain
from hardpan.geostat.simulation import draw_conditional, draw_on_lattice

DRAWS = 4000
STRUCTURE = Structure(family="matern32", sill=0.9, length_m=60, ratio=0.6, heading_deg=40)


def system_of(n=30, micro=0.1, noise=0.05, **options):
    rng = np.random.default_rng(4)
    xy = rng.uniform(0, 200, (n, 2))
    xy[0] = 100.0, 100.0
    drift = np.column_stack([np.ones(n), xy[:, 0] / 100])
    return factorise(Covariance(structures=(STRUCTURE,), micro=micro, noise=noise), xy, drift, **options)


def lattice(step_m=10.0):
    x, y = np.meshgrid(np.arange(0, 201, step_m), np.arange(0, 201, step_m))
    nodes = np.column_stack([x.ravel(), y.ravel()])[::3]
    return nodes, np.column_stack([np.ones(len(nodes)), nodes[:, 0] / 100])


@pytest.mark.parametrize("dense", [True, False], ids=["dense", "lattice"])
def test_draws_have_the_mean_and_covariance_of_kriging(monkeypatch, dense):
    monkeypatch.setattr(simulation, "_DENSE", 10_000 if dense else 0)
    system, (nodes, drift) = system_of(), lattice()
    z = np.random.default_rng(0).standard_normal(30)
    kriged = predict(system, z, nodes, drift)
    draws = draw_conditional(system, z, nodes, drift, DRAWS, 5)
    assert draws.shape == (DRAWS, len(nodes))
    error = (draws.mean(axis=0) - kriged.mean) / np.sqrt(kriged.variance / DRAWS)
    assert np.abs(error).max() < 5  # standard errors; 147 nodes
    assert draws.var(axis=0) == pytest.approx(kriged.variance, rel=6 * np.sqrt(2 / DRAWS))
    # the mean over all nodes: its variance needs the covariances right; its kriging is linear in the nodes
    apart = draws.mean(axis=1)
    free = np.eye(len(system.xy_m))
    weights = predict(system, free, nodes, drift, variance=False).mean.mean(axis=0)
    total = full_covariance(system, nodes, drift, weights)
    assert apart.var() == pytest.approx(total, rel=6 * np.sqrt(2 / DRAWS))


def full_covariance(system, nodes, drift, weights):
    """Variance of (mean of the field over the nodes) minus its kriged value, straight from the model."""
    covariance = system.covariance
    same = np.all(nodes[:, None] == system.xy_m[None], axis=2)
    K = system.factor @ system.factor.T
    nn = covariance_between(covariance, nodes, nodes) + covariance.micro * np.eye(len(nodes))
    nd = covariance_between(covariance, nodes, system.xy_m) + covariance.micro * same
    assert drift.mean(axis=0) == pytest.approx(weights @ system.drift)  # unbiased for any trend
    return nn.mean() - 2 * nd.mean(axis=0) @ weights + weights @ K @ weights


@pytest.mark.parametrize("dense", [True, False], ids=["dense", "lattice"])
def test_without_noise_every_draw_goes_through_the_data(monkeypatch, dense):
    monkeypatch.setattr(simulation, "_DENSE", 10_000 if dense else 0)
    system, (nodes, drift) = system_of(noise=0.0), lattice(step_m=20.0)
    z = np.random.default_rng(0).standard_normal(30)
    here = np.flatnonzero(np.all(nodes == [100.0, 100.0], axis=1))
    if not len(here):
        nodes[0], here = [100.0, 100.0], np.array([0])
        drift[0] = [1.0, 1.0]
    draws = draw_conditional(system, z, nodes, drift, 20, 5)
    assert draws[:, here] == pytest.approx(z[0], abs=3e-3)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("range_m", [90.0, 600.0])
def test_draws_on_a_lattice_have_the_models_covariance(family, range_m):
    """At nodes and between; the long range is three times the lattice, where part of the spectrum is left out."""
    covariance = correlation_of(family, plain(np.log([range_m, 1.0, 1.0, 1.0])))
    nodes, _ = lattice()
    points = np.array([[103.0, 81.0], [151.0, 60.0], nodes[40]])
    drawn = np.vstack(draw_on_lattice(covariance, nodes, points, DRAWS, np.random.default_rng(1), negative=0.01))
    some = np.r_[np.arange(0, len(nodes), 17), len(nodes) + np.arange(3)]
    xy = np.vstack([nodes, points])[some]
    slack = 4.5 / np.sqrt(DRAWS) + 0.01
    assert np.cov(drawn[some]) == pytest.approx(covariance_between(covariance, xy, xy), abs=slack)
    assert drawn[len(nodes) + 2] == pytest.approx(drawn[40], abs=1e-3)  # a point on a node


def test_each_draw_may_have_its_own_values():
    system, (nodes, drift) = system_of(), lattice()
    z = np.random.default_rng(0).standard_normal(30)
    draws = draw_conditional(system, np.column_stack([z, z + 7]), nodes, drift, 2, 5)
    single = draw_conditional(system, z, nodes, drift, 2, 5)
    assert draws[0] == pytest.approx(single[0], abs=1e-9)
    assert draws[1] == pytest.approx(single[1] + 7, abs=1e-9)  # the trend holds a constant


def test_the_seed_decides():
    system, (nodes, drift) = system_of(), lattice()
    z = np.zeros(30)
    assert np.array_equal(
        draw_conditional(system, z, nodes, drift, 3, 1), draw_conditional(system, z, nodes, drift, 3, 1)
    )
    assert not np.allclose(
        draw_conditional(system, z, nodes, drift, 3, 1), draw_conditional(system, z, nodes, drift, 3, 2)
    )


def test_many_scattered_nodes_are_refused(monkeypatch):
    monkeypatch.setattr(simulation, "_DENSE", 10)
    nodes = np.random.default_rng(0).uniform(0, 200, (50, 2))
    with pytest.raises(HardpanError, match="lattice"):
        draw_conditional(system_of(), np.zeros(30), nodes, np.ones((50, 2)), 2, 1)
