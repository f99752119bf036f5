"""The maps are a valid Cloud-Optimised GeoTIFF that invents no class in its overviews; the draws are CF NetCDF."""

import json
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
import rasterio
import xarray as xr

from hardpan.core.errors import ReadBackError
from hardpan.outputs.layers import band_unit, raster_layers
from hardpan.outputs.rasters import write_geotiff, write_netcdf
from hardpan.outputs.readback import check_netcdf, read_tiff
from hardpan.records.frame import Frame

BANDS = (
    "pan_probability", "pan_top_mm", "pan_bottom_mm", "pan_bottom_sd_mm", "peak_kpa", "zone", "depth_mm",
    "breach_probability", "pan_top_sd_mm", "peak_sd_kpa",
)  # fmt: skip
UNITS = {name: band_unit(name) for name in BANDS}


@pytest.fixture(scope="module")
def small(run, tmp_path_factory):
    path = tmp_path_factory.mktemp("tif") / "surfaces.tif"
    write_geotiff(path, raster_layers(run), UNITS, run.zones.frame)
    return path


@pytest.fixture(scope="module")
def big(run, tmp_path_factory):
    """A raster large enough for overviews, with classes at random and a ragged edge."""
    path = tmp_path_factory.mktemp("tif") / "big.tif"
    crs = run.survey.crs
    frame = Frame(crs=crs, x_min_m=500_000, y_max_m=6_300_000, cell_m=5.0, n_rows=1300, n_cols=1100)
    rng = np.random.default_rng(3)
    classes = rng.choice([0.0, 300.0, 450.0], frame.shape)
    classes[:100] = np.nan
    write_geotiff(path, dict.fromkeys(BANDS, classes), UNITS, frame)
    return path, classes


def test_bands_are_named_in_order_and_empty_outside(small, run):
    with rasterio.open(small) as raster:
        assert raster.descriptions == BANDS
        assert set(raster.dtypes) == {"float32"}
        assert np.isnan(raster.nodata)
        assert raster.crs == run.survey.crs
        assert raster.transform == run.zones.frame.affine
        assert raster.units[4] == "kPa"


def test_the_depth_of_a_cell_is_that_of_its_zone(small, run):
    with rasterio.open(small) as raster:
        zone, depth = raster.read(6), raster.read(7)
    for row in run.plan.zones.itertuples():
        assert (depth[zone == row.zone] == row.depth_mm).all()


def test_the_chance_of_getting_below_the_pan_is_that_of_the_chosen_option(run):
    breach = raster_layers(run)["breach_probability"]
    labels = run.zones.labels
    assert (breach[labels == 1] == 0.7).all()
    assert (breach[labels == 2] == 0.9).all()
    assert np.isnan(breach[labels >= 3]).all()


def test_clay_and_deeper_ground_have_bands_where_they_are_mapped(run, tmp_path):
    shape = run.zones.frame.shape
    share = xr.DataArray(np.full((2, *shape), 0.25), dims=("depth", "y", "x"), coords={"depth": [300.0, 355.6]})
    clay = run.surfaces.maps.assign(clay_depth_mm=(("y", "x"), np.full(shape, 620.0)))
    surfaces = replace(run.surfaces, maps=clay, deeper=share)
    maps = raster_layers(replace(run, surfaces=surfaces))
    assert list(maps)[len(BANDS) :] == ["clay_depth_mm", "deeper_than_300_mm", "deeper_than_355.6_mm"]
    write_geotiff(tmp_path / "a.tif", maps, {name: band_unit(name) for name in maps}, run.zones.frame)
    with rasterio.open(tmp_path / "a.tif") as raster:
        assert raster.units[-3:] == ("mm", "1", "1")
        assert np.nanmax(raster.read(len(maps))) == 0.25


def test_cells_outside_the_boundary_are_empty(run):
    labels = run.zones.labels.copy()
    labels[:5] = 0
    shrunk = replace(run, zones=replace(run.zones, labels=labels))
    assert all(np.isnan(values[:5]).all() for values in raster_layers(shrunk).values())


@pytest.mark.parametrize("which", ["small", "big"])
def test_it_is_a_valid_cloud_optimised_raster(which, request):
    validate = pytest.importorskip("rio_cogeo", reason="rio-cogeo is not installed").cog_validate
    made = request.getfixturevalue(which)
    valid, errors, warnings = validate(made if which == "small" else made[0], strict=True)
    assert (valid, errors, warnings) == (True, [], [])


