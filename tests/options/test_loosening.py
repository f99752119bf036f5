import numpy as np
import pytest

from builders.decision import shipped_catalog
from hardpan.options.loosening import (
    breaking_weights,
    cumulated_excess,
    depth_grid_mm,
    full_width_depth_mm,
    loosened_to_mm,
    ridge_mm,
    section_share,
)
from hardpan.options.sections import critical_depth_mm

GRID = depth_grid_mm(700.0)


def broken(top, bottom, *, shape=None, **section):
    shape = np.full(20, 0.05) if shape is None else shape
    excess = cumulated_excess(np.float32([top]), np.float32([bottom]), shape, GRID)
    one = {name: np.atleast_1d(np.asarray(value, dtype=float)) for name, value in section.items()}
    return float((excess @ breaking_weights(GRID, one))[0, 0])


def test_the_ridge_midway_is_half_the_gap_times_the_slope():
    """Computed by hand: foot 80 mm, spacing 500 mm, 45 degrees leave 210 mm, so at 500 mm 290 mm is loosened."""
    ridge = ridge_mm(80.0, 500.0, 45.0)
    assert ridge == pytest.approx(210.0)
    assert full_width_depth_mm(np.array(500.0), np.array(np.inf), ridge) == pytest.approx(290.0)


@pytest.mark.parametrize("critical_mm", [250.0, 900.0])
@pytest.mark.parametrize("side_deg", [30.0, 45.0, 60.0])
def test_the_loosened_share_is_the_width_that_the_section_across_the_tines_leaves_loose(side_deg, critical_mm):
    """Against counting, at each depth, the places between two tines that are loosened there."""
    spacing_mm, tine = 600.0, {"depth_mm": 450.0, "foot_mm": 80.0, "critical_mm": critical_mm}
    off = np.abs((np.arange(0.05, spacing_mm, 0.1) + spacing_mm / 2) % spacing_mm - spacing_mm / 2)
    section, ridge = loosened_to_mm(off, side_deg=side_deg, **tine), float(ridge_mm(80.0, spacing_mm, side_deg))
    for at_mm in np.arange(5.0, 445.0, 20.0):
        share = float(section_share(np.array([at_mm]), ridge_mm=ridge, spacing_mm=spacing_mm, **tine)[0])
        assert share == pytest.approx((section > at_mm).mean(), abs=1e-3)  # steps of 0.1 mm


def test_the_share_broken_is_the_integral_of_excess_times_loosened_width():
    """Against plain quadrature of the definition, at several pans, depths and critical depths."""
    rng = np.random.default_rng(2)
    for _ in range(60):
        top = rng.uniform(50, 400)
        bottom = top + rng.uniform(40, 300)
        shape = rng.uniform(0, 1, 20)
        shape /= shape.sum()
        section = {
            "depth_mm": rng.uniform(150, 690),
            "foot_mm": rng.uniform(40, 400),
            "spacing_mm": rng.uniform(400, 900),
            "critical_mm": rng.uniform(200, 900),
        }
        section["ridge_mm"] = float(ridge_mm(section["foot_mm"], section["spacing_mm"], 45.0))
        z = np.linspace(top, bottom, 40_001)[:-1] + (bottom - top) / 80_000
        density = shape[((z - top) / (bottom - top) * 20).astype(int)] * 20 / z.size
        expected = (density * section_share(z, **section)).sum()
        assert broken(top, bottom, shape=shape, **section) == pytest.approx(expected, abs=0.01)


def test_nothing_is_broken_above_the_pan_and_all_of_it_well_below():
    wide = {"foot_mm": 300.0, "spacing_mm": 600.0, "ridge_mm": 150.0, "critical_mm": 1800.0}
    assert broken(300, 400, depth_mm=300.0, **wide) == pytest.approx(0.0, abs=1e-6)
    assert broken(300, 400, depth_mm=560.0, **wide) == pytest.approx(1.0, abs=1e-6)


def test_below_the_critical_depth_only_the_slot_is_cut():
    narrow = {"foot_mm": 60.0, "spacing_mm": 600.0, "ridge_mm": 270.0, "critical_mm": 360.0}
    assert broken(400, 500, depth_mm=520.0, **narrow) == pytest.approx(0.1, abs=1e-3)


def test_a_pan_without_a_shape_counts_as_uniform():
    section = {"depth_mm": 350.0, "foot_mm": 600.0, "spacing_mm": 600.0, "ridge_mm": 0.0, "critical_mm": 1e4}
    assert broken(300, 400, shape=np.full(5, np.nan), **section) == pytest.approx(0.5, abs=1e-6)


def test_the_critical_depth_is_the_ratio_times_the_width_of_the_foot_below_the_leading_tines():
    """By hand, `godwin-spoor1977` (from memory): 6 widths of 60 mm are 360; behind tines at 0.4 of 500 mm, 560."""
    setups = shipped_catalog().setups
    known = {"critical_ratio": 6.0, "foot_width": 60.0}
    plain, leading = (
        setup.model_copy(
            update={name: getattr(setup, name).model_copy(update={"value": to}) for name, to in values.items()}
        )
        for setup, values in ((setups["plain"], known), (setups["leading"], known | {"leading_depth_share": 0.4}))
    )
    assert critical_depth_mm(plain, 500.0) == pytest.approx(360.0)
    assert critical_depth_mm(leading, 500.0) == pytest.approx(560.0)
