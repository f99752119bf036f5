"""Which form the covariance gets: stretched along one direction, nested, or plain; fields of gstools."""

import gstools as gs
import numpy as np
import pytest

from fields import Recipe, invent
from hardpan.core.threads import one_blas_thread
from hardpan.geostat import (
    EFFECTIVE_RANGE,
    MICRO,
    N_PARAMETERS,
    NOISE,
    RANGE,
    SHORT_RATIO,
    SHORT_SHARE,
    SILL,
    MixedModel,
    Observations,
    isotropic,
    maximise_reml,
    parameter_bounds,
    reml_curve,
    residual_variogram,
    search_starts,
    to_correlation,
)
from hardpan.surfaces.fields import choose_form, fit_covariance
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import build_domain, in_order, read_variables


@pytest.fixture(autouse=True)
def calm():
    """As in the stage: threads of the linear algebra library wait in loops where others want the processors."""
    with one_blas_thread():
        yield


def fitted(model, n=150, seed=1, noise=0.2):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0, 1500, (n, 2))
    field = gs.SRF(model, seed=seed)(xy.T, mesh_type="unstructured")
    site = np.repeat(np.arange(n), 2)
    y = field[site] + noise * rng.standard_normal(2 * n)
    plain_model = MixedModel(
        xy_m=xy,
        trend=np.ones((n, 1)),
        trend_precision=np.zeros(1),
        observations=Observations(site=site, low=y, high=y, error=np.zeros(2 * n)),
        family="exponential",
        free=np.isin(np.arange(N_PARAMETERS), [RANGE, SILL, MICRO, NOISE]),
        fixed=isotropic(np.zeros(4)),
        bounds=parameter_bounds((30.0, 3000.0)),
    )
    return maximise_reml(plain_model, search_starts(2000.0, plain_model))


def test_a_field_stretched_along_one_direction_is_seen_so():
    """gstools turns counterclockwise from east: 60 degrees there is a heading of 30."""
    model = gs.Exponential(dim=2, var=1.0, len_scale=[180.0, 45.0], angles=np.radians(60.0))
    fit = choose_form(fitted(model, n=200, seed=2), "auto")
    structure = to_correlation(fit.model.family, fit.theta).structures[0]
    assert structure.heading_deg == pytest.approx(30.0, abs=15.0)
    assert 0.12 < structure.ratio < 0.5
    assert structure.length_m == pytest.approx(180.0, rel=0.6)


def test_a_field_of_two_ranges_gets_two():
    model = gs.Exponential(dim=2, var=0.5, len_scale=500.0) + gs.Exponential(dim=2, var=0.5, len_scale=15.0)
    fit = choose_form(fitted(model, n=220), "nested")
    long_m = np.exp(fit.theta[RANGE]) / EFFECTIVE_RANGE["exponential"]
    assert np.exp(fit.theta[SHORT_RATIO]) * long_m < 80.0
    assert 0.2 < 1 / (1 + np.exp(-fit.theta[SHORT_SHARE])) < 0.9


def test_plain_fields_are_left_plain():
    """By chance two more parameters earn their place in under one field in a hundred."""
    changed = 0
    for seed in range(12):
        fit = fitted(gs.Exponential(dim=2, var=1.0, len_scale=100.0), n=60, seed=seed)
        changed += choose_form(fit, "auto") is not fit
    assert changed <= 1


def test_few_sites_are_not_asked():
    fit = fitted(gs.Exponential(dim=2, var=1.0, len_scale=[180.0, 45.0]), n=30)
    assert choose_form(fit, "auto") is fit
    assert choose_form(fit, "plain") is fit


def test_the_variogram_fit_stands_near_the_reml_curve():
    """Two ways to the same structure: their semivariances over the classes agree within the noise of a variogram."""
    fit = fitted(gs.Exponential(dim=2, var=1.0, len_scale=80.0), n=220)
    found = residual_variogram(fit.model)
    assert found.curve() == pytest.approx(reml_curve(found, fit.model, fit.theta), rel=0.35)


def test_no_start_leads_a_spherical_covariance_higher_than_it_is_fitted():
    """Its likelihood has several tops: from one start this paddock's ends 0.4 below the highest."""
    truth = invent(Recipe(n_sites=49, side_m=600.0, cell_m=30.0, stopped=0.0), 3)
    insertions = in_order(truth.pan.insertions)
    domain, _ = build_domain(insertions, truth.survey, SurfaceSettings(cell_m=30.0))
    fit = fit_covariance(read_variables(insertions, domain, SurfaceSettings(cell_m=30.0))["top"], domain, "spherical")
    starts = np.repeat(fit.theta[None], 40, axis=0)
    starts[:, RANGE] = np.linspace(*fit.model.bounds[RANGE], 40)
    assert fit.objective > max(maximise_reml(fit.model, start[None]).objective for start in starts) - 0.05