def test_overviews_hold_no_class_that_was_not_there(big):
    path, _ = big
    with rasterio.open(path) as raster:
        assert raster.overviews(6)
    with rasterio.open(path, overview_level=0) as overview:
        seen = overview.read(6)
    assert set(np.unique(seen[np.isfinite(seen)])) <= {0.0, 300.0, 450.0}


def test_a_reader_without_gdal_reads_the_same_numbers(big):
    path, classes = big
    bands, (west, north, cell_m) = read_tiff(path)
    assert (west, north, cell_m) == (500_000, 6_300_000, 5.0)
    assert bands.shape == (len(BANDS), 1300, 1100)
    assert np.array_equal(bands[3], classes, equal_nan=True)


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="gdal-bin is not installed")
def test_the_command_line_tools_open_it(small):
    told = subprocess.run(["gdalinfo", "-json", small], capture_output=True, text=True, check=True)
    described = json.loads(told.stdout)
    assert [band["description"] for band in described["bands"]] == list(BANDS)
    assert told.stderr == ""


@pytest.fixture(scope="module")
def drawn(surfaces):
    """Draws that differ from one another and from node to node, ground without a cell among them."""
    rng = np.random.default_rng(2)
    shape, dims = surfaces.draws["bottom_mm"].shape, ("draw", "node")
    draws = surfaces.draws.assign(
        bottom_mm=(dims, rng.uniform(200, 500, shape).astype(np.float32)), present=(dims, rng.random(shape) < 0.7)
    )
    node_of_cell = surfaces.node_of_cell.copy()
    node_of_cell[:3] = -1
    return replace(surfaces, draws=draws, node_of_cell=node_of_cell)


@pytest.fixture(scope="module")
def path(drawn, tmp_path_factory):
    path = tmp_path_factory.mktemp("nc") / "draws.nc"
    write_netcdf(path, drawn, title="P", seed=1, version="0")
    return path


def test_xarray_opens_the_draws_as_they_were(path, drawn):
    with xr.open_dataset(path) as found:
        for name in ("top_mm", "bottom_mm", "peak_kpa", "clay_mm"):
            np.testing.assert_array_equal(found[name], drawn.draws[name])
            assert found[name].attrs["units"] == name.rpartition("_")[2].replace("kpa", "kPa")
        assert (found["present"].to_numpy().astype(bool) == drawn.draws["present"].to_numpy()).all()
        for place in ("x_m", "y_m"):
            np.testing.assert_array_equal(found[place], drawn.draws[place])
        assert found.attrs["crs"] == drawn.frame.crs.to_string()
        assert found["soil"].attrs["flag_meanings"].split()[0] == drawn.soil_types[0].replace(" ", "_")


def test_every_variable_has_a_unit_and_those_on_the_ground_the_crs(path):
    with xr.open_dataset(path) as found:
        for name, of in found.variables.items():
            assert name == "crs" or of.attrs["units"], name
        assert found["crs"].attrs["grid_mapping_name"] == "transverse_mercator"
        assert {found[name].encoding.get("grid_mapping", found[name].attrs.get("grid_mapping")) for name in found} == {
            "crs", None,
        }  # fmt: skip


def test_gdal_places_the_cells_where_they_are(path, drawn):
    with rasterio.open(f"netcdf:{path}:node_of_cell") as raster:
        assert raster.crs == drawn.frame.crs
        assert raster.transform.almost_equals(drawn.frame.affine, 1e-6)
        np.testing.assert_array_equal(raster.read(1), drawn.node_of_cell)


def test_the_draws_are_read_back_by_another_library(path, drawn, caplog):
    check_netcdf(path, drawn)
    assert not caplog.records
    other = drawn.draws.assign(bottom_mm=drawn.draws["bottom_mm"][::-1])
    with pytest.raises(ReadBackError, match="bottom_mm"):
        check_netcdf(path, replace(drawn, draws=other))
    with pytest.raises(ReadBackError, match="node_of_cell"):
        check_netcdf(path, replace(drawn, node_of_cell=drawn.node_of_cell[::-1]))


def test_the_same_draws_give_the_same_bytes(path, drawn, tmp_path):
    write_netcdf(tmp_path / "draws.nc", drawn, title="P", seed=1, version="0")
    assert (tmp_path / "draws.nc").read_bytes() == path.read_bytes()
