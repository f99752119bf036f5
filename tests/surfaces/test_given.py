"""Own priors, given parameters and a chosen covariance, against kriging with that covariance."""

import numpy as np
import pytest

from hardpan import geostat
from hardpan.core.errors import SettingsError
from hardpan.core.settings import parse
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.surfaces.stage import map_pan

CHOSEN = {"range_m": 180.0, "sill": 700.0, "micro": 60.0, "noise": 250.0}


def mapped(truth, **tables):
    given = {"cell_m": 10.0, "draws": 20, "form": "plain", "family": "exponential", "trend": (), "block": False}
    return map_pan(truth.pan, truth.survey, SurfaceSettings.model_validate(given | tables), seed=3)


@pytest.fixture(scope="module")
def chosen(truth):
    return mapped(truth, covariance={"top": CHOSEN, "peak": {"range_m": 300.0}})


def test_a_chosen_covariance_is_the_only_one_the_map_knows(chosen):
    top = chosen.covariances.query("variable == 'top'")
    assert top["weight"].tolist() == [1.0]
    assert top[list(CHOSEN)].iloc[0].to_dict() == pytest.approx(CHOSEN)
    row = chosen.models.set_index("variable").loc["top"]
    assert row[list(CHOSEN)].to_dict() == pytest.approx(CHOSEN)
    assert row[["range_se_m", "sill_se", "micro_se", "noise_se"]].isna().all()
    assert "range-not-identified" not in {issue.code for issue in chosen.issues if issue.place == "top"}


def test_the_map_of_a_chosen_covariance_is_its_kriging(truth, chosen):
    """Ordinary kriging of the values as read, with their reading errors, by the public functions."""
    tops = truth.pan.insertions.query("state == 'present'")
    length_m = CHOSEN["range_m"] / geostat.EFFECTIVE_RANGE["exponential"]
    covariance = geostat.Covariance(
        structures=(geostat.Structure(family="exponential", sill=CHOSEN["sill"], length_m=length_m),),
        micro=CHOSEN["micro"], noise=CHOSEN["noise"],
    )  # fmt: skip
    x, y = tops.geometry.x.to_numpy(), tops.geometry.y.to_numpy()
    data = geostat.observe(x, y, tops["top_mm"], error_variance=tops["top_sd_mm"].fillna(0.0) ** 2)
    inside = chosen.inside & (np.add.outer(np.arange(chosen.frame.n_rows), np.arange(chosen.frame.n_cols)) % 13 == 0)
    east, north = (grid[inside] for grid in np.meshgrid(chosen.frame.x_m, chosen.frame.y_m))
    kriged = geostat.krige(geostat.condition(data, covariance), east, north)
    np.testing.assert_allclose(chosen.maps["pan_top_mm"].to_numpy()[inside], kriged.mean, atol=0.02)
    np.testing.assert_allclose(chosen.maps["pan_top_sd_mm"].to_numpy()[inside], np.sqrt(kriged.variance), rtol=1e-3)


def test_what_is_not_given_is_fitted(chosen):
    peak = chosen.covariances.query("variable == 'peak'")
    assert peak["range_m"].to_numpy() == pytest.approx(300.0)
    assert peak["sill"].nunique() > 5


def test_a_sharp_prior_of_ones_own_holds_the_range(truth):
    usual = mapped(truth).covariances.query("variable == 'bottom'")
    own = mapped(truth, priors={"range_m": 47.0, "range_factor": 1.02}).covariances.query("variable == 'bottom'")
    assert own["range_m"] @ own["weight"] == pytest.approx(47.0, rel=0.1)
    assert abs(usual["range_m"] @ usual["weight"] - 47.0) > 20.0


def test_the_scatter_of_a_yes_or_no_is_not_a_parameter():
    with pytest.raises(SettingsError, match=r"unknown key 'covariance\.pan\.noise'"):
        parse(SurfaceSettings, {"covariance": {"pan": {"noise": 1.0}}}, file="a.toml")
