"""Positions in any notation, against the same angle worked by hand."""

import numpy as np
import pandas as pd
import pytest

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.survey.positions import read_axes

# 34 degrees 22 minutes 55.2636 seconds south is 34.38201767; 71 degrees 25 minutes 20.5764 seconds west is 71.42238233
LAT, LON = -(34 + 22 / 60 + 55.2636 / 3600), -(71 + 25 / 60 + 20.5764 / 3600)


def axes(x, y, mark="."):
    table = pd.DataFrame({"x": [x], "y": [y], "site": ["1"], "row": [2]}, dtype=object)
    return read_axes(table, mark, degree_names=False, file="a.csv")


@pytest.mark.parametrize(
    ("lon", "lat"),
    [
        ("-71.42238233", "-34.38201767"),
        ("71.42238233 W", "34.38201767 S"),
        ("W71.42238233", "S34.38201767"),
        ("71.42238233°W", "34.38201767°S"),
        ("-71.42238233°", "-34.38201767°"),
        ("071°25.34294W", "34°22.92106S"),
        ("71° 25.34294' W", "34° 22.92106' S"),
        ("71°25'20.5764\"W", "34°22'55.2636\"S"),
        ("71º25′20.5764″W", "34º22′55.2636″S"),
        ("-71°25'20.5764\"", "-34°22'55.2636\""),
        ("W 71 25 20.5764", "S 34 22 55.2636"),
        ("71 25 20.5764 W", "34 22 55.2636 S"),
        ("71Â°25.34294W", "34Â°22.92106S"),
        ("71deg 25.34294min W", "34deg 22.92106min S"),
    ],
)
def test_notations_of_one_place(lon, lat):
    found = axes(lon, lat)
    assert float(found.x[0]) == pytest.approx(LON, abs=2e-8)
    assert float(found.y[0]) == pytest.approx(LAT, abs=2e-8)


def test_decimal_commas_in_minutes():
    found = axes("71°25,34294W", "34°22,92106S", mark=",")
    assert float(found.y[0]) == pytest.approx(LAT, abs=2e-8)


def test_letters_in_the_other_column_swap_the_axes_and_say_so():
    found = axes("34°22.92106S", "71°25.34294W")
    assert float(found.y[0]) == pytest.approx(LAT, abs=2e-8)
    assert [issue.code for issue in found.issues] == ["swapped-axes"]


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ("71°75.0W", "34°22.0S"),
        ("71°25'99\"W", "34°22'5\"S"),
        ("-71.4 E", "34.4 S"),
        ("E71.4W", "34.4 S"),
        ("there", "here"),
    ],
)
def test_what_is_no_angle_is_no_position(x, y):
    with pytest.raises(InputError, match="no position"):
        axes(x, y)


def test_receiver_notation_is_asked_for():
    with pytest.raises(AmbiguousInputError, match="receiver"):
        axes("07125.34294W", "3422.92106S")


def test_metres_stay_metres():
    found = axes("618783.669", "6721299.338")
    assert (float(found.x[0]), float(found.y[0])) == (618783.669, 6721299.338)
    assert not found.written_as_degrees


def test_metres_with_thousands_marks():
    found = axes("618,783.669", "6,721,299.338")
    assert (float(found.x[0]), float(found.y[0])) == (618783.669, 6721299.338)


def test_places_at_zero_and_blank_ones_have_no_coordinates():
    table = pd.DataFrame(
        {"x": ["0", "", "123.0"], "y": ["0.0", "-28", "-28.00001"], "site": ["a", "b", "c"], "row": [2, 3, 4]},
        dtype=object,
    )
    found = read_axes(table, ".", degree_names=True, file="a.csv")
    assert np.isfinite(found.x).tolist() == [False, False, True]
    assert {issue.code for issue in found.issues} == {"zero-position", "no-position"}
