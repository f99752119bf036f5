"""Layers for the researcher come back as they were, or the missing library is named before any work."""

import geopandas as gpd
import pytest
from geopandas.testing import assert_geodataframe_equal

from hardpan.core.errors import SettingsError
from hardpan.outputs import display
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs


def test_layers_come_back_as_they_were(run, told, tmp_path):
    pytest.importorskip("pyarrow", reason="pyarrow is not installed")
    write_outputs(run, OutputSettings(formats=("geoparquet",)), tmp_path / "out")
    zones = gpd.read_parquet(tmp_path / "out" / "zones.parquet")
    assert_geodataframe_equal(zones, told, check_dtype=False)
    assert gpd.read_parquet(tmp_path / "out" / "probes.parquet").crs == run.survey.crs


def test_a_missing_library_is_told_before_anything_is_written(run, tmp_path, monkeypatch):
    monkeypatch.setattr(display, "find_spec", lambda name: None)  # noqa: ARG005
    with pytest.raises(SettingsError, match="geoparquet needs pyarrow"):
        write_outputs(run, OutputSettings(formats=("geoparquet",)), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
