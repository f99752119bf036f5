"""What a comparison says, in the units of its reader."""

import pytest

from hardpan.outputs.words.english.comparison import EnglishComparison
from hardpan.outputs.words.units import Units
from hardpan.records.past import What

METRIC = EnglishComparison(Units(us=False, depth_unit="cm", currency="AUD"))
US = EnglishComparison(Units(us=True, depth_unit="in", currency="USD"))


@pytest.mark.parametrize(
    ("what", "where", "value", "metric", "us"),
    [
        (What.MAP, "pan_bottom_mm", 508.0, "50.8 cm", "20 in"),
        (What.MAP, "peak_kpa", 3447.4, "3.4 MPa", "500 psi"),
        (What.DEPTH, "508 mm", 20.2343, "20.2 ha", "50.0 ac"),
        (What.MOVED, "all", 20.2343, "20.2 ha", "50.0 ac"),
        (What.WORK, "litres", 378.541, "379 L", "100 gal"),
        (What.WORK, "hours", 2.5, "2.5 h", "2.5 h"),
        (What.ZONES, "all", 9.0, "9", "9"),
    ],
)
def test_a_change_is_told_in_the_units_of_its_reader(what, where, value, metric, us):
    # 1 in = 25.4 mm, 1 psi = 6.894757 kPa, 1 ac = 0.40468564 ha, 1 gal = 3.785412 L (NIST Handbook 44, appendix C)
    row = {"what": what, "where": where}
    assert METRIC.amount(row, value).replace("\u00a0", " ") == metric
    assert US.amount(row, value).replace("\u00a0", " ") == us


def test_a_depth_and_a_map_are_named_as_the_report_names_them():
    assert METRIC.where({"what": What.DEPTH, "where": "0 mm"}) == "leave unripped"
    assert US.where({"what": What.DEPTH, "where": "508 mm"}).replace("\u00a0", " ") == "20 in"
    assert METRIC.where({"what": What.MAP, "where": "pan_bottom_mm"}) == "bottom of the pan"
