"""A file that does not say what the plan says stops the run; one that does passes."""

import re
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import ReadBackError
from hardpan.outputs.agreement import expected_of
from hardpan.outputs.display import single_parts
from hardpan.outputs.geodesy import degrees_per_metre, to_display
from hardpan.outputs.geojson import write_geojson
from hardpan.outputs.geopackage import write_geopackage
from hardpan.outputs.isoxml import rip_task, write_taskdata
from hardpan.outputs.layers import BAND_UNITS, band_unit, desktop_layers, layer_styles, raster_layers
from hardpan.outputs.palette import depth_colours
from hardpan.outputs.rasters import write_geotiff
from hardpan.outputs.readback import (
    InCab,
    check_geojson,
    check_geopackage,
    check_raster,
    check_residuals,
    check_shapefile,
    check_tasks,
)
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.shapefile import write_shapefile
from hardpan.outputs.tables import write_table
from hardpan.outputs.task_grid import zone_grid
from hardpan.outputs.words.english import speak
from hardpan.outputs.words.units import Units


def words_of(run):
    return speak(Units.of_files("AUD"), run.catalog)


@dataclass(frozen=True)
class Files:
    """Every prescription file of one plan."""

    folder: Path
    zones: gpd.GeoDataFrame
    """The plan."""

    def write(self, run, zones=None, *, shape="grid2", unit="cm", lost_mm=0):
        """Write all files from `zones`, which may differ from the plan."""
        zones = self.zones if zones is None else zones
        shown, _, _ = to_display(zones)
        parts, settings = single_parts(shown), OutputSettings(isoxml_shape=shape)
        write_geojson(self.folder / "a.geojson", shown, "P")
        write_shapefile(self.folder / "a.zip", parts, unit)
        layers = desktop_layers(run, words_of(run)) | {"zones": zones}
        write_geopackage(self.folder / "a.gpkg", layers, layer_styles(run, depth_colours([300])))
        grid, _ = zone_grid(shown, degrees_per_metre(-33.0), settings, 4.2)
        write_taskdata(
            self.folder / "t.zip", tasks=(rip_task(shown, unit, lost_mm=lost_mm),), parts=parts,
            grid=None if shape == "polygons" else grid, boundary=shapely.union_all(shown.geometry.array),
            identity=("P", "0", 1.0), settings=settings,
        )  # fmt: skip
        depth_of = zones.set_index("zone")["depth_mm"]
        maps = raster_layers(run)
        maps["depth_mm"] = depth_of.reindex(run.zones.labels.ravel()).to_numpy(float).reshape(run.zones.labels.shape)
        write_geotiff(self.folder / "a.tif", maps, {name: band_unit(name) for name in maps}, run.zones.frame)

    def checks(self, unit="cm"):
        """Each check, ready to call."""
        expected = expected_of(self.zones, seed=1)
        in_cab = InCab(fitted=expected, moved_m=0.0, unit=unit, lost_mm=0)
        return {
            "geojson": lambda: check_geojson(self.folder / "a.geojson", expected),
            "shapefile": lambda: check_shapefile(self.folder / "a.zip", expected, in_cab),
            "geopackage": lambda: check_geopackage(self.folder / "a.gpkg", expected),
            "tasks": lambda: check_tasks(self.folder / "t.zip", expected, in_cab),
            "raster": lambda: check_raster(self.folder / "a.tif", tuple(BAND_UNITS), expected),
        }


@pytest.fixture
def files(told, tmp_path):
    return Files(tmp_path, told)


CHECKS = ["geojson", "shapefile", "geopackage", "tasks", "raster"]


@pytest.mark.parametrize("shape", ["grid2", "grid1", "polygons"])
@pytest.mark.parametrize("unit", ["cm", "mm", "in"])
def test_true_files_pass_in_every_shape_and_unit(files, run, shape, unit):
    files.write(run, shape=shape, unit=unit)
    for check in files.checks(unit).values():
        check()


WRONG = (
    r"read back, (it holds|it has|the cell at|\d+ cells say) .*; expected .* as planned.*; .* do(es)? that; nothing was"
)


@pytest.mark.parametrize("check", CHECKS)
def test_a_wrong_depth_is_an_error(files, run, told, check):
    files.write(run, told.assign(depth_mm=[300, 475, 0, 0]))
    with pytest.raises(ReadBackError, match=WRONG):
        files.checks()[check]()


@pytest.mark.parametrize("check", CHECKS)
def test_swapped_zones_are_an_error(files, run, told, check):
    files.write(run, told.assign(depth_mm=[450, 300, 0, 0]))
    with pytest.raises(ReadBackError, match=WRONG):
        files.checks()[check]()


@pytest.mark.parametrize("check", CHECKS)
def test_a_plan_shifted_by_one_zone_is_an_error(files, run, told, check):
    files.write(run, told.assign(depth_mm=np.roll(told["depth_mm"], 1)))
    with pytest.raises(ReadBackError, match=WRONG):
        files.checks()[check]()


