"""Where insertions stand."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from builders.after import CRS
from hardpan.records.after import Position
from hardpan.verify.places import block_points, position_of, zones_at


@pytest.mark.parametrize(
    ("mark", "name", "position"),
    [
        ("line", "", Position.LINE),
        (" Midway ", "x", Position.MIDWAY),
        ("1/4", "x", Position.QUARTER),
        ("unripped", "x", Position.CONTROL),
        ("", "7 7-line", Position.LINE),
        ("", "Z3_mid_2", Position.MIDWAY),
        ("", "12 12-1", None),
        ("somewhere", "7-line", None),
    ],
)
def test_a_position_is_read_from_the_column_or_the_name(mark, name, position):
    assert position_of(mark, name) is position


def test_a_check_strip_counts_as_the_zone_it_lies_in():
    zones = gpd.GeoDataFrame(
        {"zone": [1, 2, 3], "beside": [np.nan, np.nan, 1.0]},
        geometry=[shapely.box(0, 0, 9, 9) - shapely.box(4, 4, 5, 5), shapely.box(9, 0, 20, 9), shapely.box(4, 4, 5, 5)],
        crs=CRS,
    )
    about = pd.DataFrame({"x_m": [1.0, 4.5, 12.0, 9.0, 50.0], "y_m": [1.0, 4.5, 1.0, 3.0, 1.0]})
    assert zones_at(about, zones).tolist() == [1, 1, 2, 1, -1]


def test_points_of_a_block_lie_in_it():
    shape = shapely.box(0, 0, 40, 10) - shapely.box(10, 2, 20, 8)
    points = block_points(shape, 100)
    assert 60 <= len(points) <= 140
    assert shapely.contains_xy(shape, *points.T).all()
