"""Lines to steer by: where they lie and which way they run."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely

from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.guidance import guidance_lines

CRS = pyproj.CRS("EPSG:32750")
WEST, SOUTH = 520_000.0, 6_348_000.0


def plan_of(*boxes, depths):
    shapes = [shapely.box(WEST + a, SOUTH + b, WEST + c, SOUTH + d) for a, b, c, d in boxes]
    return gpd.GeoDataFrame({"zone": range(1, len(boxes) + 1), "depth_mm": depths}, geometry=shapes, crs=CRS)


def headings(*degrees):
    return pd.DataFrame({"zone": range(1, len(degrees) + 1), "heading_deg": degrees})


@pytest.mark.parametrize("heading", [0.0, 37.0, 90.0, 150.0])
def test_a_line_has_the_bearing_and_the_length_of_its_ground(heading):
    plan = plan_of((0, 0, 600, 300), depths=[400])
    (line,) = guidance_lines(plan, headings(heading), width_m=4.2)
    azimuth, _, length = pyproj.Geod(ellps="WGS84").inv(*line.ends[0], *line.ends[1])
    off = (azimuth - line.bearing_deg + 90.0) % 180.0 - 90.0
    assert abs(off) < 0.01
    along = abs(600 * np.sin(np.deg2rad(heading))) + abs(300 * np.cos(np.deg2rad(heading)))
    assert length == pytest.approx(along, rel=1e-3)  # scale of the projection


def test_a_line_goes_through_the_middle_of_the_ground_that_is_ripped_along_it():
    plan = plan_of((0, 0, 200, 300), (200, 0, 400, 300), (400, 0, 600, 300), depths=[400, 0, 300])
    (line,) = guidance_lines(plan, headings(90.0, 90.0, 90.0), width_m=4.2)
    (middle,), _ = to_wgs84(np.array([shapely.Point(WEST + 300, SOUTH + 150)]), CRS)
    assert line.ends.mean(axis=0) == pytest.approx(shapely.get_coordinates(middle)[0], abs=2e-7)
    assert line.zones == (1, 3)


def test_each_heading_has_a_line_and_nothing_ripped_has_none():
    plan = plan_of((0, 0, 200, 300), (200, 0, 400, 300), depths=[400, 300])
    assert [line.zones for line in guidance_lines(plan, headings(10.0, 95.0), width_m=4.2)] == [(1,), (2,)]
    assert guidance_lines(plan.assign(depth_mm=0), headings(10.0, 95.0), width_m=4.2) == ()