@pytest.mark.parametrize("check", ["geojson", "shapefile", "geopackage"])
def test_zones_that_bear_their_neighbours_number_are_an_error(files, run, told, check):
    # The depths stay where they were: only the numbers say that something is wrong.
    files.write(run, told.assign(zone=[1, 2, 4, 3]))
    with pytest.raises(ReadBackError, match=r"zone [34] .*expected .*zone [34] "):
        files.checks()[check]()


@pytest.mark.parametrize("check", ["geojson", "geopackage"])
def test_a_border_out_of_place_is_an_error_in_hectares(files, run, told, check):
    # Half a metre along 400 m is 0.02 ha of 8.6: 0.23 %, above the 0.1 % that rounding may explain.
    shapes = told.geometry.to_list()
    shapes[0] = shapely.transform(
        shapes[0], lambda xy: np.column_stack([np.where(xy[:, 0] == 520_240.0, 520_240.5, xy[:, 0]), xy[:, 1]])
    )
    moved = told.set_geometry(gpd.GeoSeries(shapes, crs=told.crs))
    shown = told.set_geometry(gpd.GeoSeries(shapes, crs=told.crs)).to_crs(4326)
    write_geojson(files.folder / "a.geojson", shown.sort_values("zone"), "P")
    layers = desktop_layers(run, words_of(run)) | {"zones": moved}
    write_geopackage(files.folder / "a.gpkg", layers, layer_styles(run, depth_colours([300])))
    with pytest.raises(
        ReadBackError,
        match=r"zone 1 \(300 mm\) has 8\.6\d+ ha, 0\.02\d+ ha more than planned; expected 8\.6000 ha as planned",
    ):
        files.checks()[check]()


def test_a_placeholder_inside_the_paddock_is_an_error(files, run):
    files.write(run)
    path = files.folder / "a.geojson"
    path.write_text(re.sub(r'"depth_mm":450', '"depth_mm":-9999', path.read_text()))
    with pytest.raises(ReadBackError, match=r"holds zone 2 \(-9999 mm\)"):
        files.checks()["geojson"]()


def test_missing_cells_inside_the_paddock_are_an_error(files, run):
    maps = raster_layers(run)
    maps["depth_mm"] = np.where(run.zones.labels == 2, np.nan, maps["depth_mm"])
    write_geotiff(files.folder / "a.tif", maps, {name: band_unit(name) for name in maps}, run.zones.frame)
    with pytest.raises(ReadBackError, match=r"says zone 2 \(nan mm\); expected zone 2 \(450 mm\)"):
        files.checks()["raster"]()


def test_another_depth_without_a_position_than_meant_is_an_error(files, run):
    files.write(run, lost_mm=300)
    with pytest.raises(ReadBackError, match="falls back to 300, 300 and 0 mm; expected 0, 0 and 0"):
        files.checks()["tasks"]()


def test_a_plan_that_rips_everything_passes(files, run, told):
    everything = told.assign(depth_mm=[300, 450, 300, 450])
    ripped = Files(files.folder, everything)
    ripped.write(run)
    for check in ripped.checks().values():
        check()


def test_rounding_a_tiny_zone_is_no_error(tmp_path):
    tiny = gpd.GeoDataFrame(
        {"zone": [1, 2], "kind": "ground", "depth_mm": [300, 0], "setup": ["plain", ""], "spacing_mm": 600.0,
         "speed_kmh": 5.0, "soil_type": "sand", "reason": "", "area_ha": [0.0001, 0.9999]},
        geometry=[shapely.box(520_000.003, 6_348_000.003, 520_001.003, 6_348_001.003),
                  shapely.box(520_000, 6_348_000, 520_100, 6_348_100)
                  - shapely.box(520_000.003, 6_348_000.003, 520_001.003, 6_348_001.003)],
        crs="EPSG:32750",
    )  # fmt: skip
    # One square metre: the last decimal alone moves it by up to 2 %.
    write_geojson(tmp_path / "a.geojson", to_display(tiny)[0], "P")
    check_geojson(tmp_path / "a.geojson", expected_of(tiny, seed=1))


def test_residuals_are_read_back_by_another_library_and_held_against_the_record(run, tmp_path):
    write_table(tmp_path / "residuals.csv", run.surfaces.residuals)
    check_residuals(tmp_path / "residuals.csv", run.surfaces.residuals)
    with pytest.raises(ReadBackError, match="its 2 rows hold other values"):
        check_residuals(tmp_path / "residuals.csv", run.surfaces.residuals.assign(sd=1.0))
    with pytest.raises(ReadBackError):
        check_residuals(tmp_path / "residuals.csv", run.surfaces.residuals.iloc[:1])
