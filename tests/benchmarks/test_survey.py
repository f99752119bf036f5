"""Speed of the reader: one million readings in a long table, from the file to a checked survey."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.survey.stage import read_survey

pytestmark = pytest.mark.slow

DEMO = Path(__file__).parents[2] / "data" / "demo" / "demo.toml"
READINGS, DEPTHS_MM = 1_000_000, np.arange(0, 750, 25)
SQUARE = (
    '{"type": "Polygon", "coordinates": [[[123.0, -28.03], [123.03, -28.03], [123.03, -28.0], [123.0, -28.0], '
    "[123.0, -28.03]]]}"
)


@pytest.fixture
def million(tmp_path):
    count = -(-READINGS // len(DEPTHS_MM))
    rng = np.random.default_rng(1)
    kpa = (500 + 3000 * np.exp(-(((DEPTHS_MM - 300) / 120.0) ** 2))) * (1 + 0.08 * rng.standard_normal((count, 30)))
    table = pd.DataFrame(
        {
            "site": np.repeat([f"P{at:05d}" for at in range(count)], len(DEPTHS_MM)),
            "longitude": np.repeat((123.001 + 0.028 * rng.random(count)).round(7), len(DEPTHS_MM)),
            "latitude": np.repeat((-28.029 + 0.028 * rng.random(count)).round(7), len(DEPTHS_MM)),
            "depth_mm": np.tile(DEPTHS_MM, count),
            "ci_kpa": kpa.ravel().round(),
        }
    )
    table[:READINGS].to_csv(tmp_path / "probes.csv", index=False)
    (tmp_path / "boundary.geojson").write_text(SQUARE)
    return tmp_path


def test_a_million_readings_become_profiles(benchmark, million):
    soil_types = read_catalog(read_config(DEMO)).soils
    survey = benchmark.pedantic(
        read_survey,
        (
            PaddockSettings(name="square", boundary=million / "boundary.geojson"),
            ProbeSettings(file=million / "probes.csv"),
            SoilSettings(default_type="deep sand"),
            GridSettings(cell_m=20.0),
            soil_types,
        ),
        rounds=1,
    )
    read = survey.profiles.readings["cone_index_kpa"].to_numpy()
    written = pd.read_csv(million / "probes.csv")["ci_kpa"].to_numpy()
    assert np.isfinite(read).sum() == READINGS
    np.testing.assert_array_equal(np.sort(read[np.isfinite(read)]), np.sort(written))
