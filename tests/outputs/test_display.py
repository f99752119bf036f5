"""The display gets few vertices, single parts and true hectares, or a plain no."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from hardpan.core.errors import HardpanError
from hardpan.outputs.display import fit_profile, single_parts
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs


def wobbly(n_vertices: int, wobble_m: float) -> gpd.GeoDataFrame:
    """Two zones in a round paddock of about 78 ha, sharing a border, every line with many small wobbles."""
    angle = np.linspace(0, 2 * np.pi, n_vertices + 1)[:-1]
    radius = 500 + wobble_m * np.sin(97 * angle)
    rim = np.column_stack([520_000 + radius * np.cos(angle), 6_348_000 + radius * np.sin(angle)])
    half = n_vertices // 2
    y = np.linspace(rim[0, 0], rim[half, 0], half + 1)[1:-1]
    seam = np.column_stack([y, 6_348_000 + wobble_m * np.sin(np.linspace(0, 60 * np.pi, half + 1)[1:-1])])
    north = shapely.Polygon([*rim[: half + 1], *seam[::-1]])
    south = shapely.Polygon([*rim[half:], rim[0], *seam])
    zones = gpd.GeoDataFrame({"zone": [1, 2], "depth_mm": [300, 450]}, geometry=[north, south], crs="EPSG:32750")
    assert shapely.coverage_is_valid(zones.geometry.array)
    return zones


def test_a_plan_that_fits_is_left_alone(plan):
    fitted, moved_m, issues = fit_profile(plan.zones, OutputSettings())
    assert fitted is plan.zones
    assert (moved_m, issues) == (0.0, ())


def test_twenty_thousand_vertices_are_simplified_and_the_hectares_stay():
    zones = wobbly(20_000, 1.0)
    settings = OutputSettings()
    fitted, moved_m, (issue,) = fit_profile(zones, settings)
    rings = shapely.get_num_coordinates(shapely.get_rings(fitted.geometry.array))
    assert rings.sum() <= settings.max_vertices
    assert rings.max() <= settings.max_ring_vertices
    assert shapely.coverage_is_valid(fitted.geometry.array)
    assert fitted.area.to_numpy() == pytest.approx(zones.area.to_numpy(), rel=0.01)
    assert moved_m > 0
    assert issue.code == "display-simplified"
    assert "m to " in issue.done


def test_the_outline_is_kept_when_the_zone_borders_are_enough():
    zones = wobbly(1_500, 1.0)
    settings = OutputSettings(max_vertices=1_900, max_ring_vertices=5_000)
    fitted, _, (issue,) = fit_profile(zones, settings)
    assert shapely.union_all(fitted.geometry.array).symmetric_difference(
        shapely.union_all(zones.geometry.array)
    ).area == pytest.approx(0, abs=1e-6)
    assert "outline" not in issue.done


def test_a_plan_that_cannot_fit_is_refused_with_the_numbers():
    with pytest.raises(HardpanError, match=r"vertices.*the display takes 10") as told:
        fit_profile(wobbly(1_000, 5.0), OutputSettings(max_vertices=10, max_ring_vertices=8))
    assert "raise outputs.max_vertices" in str(told.value)


def test_too_many_polygons_are_refused(plan):
    with pytest.raises(HardpanError, match="5 polygons, the display takes 4"):
        fit_profile(plan.zones, OutputSettings(max_polygons=4))


def test_parts_come_in_order_of_zone(plan):
    parts = single_parts(plan.zones.iloc[::-1])
    assert list(parts["zone"]) == [1, 2, 3, 3, 4]
    assert set(parts.geometry.geom_type) == {"Polygon"}


def test_a_plan_the_display_cannot_take_writes_nothing(run, tmp_path):
    with pytest.raises(HardpanError, match="polygons"):
        write_outputs(run, OutputSettings(max_polygons=2), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
