"""The task grid covers the paddock, in cells small enough for the hectares to be true."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import HardpanError
from hardpan.outputs.geodesy import degrees_per_metre, to_display
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.task_grid import zone_grid
from hardpan.spatial.polygons import geodesic_ha

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
    grid, issues = zone_grid(zones, PER_METRE, OutputSettings(max_grid_side=1000), 22.0)
    ripped = np.isin(grid.to_numpy(), zones.loc[zones["depth_mm"] > 0, "zone"]).sum() * grid.attrs["cell_m"] ** 2 / 1e4
    assert ripped == pytest.approx(zones.loc[zones["depth_mm"] > 0, "area_ha"].sum(), rel=0.01)
    assert grid.attrs["cell_m"] < 11.0
    assert issues == ()


@pytest.mark.parametrize("most", [10, 37, 60, 125, 250])
@pytest.mark.parametrize("asked", [None, 0.5])
def test_rows_and_columns_never_exceed_the_limit(shown, most, asked):
    settings = OutputSettings(max_grid_side=most, grid_cell_m=asked, grid_tolerance=0.0001)
    grid, issues = zone_grid(shown, PER_METRE, settings, 4.0)
    assert max(grid.shape) == most
    _, _, east, north = shown.total_bounds
    assert grid.attrs["west"] + grid.sizes["longitude"] * grid.attrs["cell_lon"] >= east - 1e-9
    assert grid.attrs["south"] + grid.sizes["latitude"] * grid.attrs["cell_lat"] >= north - 1e-9
    assert "task-grid-cell" in [issue.code for issue in issues]


def test_hectares_off_by_more_than_the_stated_share_are_told_with_their_depth(shown):
    grid, issues = zone_grid(shown, PER_METRE, OutputSettings(grid_cell_m=12.0), 4.0)
    (told,) = [issue for issue in issues if issue.code == "task-grid-hectares"]
    cell_ha = 12.0**2 / 1e4
    for zone in shown[shown["depth_mm"] > 0].itertuples():
        share = np.count_nonzero(grid.to_numpy() == zone.zone) * cell_ha / zone.area_ha - 1
        said = f"{100 * abs(share):.1f} % {'more' if share > 0 else 'less'} at {zone.depth_mm} mm"
        assert (said in told.what) == (abs(share) > 0.01)
    more_ha = np.count_nonzero(grid.to_numpy() == 4) * cell_ha - shown["area_ha"].iloc[3]
    assert f"{more_ha:.2f} ha more are lifted" in told.what
    _, issues = zone_grid(shown, PER_METRE, OutputSettings(grid_cell_m=12.0, grid_tolerance=0.5), 4.0)
    assert "task-grid-hectares" not in [issue.code for issue in issues]


def test_away_from_keep_out_ground_the_hectares_are_off_by_half_a_cell_along_the_border_at_most(shown, plan):
    open_ground = shown[shown["kind"] == "ground"]
    grid, _ = zone_grid(open_ground, PER_METRE, OutputSettings(), 4.2)
    cell_m = grid.attrs["cell_m"]
    for zone, border_m in zip(open_ground.itertuples(), plan.zones.geometry.length, strict=False):
        hectares = np.count_nonzero(grid.to_numpy() == zone.zone) * cell_m**2 / 1e4
        assert abs(hectares - zone.area_ha) <= border_m * cell_m / 2 / 1e4


@pytest.mark.parametrize(("asked", "key"), [(60.0, "grid_cell_m"), (None, "max_grid_side")])
def test_cells_too_coarse_for_a_zone_are_refused(asked, key):
    with pytest.raises(HardpanError, match=rf"outputs\.{key}.* has none for zone \d+, which is to be ripped") as told:
        zone_grid(narrow(), PER_METRE, OutputSettings(grid_cell_m=asked, max_grid_side=10), 4.2)
    assert "isoxml_shape = 'polygons'" in str(told.value)


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
