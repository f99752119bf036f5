"""Standard errors, posterior weights and coefficients of the trend, against their definitions."""

from dataclasses import replace

import numpy as np
import pytest

from hardpan.geostat import ANISO_COS, ANISO_SIN, NOISE, SHORT_RATIO, SHORT_SHARE, covariance_between, to_correlation
from hardpan.surfaces.domain import build_domain
from hardpan.surfaces.estimates import describe_models, describe_trends, weigh_covariances
from hardpan.surfaces.fields import CorrelationForm, fit_field
from hardpan.surfaces.stage import in_order, read_variables


@pytest.fixture(scope="module")
def fitted(truth, settings):
    insertions = in_order(truth.pan.insertions)
    domain, _ = build_domain(insertions, truth.survey, settings)
    return read_variables(insertions, domain, settings), domain


def form(free):
    """A nested or stretched covariance."""
    bend = np.array([0.5, 0.3, -np.inf, 0.0]) if ANISO_COS in free else np.array([0.0, 0.0, 0.0, np.log(0.3)])
    return CorrelationForm("exponential", tuple(bend))


@pytest.mark.parametrize("free", [(ANISO_COS, ANISO_SIN), (SHORT_SHARE, SHORT_RATIO)])
def test_standard_errors_are_the_spread_of_what_the_information_allows(fitted, free):
    """Parameters drawn from their normal law, shrunk so that every quantity is linear in them [delta method]."""
    variables, domain = fitted
    field = fit_field(variables["top"], domain, form(free))
    model = replace(field.fit.model, free=field.fit.model.free | np.isin(np.arange(8), free))
    information = np.diag(np.full(8, 400.0**2)) + 100.0**2
    fit = replace(
        field.fit, model=model, theta=np.where(model.free, field.fit.theta, model.fixed), information=information
    )
    inner = (model.bounds[:, 0] + 0.2, model.bounds[:, 1] - 0.2)
    fit = replace(fit, theta=np.where(model.free, np.clip(fit.theta, *inner), fit.theta))
    table = describe_models({"top": replace(field, fit=fit)}, domain).iloc[0]
    at = np.flatnonzero(model.free)
    law = np.linalg.inv(information[np.ix_(at, at)])
    drawn = np.repeat(fit.theta[None], 3000, axis=0)
    drawn[:, at] += np.random.default_rng(4).multivariate_normal(np.zeros(len(at)), law, 3000)
    long = [to_correlation("exponential", row).structures[0] for row in drawn]
    spread = {
        "range_se_m": np.std([3.0 * one.length_m for one in long]) * 2.9957 / 3.0,
        "noise_se": field.variable.scale**2 * np.std(np.exp(drawn[:, NOISE])),
    }
    if ANISO_COS in free:
        spread |= {"ratio_se": np.std([one.ratio for one in long])}
        spread |= {"heading_se_deg": np.std([one.heading_deg for one in long])}
    else:
        spread |= {"short_share_se": np.std([1.0 - one.sill for one in long])}
    for name, expected in spread.items():
        assert table[name] == pytest.approx(expected, rel=0.05), name


def test_what_is_fixed_has_no_standard_error(surfaces):
    plain = surfaces.models[surfaces.models["ratio"] == 1]
    assert plain[["ratio_se", "heading_se_deg", "short_share_se", "short_range_se_m"]].isna().all(axis=None)
    fitted = surfaces.models.set_index("variable").loc["top"]
    assert fitted[["range_se_m", "sill_se", "noise_se"]].gt(0).all()


def test_posterior_weights_sum_to_one_and_their_points_surround_the_estimate(surfaces):
    covariances = surfaces.covariances.groupby("variable")
    np.testing.assert_allclose(covariances["weight"].sum(), 1.0)
    top = covariances.get_group("top")
    estimate = surfaces.models.set_index("variable").loc["top"]
    for name in ("range_m", "sill", "noise"):
        assert top[name].min() < estimate[name] < top[name].max()


def test_coefficients_are_generalised_least_squares_where_the_covariance_is_known(fitted):
    """b = (X'V^-1 X + P)^-1 X'V^-1 z with the covariance (X'V^-1 X + P)^-1 [rasmussen2006, section 2.7]."""
    variables, domain = fitted
    field = fit_field(variables["top"], domain, CorrelationForm("exponential", (0.0, 0.0, -np.inf, 0.0)))
    table = describe_trends({"top": field}, domain)
    mixture, readings, variable = field.mixture, field.variable.observations, field.variable
    values, variances = [], []
    x = mixture.trend[readings.site]
    for k in range(len(mixture.weight)):
        shape = covariance_between(mixture.correlations[mixture.which[k]], mixture.xy_m, mixture.xy_m)
        v = (mixture.sill[k] * shape + mixture.micro[k] * np.eye(len(shape)))[np.ix_(readings.site, readings.site)]
        v += np.diag(mixture.noise[k] + readings.error)
        covariance = np.linalg.inv(x.T @ np.linalg.solve(v, x) + np.diag(mixture.trend_precision))
        values.append(covariance @ x.T @ np.linalg.solve(v, readings.low))
        variances.append(np.diag(covariance))
    mean = mixture.weight @ np.array(values)
    variance = mixture.weight @ (np.array(variances) + np.array(values) ** 2) - mean**2
    mean = variable.scale * mean + np.where(np.arange(len(mean)) == 0, variable.centre, 0.0)
    np.testing.assert_allclose(table["value"], mean, rtol=1e-8)
    np.testing.assert_allclose(table["standard_error"], variable.scale * np.sqrt(variance), rtol=1e-6)
    assert list(table["term"]) == list(domain.trend_names)
    assert set(table["unit"]) == {"mm"}


def test_weights_and_coefficients_are_in_the_units_of_the_models(fitted):
    variables, domain = fitted
    field = fit_field(variables["peak"], domain, CorrelationForm("exponential", (0.0, 0.0, -np.inf, 0.0)))
    weighed, trend = weigh_covariances({"peak": field}), describe_trends({"peak": field}, domain)
    assert weighed["noise"].to_numpy() == pytest.approx(field.variable.scale**2 * field.mixture.noise)
    assert set(trend["unit"]) == {"log kPa"}
