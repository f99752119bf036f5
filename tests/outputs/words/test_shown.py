"""What is printed adds up, in any reader's units."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from hardpan.core.said import Measure
from hardpan.outputs.words.shown import rounded_parts, shown_quantities

PARTS = st.lists(st.floats(0.0, 5000.0), min_size=1, max_size=30)


@given(values=PARTS, step=st.sampled_from([0.1, 1.0, 0.0404685642, 3.785411784]))
def test_parts_add_up_to_the_rounded_total_and_none_is_a_digit_off(values, step):
    parts = rounded_parts(np.array(values), step)
    assert round(parts.sum() / step) == round(sum(values) / step)
    assert np.abs(parts - values).max() <= step * (1.0 + 1e-6)


def test_nothing_has_no_parts():
    assert rounded_parts(np.zeros(0), 0.1).size == 0


@pytest.mark.parametrize("reader", ["metric", "us", "files"])
@example(areas=[0.75, 0.25, 0.05])  # prints as 1.1, but 10.5 tenths round to 10
@example(areas=[0.05, 1.0, 1.0])  # 1.05 and 1.0 of 2.05: on their own they would print as 1.1, 1.0 and 2.0
@given(areas=st.lists(st.floats(0.05, 60.0), min_size=3, max_size=12))
def test_ripped_left_and_shut_ground_add_up_to_the_paddock_as_printed(request, reader, areas):
    units = request.getfixturevalue(reader).units
    depth_mm = np.resize([300, 0, 450], len(areas))
    zones = pd.DataFrame({"zone": np.arange(len(areas)) + 1, "depth_mm": depth_mm, "area_ha": areas})
    ripped = zones[depth_mm > 0]
    lines = pd.concat(
        pd.DataFrame({"zone": ripped["zone"].astype(str), "item": item, "quantity": rate * ripped["area_ha"]})
        for item, rate in (("hours", 0.47), ("fuel", 31.7))
    )
    shown = shown_quantities(zones, lines, units)
    printed = [float(units.area(area, bare=True).replace(",", "")) for area in shown["area_ha"]]
    worked = [float(units.area(area, bare=True).replace(",", "")) for area in shown["area_ha"][depth_mm > 0]]
    assert sum(printed) == pytest.approx(_printed(units, Measure.AREA, sum(areas), 1), abs=1e-6)
    # the last digit of the ripped ground follows from the paddock's, so that all add up
    assert sum(worked) == pytest.approx(_printed(units, Measure.AREA, float(ripped["area_ha"].sum()), 1), abs=0.1001)
    litres = [_printed(units, Measure.VOLUME, one, 0) for one in shown["fuel_l"]]
    assert sum(litres) == _printed(units, Measure.VOLUME, 31.7 * float(ripped["area_ha"].sum()), 0)


def _printed(units, measure, value, decimals):
    return float(units.write(value, measure, decimals, bare=True).replace(",", ""))
