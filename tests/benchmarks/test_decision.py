"""The decision on 120 ha, 200 draws, 25 depths and 6 set-ups; run once untimed in the suite."""

import tracemalloc

import numpy as np
import pytest

from builders import decision

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def made():
    return decision


@pytest.fixture(scope="module")
def decide(made):
    soils = ("deep sand", "sand over clay", "loam", "sand over sodic clay")
    setups = ["plain", "winged", "leading", "inclusion", "mixing", "delving"]
    ripper = {"like": "seven-tine-600", "min_depth": 100, "max_depth": 700, "setups": setups}
    catalog = made.shipped_catalog(machine={"ripper": ripper})
    ground = made.ground(
        side_m=(1200.0, 1000.0), cell_m=5.0, soils=soils, n_draws=200, clay_mm=(np.nan, 420.0, np.nan, 380.0)
    )
    money = made.rates(list(soils), worth=300.0, n_draws=200, per_hour=150.0)
    return lambda: made.decide(ground, catalog, money)


def test_decision_on_120_ha(benchmark, decide):
    options, plan = benchmark(decide)
    assert options.net.shape[0] == 3000
    assert options.table.groupby("setup")["depth_mm"].nunique().max() == 25
    assert len(plan.zones) == 4


def test_the_decision_stays_below_500_mb(decide):
    tracemalloc.start()
    try:
        decide()
        assert tracemalloc.get_traced_memory()[1] < 500e6
    finally:
        tracemalloc.stop()
