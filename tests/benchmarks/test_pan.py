"""Pan features of a million readings: 34,000 insertions of 29 samples are to take a few seconds and under 500 MB."""

import tracemalloc

import numpy as np
import pyproj
import pytest
import xarray as xr

from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.survey import Profiles, Stop

pytestmark = pytest.mark.slow

CRS = pyproj.CRS("EPSG:32751")
N = 34_000


@pytest.fixture(scope="module")
def million():
    rng = np.random.default_rng(1)
    depth = np.broadcast_to(np.arange(0.0, 701.0, 25.0), (N, 29))
    middle = rng.uniform(280.0, 380.0, (N, 1))
    true = 600.0 + 3000.0 * np.exp(-0.5 * ((depth - middle) / 80.0) ** 2)
    refused = rng.random(N) < 0.3
    stop_mm = np.where(refused, rng.uniform(200.0, 700.0, N), 700.0)
    value = np.where(depth <= stop_mm[:, None], true * (1.0 + 0.08 * rng.standard_normal(true.shape)), np.nan)
    names = [f"P{row:05d}" for row in range(N)]
    along = {
        "site": [f"S{row // 3:05d}" for row in range(N)],
        "replicate": np.arange(N) % 3 + 1,
        "x_m": rng.uniform(0.0, 5000.0, N),
        "y_m": rng.uniform(0.0, 5000.0, N),
        "date": np.where(np.arange(N) % 2, "2026-07-01", "2026-09-01"),
        "stop": np.where(refused, Stop.REFUSAL.value, Stop.ROD_END.value),
        "stop_mm": stop_mm,
        "source_file": np.full(N, "invented.csv"),
        "source_row": np.arange(N),
    }
    coords = {"insertion": names} | {name: ("insertion", values) for name, values in along.items()}
    arrays = {
        "depth_mm": depth,
        "thickness_mm": np.zeros(depth.shape),
        "cone_index_kpa": value,
        "at_least": np.zeros(depth.shape, dtype=bool),
    }
    readings = xr.Dataset({name: (("insertion", "sample"), array) for name, array in arrays.items()}, coords=coords)
    return Profiles(readings=readings, depth_limit_mm=700.0)


def test_pan_features_of_a_million_readings(benchmark, million):
    features = benchmark(detect_pan, million, CRS, PanSettings())
    assert len(features.insertions) == N


def test_a_million_readings_take_less_than_500_mb(million):
    tracemalloc.start()
    detect_pan(million, CRS, PanSettings())
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak_bytes < 500e6
