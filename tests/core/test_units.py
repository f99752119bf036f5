"""Units against the printed table: NIST SP 811 (2008), appendix B.8, all digits printed there."""

import pytest

from hardpan.core import units


@pytest.mark.parametrize(
    ("unit", "kpa"),
    [("psi", 6.894757), ("kgf/cm2", 98.0665), ("bar", 100.0), ("MPa", 1000.0)],
)
def test_a_unit_of_pressure_has_its_printed_kilopascals(unit, kpa):
    assert units.KPA_PER[unit] == pytest.approx(kpa, rel=1e-7)


@pytest.mark.parametrize(("unit", "mm"), [("in", 25.4), ("ft", 304.8), ("cm", 10.0)])
def test_a_unit_of_depth_has_its_printed_millimetres(unit, mm):
    assert units.MM_PER[unit] == pytest.approx(mm, rel=1e-7)


@pytest.mark.parametrize(
    ("ours", "printed"),
    [
        (units.L_PER_US_GALLON, 3.785412),
        (units.KM_PER_MILE, 1.609344),
        (1000.0 * units.KN_PER_POUND_FORCE, 4.448222),
        (units.W_PER_HP, 745.6999),  # of 550 foot-pounds a second
    ],
)
def test_what_readers_in_us_units_are_shown_goes_by_the_printed_factors(ours, printed):
    assert ours == pytest.approx(printed, rel=1e-7)
