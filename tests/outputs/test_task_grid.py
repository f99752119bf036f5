"""The task grid covers the paddock, in cells small enough for the hectares to be true."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import HardpanError
from hardpan.outputs.geodesy import degrees_per_metre, geodesic_ha, to_display
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.task_grid import zone_grid

PER_METRE = degrees_per_metre(-33.0)


@pytest.fixture(scope="module")
def shown(plan):
    return to_display(plan.zones)[0]


def test_the_cell_is_half_the_working_width(shown):
    grid, issues = zone_grid(shown, PER_METRE, OutputSettings(max_grid_side=400), 6.0)
    assert grid.attrs["cell_m"] == 3.0
    assert issues == ()
    # 400 by 600 m, a little turned against the meridian.
    assert grid.shape == pytest.approx((134, 201), abs=1)


def test_the_grid_starts_in_the_south_west_and_covers_everything(shown):
    grid, _ = zone_grid(shown, PER_METRE, OutputSettings(), 6.0)
    west, south, east, north = shown.total_bounds
    assert (grid.attrs["west"], grid.attrs["south"]) == (west, south)
    assert grid.attrs["west"] + grid.sizes["longitude"] * grid.attrs["cell_lon"] >= east
    assert grid.attrs["south"] + grid.sizes["latitude"] * grid.attrs["cell_lat"] >= north
    assert (np.diff(grid["latitude"]) > 0).all()


def test_every_cell_has_the_zone_of_its_centre(shown):
    grid, _ = zone_grid(shown, PER_METRE, OutputSettings(), 8.0)
    x, y = np.meshgrid(grid["longitude"], grid["latitude"])
    for zone in shown[shown["kind"] == "ground"].itertuples():
        near_pipe = shown.geometry.iloc[3].buffer(2 * grid.attrs["cell_lon"])
        inner = zone.geometry.buffer(-1e-7) - near_pipe
        assert (grid.to_numpy()[shapely.contains_xy(inner, x, y)] == zone.zone).all()


def test_a_large_paddock_gets_larger_cells_and_is_told(shown):
    grid, (issue,) = zone_grid(shown, PER_METRE, OutputSettings(max_grid_side=60), 4.0)
    assert max(grid.shape) <= 61
    assert grid.attrs["cell_m"] == pytest.approx(10.0, abs=0.05)
    assert issue.code == "task-grid-cell"


def narrow() -> gpd.GeoDataFrame:
    """Ripped strips 7 m wide in a paddock left alone."""
    edges = np.arange(0, 420, 7.0)
    strips = shapely.box(edges, 0, edges + 7.0, 300)
    geometry = shapely.transform(strips, lambda xy: np.array([117.0, -33.0]) + xy * PER_METRE)
    depth = np.where(np.arange(len(edges)) % 5 == 2, 300, 0)
    zone = np.arange(1, len(edges) + 1)
    return gpd.GeoDataFrame(
        {"zone": zone, "kind": "ground", "depth_mm": depth, "area_ha": geodesic_ha(geometry)},
        geometry=geometry,
        crs="EPSG:4326",
    )


def test_cells_are_halved_until_the_hectares_are_true():
    zones = narrow()
    grid, issues = zone_grid(zones, PER_METRE, OutputSettings(), 22.0)
    ripped = np.isin(grid.to_numpy(), zones.loc[zones["depth_mm"] > 0, "zone"]).sum() * grid.attrs["cell_m"] ** 2 / 1e4
    assert ripped == pytest.approx(zones.loc[zones["depth_mm"] > 0, "area_ha"].sum(), rel=0.02)
    assert grid.attrs["cell_m"] < 11.0
    assert issues == ()


def test_a_cell_too_coarse_for_the_zones_is_refused():
    with pytest.raises(HardpanError, match=r"11 m cells is .* off"):
        zone_grid(narrow(), PER_METRE, OutputSettings(grid_cell_m=11.0), 4.2)


def test_a_plan_with_nothing_to_rip_has_a_grid(shown):
    grid, _ = zone_grid(shown.assign(depth_mm=0), PER_METRE, OutputSettings(), 4.2)
    assert grid.size > 0


def test_every_cell_that_touches_keep_out_ground_is_lifted(shown):
    grid, _ = zone_grid(shown, PER_METRE, OutputSettings(), 9.0)
    x, y = np.meshgrid(grid["longitude"], grid["latitude"])
    half_x, half_y = 0.499 * grid.attrs["cell_lon"], 0.499 * grid.attrs["cell_lat"]
    cells = shapely.box(x - half_x, y - half_y, x + half_x, y + half_y)
    touching = shapely.intersects(cells, shown.geometry.iloc[3])
    assert touching.sum() > 50
    assert (grid.to_numpy()[touching] == 4).all()
