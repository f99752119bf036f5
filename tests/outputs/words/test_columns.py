"""Tables of numbers in the reader's units, by the unit at the end of each column's name."""

import pandas as pd
import pytest

from hardpan.outputs.words.columns import restated, squared, tabulated

TABLE = pd.DataFrame(
    {
        "zone": [1], "depth_mm": [254.0], "range_m": [30.48], "area_ha": [4.0468564], "threshold_kpa": [2500.0],
        "draft_kn": [4.4482216], "engine_kw": [74.56999], "net_per_ha": [100.0], "fuel_l_per_ha": [9.353956],
        "hours_per_ha": [1.0], "first_year_t_per_ha": [1.0], "rain_needed_mm": [25.4], "share": [0.5],
        "why": ["x 3 mm"],
    }
)  # fmt: skip


def test_a_metric_table_keeps_its_numbers_and_says_its_units(metric):
    told = tabulated(TABLE, metric)
    assert list(told.columns) == [
        "zone", "depth, mm", "range, m", "area, ha", "threshold, kPa", "draft, kN", "engine, kW", "net per ha",
        "fuel, L/ha", "hours, h/ha", "first year, t/ha", "rain needed, mm", "share", "why",
    ]  # fmt: skip
    assert told.iloc[0].tolist() == TABLE.iloc[0].tolist()


def test_a_us_table_has_us_units(us):
    """Factors of [nist811]."""
    told = tabulated(TABLE, us).iloc[0]
    expected = {
        "zone": 1, "depth, in": 10.0, "range, ft": 100.0, "area, ac": 10.0, "threshold, psi": 362.594,
        "draft, lbf": 1000.0,
        "engine, hp": 100.0, "net per ac": 40.4686, "fuel, gal/ac": 1.0, "hours, h/ac": 0.404686,
        "first year, lb/ac": 892.179, "rain needed, in": 1.0, "share": 0.5,
    }  # fmt: skip
    assert told.drop("why").to_dict() == pytest.approx(expected, rel=1e-5)
    assert told["why"] == "x 3 mm"


LINES = pd.DataFrame(
    {"item": ["area", "fuel", "hours"], "quantity": [4.0468564, 3.785411784, 2.0], "unit": ["ha", "L", "h"],
     "price": [10.0, 2.0, 5.0]}
)  # fmt: skip


def test_rows_with_units_of_their_own_are_restated_row_by_row(us, metric):
    told = restated(LINES, us.units, {"quantity": 1, "price": -1})
    assert told["unit"].tolist() == ["ac", "gal", "h"]
    assert told["quantity"].tolist() == pytest.approx([10.0, 1.0, 2.0])
    assert (told["quantity"] * told["price"]).tolist() == pytest.approx((LINES["quantity"] * LINES["price"]).tolist())
    assert restated(LINES, metric.units, {"quantity": 1}) is LINES


def test_variances_of_depths_are_in_square_inches_and_others_stay(us, metric):
    models = pd.DataFrame({"variable": ["bottom", "peak"], "sill": [25.4**2, 0.5]})
    assert squared(models, us.units, ("sill",))["sill"].tolist() == pytest.approx([1.0, 0.5])
    assert squared(models, metric.units, ("sill",)) is models
