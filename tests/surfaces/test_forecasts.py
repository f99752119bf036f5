"""The table of residuals: every reading beside its forecast from the other sites."""

import numpy as np
import pytest
from scipy.stats import norm

from hardpan.surfaces.forecasts import crps_normal


@pytest.fixture(scope="module")
def bottom(surfaces):
    return surfaces.residuals.query("variable == 'bottom'")


def test_every_reading_with_its_variable_has_a_row(truth, surfaces):
    present = truth.pan.insertions.query("state == 'present'")
    count = surfaces.residuals.groupby("variable").size()
    assert count["bottom"] == count["top"] == len(present)
    assert count["pan"] == (truth.pan.insertions["state"] != "unusable").sum()
    sites = surfaces.residuals.set_index("insertion")["site"].groupby(level=0).first()
    assert (sites == truth.pan.insertions.set_index("insertion")["site"].reindex(sites.index)).all()


def test_values_and_bounds_are_those_the_insertions_gave(truth, bottom):
    read = truth.pan.insertions.set_index("insertion").loc[bottom["insertion"]]
    seen = (read["bottom_kind"] == "observed").to_numpy()
    assert (seen == np.isfinite(bottom["observed_high"])).all()
    np.testing.assert_allclose(bottom["observed_low"], np.where(seen, read["bottom_mm"], read["bottom_low_mm"]))
    assert bottom["residual"].isna().to_numpy().tolist() == (~seen).tolist()


def test_the_table_of_scores_follows_from_the_rows(surfaces):
    """RMSE, bias and CRPS by their definitions from the published rows alone."""
    scores = surfaces.scores.query("method == 'kriging' and folds == 'site'").set_index("variable")
    for name, rows in surfaces.residuals.groupby("variable"):
        error = rows["residual"].dropna()
        assert np.sqrt(np.mean(error**2)) == pytest.approx(scores.loc[name, "rmse"], rel=1e-9)
        assert error.mean() == pytest.approx(scores.loc[name, "bias"], rel=1e-9)
        assert rows["crps"].mean() == pytest.approx(scores.loc[name, "crps"], rel=1e-9)


def test_interval_and_score_of_a_value_follow_from_forecast_and_sd(bottom):
    seen = bottom[np.isfinite(bottom["observed_high"])]
    law = norm(seen["predicted"], seen["sd"])
    np.testing.assert_allclose(seen["predicted_low"], law.ppf(0.05))
    np.testing.assert_allclose(seen["predicted_high"], law.ppf(0.95))
    np.testing.assert_allclose(seen["crps"], crps_normal(seen["observed_low"], seen["predicted"], seen["sd"]))


def test_the_order_of_the_sites_is_that_of_the_insertions(truth, surfaces):
    place = truth.pan.insertions.set_index("insertion").geometry
    for row in surfaces.residuals.sample(20, random_state=1).itertuples():
        assert (place[row.insertion].x, place[row.insertion].y) == (row.x_m, row.y_m)
