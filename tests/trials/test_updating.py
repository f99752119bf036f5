"""What a harvest teaches: laws of the weighting."""

import numpy as np
import pandas as pd
import pytest

from hardpan.geostat import Effect
from hardpan.records.trial import Planned
from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.trials.updating import list_response, pay_back, update, weighted_quantiles
from small_paddock import Small


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    catalog = read_catalog(read_config(Small().write(tmp_path_factory.mktemp("planned"))))
    zones = pd.DataFrame(
        {
            "zone": [1, 2], "soil_type": ["deep sand", "loamy sand"], "area_ha": [4.0, 2.0], "depth_mm": [450.0, 400.0],
            "benefit": [1400.0, 500.0], "cost": [400.0, 220.0], "cost_low": [300.0, 150.0], "cost_high": [500.0, 300.0],
        }
    )  # fmt: skip
    return Planned(zones=zones, catalog=catalog, controlled_traffic=False)


def seen(estimate, se=0.1, zone=1):
    return {zone: Effect(estimate=estimate, se=se, df=8.0)}


def mean(posterior, soil="deep sand"):
    return float(posterior.weight @ posterior.reference[soil])


def test_a_harvest_that_says_nothing_leaves_what_was_known(planned):
    posterior = update(seen(0.6, se=1e3), planned, "unknown", seed=1)
    stated = planned.catalog.soils["deep sand"].first_year_gain.value
    assert mean(posterior) == pytest.approx(stated, rel=0.01)
    assert posterior.effective == pytest.approx(len(posterior.weight), rel=1e-3)


def test_a_sure_harvest_of_a_usual_season_is_believed(planned):
    posterior = update(seen(0.3, se=0.01), planned, "usual", seed=1)
    assert float(posterior.weight @ posterior.first[1]) == pytest.approx(0.3, abs=0.01)


@pytest.mark.slow
def test_more_of_a_harvest_is_never_less_of_a_gain(planned):
    means = [mean(update(seen(effect), planned, "usual", seed=1)) for effect in (-0.4, 0.3, 0.9, 1.6)]
    assert np.all(np.diff(means) > 0)


@pytest.mark.slow
def test_a_soil_that_was_not_tried_moves_along_by_what_gains_have_in_common(planned):
    before, after = (mean(update(seen(1.2, se=se), planned, "usual", seed=1), "loamy sand") for se in (1e3, 0.05))
    assert after > before
    assert list_response(update(seen(1.2), planned, "usual", seed=1), planned, seen(1.2))["soil_type"].tolist() == [
        "deep sand"
    ]


def test_what_came_back_rises_with_the_harvest_and_all_is_the_sum_of_its_zones(planned):
    tables = [pay_back(update(seen(effect), planned, "usual", seed=1), planned).table for effect in (0.1, 0.9)]
    assert tables[0]["paid"].iloc[0] < tables[1]["paid"].iloc[0]
    for table in tables:
        by = table.set_index("group")
        total = (by.loc[["1", "2"], "net_per_ha"] * by.loc[["1", "2"], "area_ha"]).sum() / 6.0
        assert by.loc["all", "net_per_ha"] == pytest.approx(total)
        assert by.loc["all", "cost_per_ha"] == pytest.approx(620.0 / 6.0, rel=0.02)


def test_weighted_quantiles_of_equal_weights_are_those_of_the_values():
    drawn = np.random.default_rng(1).standard_normal(20_001)
    low, high = weighted_quantiles(drawn, np.full(len(drawn), 1.0 / len(drawn)))
    assert (low, high) == pytest.approx(tuple(np.quantile(drawn, [0.05, 0.95])), abs=1e-3)
