"""Column names and cells that are depths, and those that only look like it."""

import pytest

from hardpan.survey.column_names import dated, depth_columns, other_numbers, ranges, tangled


@pytest.mark.parametrize(
    ("names", "depths", "unit"),
    [
        (["0 cm", "5 cm", "10 cm"], [0, 5, 10], "cm"),
        (["CI_5cm_kPa", "CI_10cm_kPa", "CI_15cm_kPa"], [5, 10, 15], "cm"),
        (["0-10 cm", "10-20 cm", "20-30 cm"], [5, 15, 25], "cm"),
        (["5 cm kgf/cm2", "10 cm kgf/cm2", "15 cm kgf/cm2"], [5, 10, 15], "cm"),
        (['2"', '4"', '6"'], [2, 4, 6], "in"),
        (["depth 30 mm", "depth 20 mm", "depth 10 mm"], [30, 20, 10], "mm"),
    ],
)
def test_depths_are_read_from_names(names, depths, unit):
    columns = depth_columns(names, ())
    assert [column.depth for column in columns] == depths
    assert {column.unit for column in columns} == {unit}


@pytest.mark.parametrize("name", ["5-Oct", "10-Dec", "Oct-15", "60 May rain", "5 cm vwc", "10 cm clay", "ci_kgf_cm2"])
def test_dates_and_other_measurements_are_no_depths(name):
    assert depth_columns([name], ()) == ()


@pytest.mark.parametrize(
    "name", ["5-Oct", "10-Dec", "Oct-15", "15-Okt", "5-déc", "2026-10-05", "05/10/2026", "5 Aug 26", "Mai-10"]
)
def test_a_range_that_a_spreadsheet_took_for_a_date_is_known(name):
    assert dated([name]) == [name]


@pytest.mark.parametrize("name", ["5-10", "5 cm", "0.05 m", "10 to 20 cm", "5 m", "mar", "decimal", "P12"])
def test_depths_and_names_are_no_dates(name):
    assert dated([name]) == []


def test_a_number_with_words_of_something_else_is_told():
    assert other_numbers(["5 cm", "60 May rain", "site 3", "10 cm clay"]) == ["60 May rain", "10 cm clay"]


def test_depths_out_of_order_are_named():
    assert tangled(["site", "0 cm", "5 cm", "5 cm"]) == ["0 cm", "5 cm", "5 cm"]
    assert tangled(["site", "0 cm", "5 cm"]) == []


def test_cells_that_name_layers_give_both_ends_and_the_unit():
    assert ranges(["0-10", "10 to 20 cm", "2,5–5", "20-10", "15"]) == [
        (0, 10, ""),
        (10, 20, "cm"),
        (2.5, 5, ""),
        None,
        None,
    ]
