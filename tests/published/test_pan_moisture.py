"""Cone index models against published coefficients.

Coefficients: leao2005, dasilva1997, silva2008 as printed in the open repository named in configs/references.toml.
The expected values are the algebra of those equations worked out apart from this code, to 0.2 %: they check the
algebra, not the soil.
"""

import numpy as np
import pytest
import xarray as xr
from scipy.optimize import brentq

from hardpan.pan.moisture import normalise, read_models
from hardpan.pan.settings import PanSettings

MODELS = read_models()


@pytest.mark.parametrize(
    ("model", "soil", "theta", "density", "expected_mpa"),
    [
        ("busscher-leao", {}, 0.25, 1.45, 2.395),
        ("busscher-leao", {}, 0.15, 1.45, 5.448),
        ("dasilva-kay", {"clay_pct": 10.0, "organic_carbon_pct": 1.0}, 0.15, 1.5, 1.5918),
        ("dasilva-kay", {"clay_pct": 10.0, "organic_carbon_pct": 1.0}, 0.20, 1.6, 1.406),
        ("dasilva-kay", {"clay_pct": 20.0, "organic_carbon_pct": 1.5}, 0.25, 1.5, 1.8081),
        ("silva", {"clay_pct": 20.0}, 0.20, 1.5, 0.6933),
    ],
)
def test_cone_index_at_a_water_content(model, soil, theta, density, expected_mpa):
    predicted_kpa = MODELS[model].predict_kpa(np.array(theta), density, **soil)
    assert predicted_kpa / 1000.0 == pytest.approx(expected_mpa, rel=0.002)


@pytest.mark.parametrize(("density", "expected_theta"), [(1.45, 0.2797), (1.60, 0.3372)])
def test_water_content_at_two_megapascal(density, expected_theta):
    model = MODELS["busscher-leao"]
    theta = brentq(lambda theta: float(model.predict_kpa(np.array(theta), density)) - 2000.0, 0.05, 0.6)
    assert theta == pytest.approx(expected_theta, rel=0.002)


def test_the_exponent_alone_moves_a_reading():
    # By hand: from 0.15 to 0.25 m3/m3 with exponent -1.6087 the factor is 0.43965; density cancels.
    model = MODELS["busscher-leao"]
    at = model.predict_kpa(np.array([0.15, 0.25]), 1.3)
    assert at[1] / at[0] == pytest.approx(0.43965, rel=0.001)


def test_a_reading_is_moved_by_the_ratio_of_water_contents():
    # By hand: 0.20 to 0.25 m3/m3 is a factor of 0.698 with the exponent of leao2005.
    dims = ("insertion", "sample")
    readings = xr.Dataset({"cone_index_kpa": (dims, [[4000.0, 4000.0]]), "theta": (dims, [[0.20, 0.20]])})
    moved, _ = normalise(readings, PanSettings(moisture_model="busscher-leao", reference_theta=0.25))
    assert moved["cone_index_kpa"].to_numpy()[0] == pytest.approx([4000.0 * 0.698] * 2, rel=0.001)


def test_the_exponent_of_a_sand_by_pedotransfer():
    # By hand, dasilva1997: clay 8 %, organic carbon 0.7 % gives -1.326.
    assert MODELS["dasilva-kay"].theta_exponent.at(8.0, 0.7) == pytest.approx(-1.326, abs=0.0006)
