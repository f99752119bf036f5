"""The demo paddock is what its page says, and what its script writes."""

import json
import tomllib
import zipfile
from pathlib import Path

import generate
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from hardpan.core.shipped import shipped
from hardpan.run.config import read_config

DEMO = shipped("demo")
UTM = "EPSG:32751"


@pytest.fixture(scope="module")
def probes():
    return pd.read_csv(DEMO / "probes.csv")


@pytest.fixture(scope="module")
def cone_kpa(probes):
    return probes.filter(regex=r"^\d+ mm$").to_numpy(float)


def test_the_script_writes_the_files_that_are_shipped(tmp_path, capsys):
    generate.main(tmp_path)
    assert "156.0 ha" in capsys.readouterr().out
    for name in ("boundary.geojson", "soil_types.geojson", "exclusions.geojson", "probes.csv", "cores.csv"):
        assert (tmp_path / name).read_text("utf-8") == (DEMO / name).read_text("utf-8"), name
    with rasterio.open(tmp_path / "eca.tif") as new, rasterio.open(DEMO / "eca.tif") as kept:
        assert np.array_equal(new.read(1), kept.read(1))
        assert new.transform == kept.transform


def test_the_configuration_is_read_and_finds_its_files():
    config = read_config(DEMO / "demo.toml")
    files = [config.paddock.boundary, config.paddock.exclusions, config.probes.file, config.soil.polygons]
    assert all(Path(file).is_file() for file in [*files, config.soil.cores, *config.surfaces.covariates])
    assert "invented" in config.paddock.name


def test_the_paddock_is_one_piece_of_120_to_180_ha_covered_by_its_soil_types():
    boundary = gpd.read_file(DEMO / "boundary.geojson").to_crs(UTM)
    soils = gpd.read_file(DEMO / "soil_types.geojson").to_crs(UTM)
    assert boundary.geom_type.tolist() == ["Polygon"]
    assert 120 < boundary.area.sum() / 1e4 < 180
    assert shapely.symmetric_difference(soils.union_all(), boundary.union_all()).area < 10  # seven decimals are 1 cm
    assert soils.area.sum() == pytest.approx(boundary.area.sum(), rel=1e-5)


def test_soil_types_are_entries_of_the_shipped_table():
    names = set(gpd.read_file(DEMO / "soil_types.geojson")["soil_type"])
    known = tomllib.loads((shipped("configs") / "soils.toml").read_text("utf-8"))
    assert names <= set(known)
    assert len(names) == 4


def test_every_site_has_three_insertions_within_three_metres(probes):
    points = gpd.GeoSeries(gpd.points_from_xy(probes["longitude"], probes["latitude"]), crs="EPSG:4326").to_crs(UTM)
    assert probes.groupby("site").size().tolist() == [3] * 100
    for rows in probes.groupby("site").groups.values():
        away = [a.distance(b) for a in points[rows] for b in points[rows]]
        assert 0.1 < max(away) < 3.0


def test_readings_go_to_700_mm_every_25_mm_and_some_stop_early(probes, cone_kpa):
    assert probes.columns[5:].tolist() == [f"{depth} mm" for depth in range(0, 701, 25)]
    read = np.isfinite(cone_kpa)
    assert (np.diff(read.astype(int), axis=1) <= 0).all()  # once it stops it does not start again
    assert 0.25 <= 1 - read[:, -1].mean() <= 0.35
    assert np.nanmax(cone_kpa) <= 6000


def test_the_log_has_one_stone_and_one_tail_of_zeros(cone_kpa):
    zeros = (cone_kpa == 0).sum(axis=1)
    assert np.count_nonzero(zeros) == 1
    assert zeros.max() > 3
    middle, before, after = cone_kpa[:, 1:-1], cone_kpa[:, :-2], cone_kpa[:, 2:]
    stones = (middle > 5000) & (before < 2500) & (after < 2500)
    assert stones.sum() == 1


def test_conductivity_is_higher_where_clay_is_nearer():
    with rasterio.open(DEMO / "eca.tif") as file:
        assert file.nodata == -9999
        eca = file.read(1, masked=True)
        rows, columns = np.nonzero(~eca.mask)
        x, y = rasterio.transform.xy(file.transform, rows, columns)
    clay_mm = generate.truth_at(np.asarray(x), np.asarray(y))["clay_mm"].fillna(1600)
    assert np.corrcoef(eca.compressed(), clay_mm)[0, 1] < -0.8


def test_the_files_together_stay_small():
    assert sum(path.stat().st_size for path in DEMO.iterdir() if path.is_file() and path.suffix != ".png") < 700_000


def test_geojson_is_plain_wgs84():
    for name in ("boundary", "soil_types", "exclusions"):
        assert "crs" not in json.loads((DEMO / f"{name}.geojson").read_text("utf-8"))


def test_the_log_of_the_season_is_small_invented_and_task_data():
    log = DEMO / "applied.zip"
    assert log.stat().st_size < 300_000
    with zipfile.ZipFile(log) as archive:
        assert "invented" in archive.read("TASKDATA/TASKDATA.XML").decode()
        assert sum(name.endswith(".BIN") for name in archive.namelist()) > 1
