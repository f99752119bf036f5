"""What is missing in a column, and columns that contradict each other."""

import numpy as np
import pandas as pd
import pytest

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.survey.cells import ask_between, check_readable, fraction, missing_issue, read_layers
from hardpan.survey.columns import Text, TextReadings
from hardpan.survey.numbers import convert
from hardpan.survey.settings import ProbeSettings


def readings(value, code=None):
    code = np.zeros(len(value), dtype=np.int64) if code is None else np.asarray(code)
    names = [f"P{at + 1}" for at in range(int(code.max()) + 1)]
    return TextReadings(
        file="p.csv",
        insertions=pd.DataFrame({"site": names}, dtype=object),
        code=code,
        depth=np.arange(len(value)) * 50.0,
        thickness=np.zeros(len(value)),
        value=Text.of(np.asarray(value, dtype=object)),
        moisture=None,
        row=np.arange(len(value)) + 2,
    )


def test_columns_that_say_the_same_in_two_units_are_no_question():
    kpa = np.array([480.0, 2120.0, 1450.0, np.nan])
    ask_between("resistance", {"ci_kpa": kpa, "ci_mpa": np.round(kpa / 1000, 1) * 1000}, "p.csv")


def test_columns_of_different_values_are_asked_about_by_name():
    kpa = np.array([480.0, 2120.0, 1450.0])
    with pytest.raises(AmbiguousInputError, match=r"ci, resistance can all be .* probes\.columns\.resistance"):
        ask_between("resistance", {"ci": kpa, "ci copy": kpa, "resistance": kpa * 1.2}, "p.csv")


def test_blanks_within_an_insertion_are_counted_and_those_at_its_end_are_a_stop():
    text = readings(["1", "", "NA", "4", "", "1", "2", "3", "", ""], [0, 0, 0, 0, 0, 1, 1, 1, 1, 1])
    (issue,) = missing_issue(convert(text.value, "."), text.depth, text)
    assert issue.what.startswith("2 readings of 10 in 1 insertion are blank")
    assert "3 more at the end" in issue.what
    assert issue.place == "site P1"


def test_blanks_at_the_end_alone_are_not_told_as_missing():
    text = readings(["1", "2", "", ""])
    assert missing_issue(convert(text.value, "."), text.depth, text) == ()


def test_cells_of_depth_that_name_layers_are_their_middle_with_a_thickness():
    column = Text.of(np.asarray(["0-10", "10-20", "", "20-30 cm", "40"], dtype=object))
    depth, thickness = read_layers(convert(column, "."), column, "p.csv")
    np.testing.assert_array_equal(depth.value, [5, 15, np.nan, 25, 40])
    np.testing.assert_array_equal(thickness, [10, 10, 0, 10, 0])
    assert depth.units[3] == "cm"


def test_one_odd_range_among_numbers_is_no_layer():
    column = Text.of(np.asarray(["0", "5", "10-15", "20"], dtype=object))
    depth, thickness = read_layers(convert(column, "."), column, "p.csv")
    assert np.isnan(depth.value[2])
    assert not thickness.any()


def test_depths_turned_into_dates_are_refused():
    column = Text.of(np.asarray(["0-5", "5-Oct", "10-15"], dtype=object))
    with pytest.raises(InputError, match="5-Oct"):
        read_layers(convert(column, "."), column, "p.csv")


def test_a_column_of_text_is_not_taken_for_readings():
    text = readings(["hard", "soft", "12", "hard"])
    with pytest.raises(InputError, match="such as 'hard'"):
        check_readable(convert(text.value, "."), text)


def test_water_contents_beyond_the_whole_or_without_a_number_are_missing_and_counted():
    theta = convert(Text.of(np.asarray(["21", "250", "-3", "wet", ""], dtype=object)), ".")
    values, (issue,) = fraction(theta, "theta %", ProbeSettings(file="p.csv"), "p.csv")
    np.testing.assert_allclose(values, [0.21, np.nan, np.nan, np.nan, np.nan])
    assert issue.what.startswith("3 water contents")
