"""The draws as NetCDF: what was drawn, with units and a CRS that other libraries understand."""

from dataclasses import replace

import numpy as np
import pytest
import rasterio
import xarray as xr

from hardpan.core.errors import ReadBackError
from hardpan.outputs.netcdf import write_netcdf
from hardpan.outputs.readback import check_netcdf


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
