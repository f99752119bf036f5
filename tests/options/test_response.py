"""What the crop makes of loosened ground: growth lost to hard soil, and how much of it comes back."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import trapezoid

from hardpan.options.loosening import cumulated_excess, depth_grid_mm, ridge_mm, section_share
from hardpan.options.response import lost_growth, root_loss, used_share, using_weights
from hardpan.pan.crossing import mean_shape
from hardpan.pan.readings import Readings

GRID = depth_grid_mm(800.0)
FLAT = np.full(20, 0.05)


def test_half_of_the_growth_is_lost_halfway_between_free_and_stopped(catalog):
    lost = lost_growth(np.array([0.0, 1000.0, 2000.0, 3000.0, 6000.0]), catalog.response)
    assert lost == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0])


def test_use_rises_with_what_is_loose_by_less_and_less_up_to_all_of_it():
    used = used_share(np.linspace(0.0, 1.0, 21), 0.2)
    assert (used[0], used[-1]) == pytest.approx((0.0, 1.0))
    assert (np.diff(used) > 0).all()
    assert (np.diff(used, 2) < 0).all()


def test_the_share_the_crop_has_back_is_the_integral_of_loss_times_used_width():
    """Against plain quadrature of the definition; the grid of 10 mm is the error allowed."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        top, thick, depth_mm = rng.uniform(50, 400), rng.uniform(60, 300), rng.uniform(200, 690)
        section = {"depth_mm": depth_mm, "foot_mm": 75.0, "spacing_mm": rng.uniform(300, 700), "critical_mm": 450.0}
        section["ridge_mm"] = float(ridge_mm(75.0, section["spacing_mm"], 45.0))
        z = top + (np.arange(20_000) + 0.5) / 20_000 * thick
        expected = used_share(section_share(z, **section), 0.2).mean()
        lost = cumulated_excess(np.float32([top]), np.float32([top + thick]), FLAT, GRID)
        arrays = {name: np.array([value]) for name, value in section.items()}
        assert float((lost @ using_weights(GRID, arrays, 0.2))[0, 0]) == pytest.approx(expected, abs=0.04)


def test_a_lower_threshold_finds_more_lost_growth_in_the_same_soil(catalog):
    """A pan whose resistance rises and falls in a straight line, read at thresholds from 1500 to 3500 kPa."""
    peak_kpa, middle_mm, half_mm, low_kpa = 4000.0, 350.0, 200.0, 1000.0
    shape = 1.0 - np.abs(np.linspace(-0.975, 0.975, 40))
    lost = []
    for threshold in (1500.0, 2000.0, 2500.0, 3000.0, 3500.0):
        half = half_mm * (peak_kpa - threshold) / (peak_kpa - low_kpa)
        loss = root_loss(shape, threshold, peak_kpa, catalog.response)
        edges = (np.float32(middle_mm - half), np.float32(middle_mm + half), np.float32(peak_kpa))
        lost.append(float(loss.relative(*edges)))
    assert (np.diff(lost) < 0).all()


def test_growth_lost_at_a_peak_is_read_off_the_table_as_numpy_does_it(catalog):
    loss = root_loss(FLAT, 1834.3, 3000.0, catalog.response)
    peak = np.random.default_rng(4).uniform(500.0, 14_000.0, (40, 25)).astype(np.float32)
    peak[0, :3] = [np.nan, 1834.3, loss.peak_kpa[-1]]
    top = np.full_like(peak, 200.0)
    expected = np.interp(peak, loss.peak_kpa, loss.lost_share) * np.float32(150.0) / loss.reference_mm
    np.testing.assert_array_equal(loss.relative(top, top + np.float32(150.0), peak), expected.astype(np.float32))


@pytest.mark.parametrize("below_kpa", [500.0, 1700.0, 2200.0])
def test_the_lost_growth_is_that_of_the_readings_whatever_the_threshold_and_the_soil_below(catalog, below_kpa):
    """A pan with its peak of 4000 kPa at 350 mm, on soil that a low threshold calls hard to the end of the readings."""
    at_mm = np.arange(0.0, 701.0, 10.0)
    profile = np.maximum(4000.0 - 15.0 * np.abs(at_mm - 350.0), np.where(at_mm > 350.0, below_kpa, 500.0))
    read = pd.DataFrame({"depth_mm": at_mm, "cone_index_kpa": profile})
    lost = []
    for threshold in (1500.0, 2000.0, 2500.0, 3000.0, 3500.0):
        half = (4000.0 - threshold) / 15.0
        top_mm, bottom_mm = 350.0 - half, np.nan if threshold < below_kpa else 350.0 + half
        shape = mean_shape(one_insertion(read), pd.Series([top_mm]), pd.Series([bottom_mm]), threshold)
        loss = root_loss(shape, threshold, 4000.0, catalog.response)
        end_mm = np.nanmin([bottom_mm, 700.0])
        lost.append(float(loss.relative(*np.float32([top_mm, end_mm, 4000.0]))) * loss.reference_mm)
        fine_mm = np.linspace(top_mm, end_mm, 2001)
        expected = trapezoid(lost_growth(np.interp(fine_mm, at_mm, profile), catalog.response), fine_mm)
        assert lost[-1] == pytest.approx(expected, rel=0.02)
    assert (np.diff(lost) < 0).all()


def one_insertion(read):
    value = read["cone_index_kpa"].to_numpy()[None]
    no, exact = np.zeros(value.shape, dtype=bool), np.zeros(value.shape)
    return Readings(
        depth_mm=read["depth_mm"].to_numpy()[None],
        thickness_mm=0.0 * value,
        cone_index_kpa=value,
        at_least=no,
        held=no,
        se_kpa=exact,
    )


def test_a_harder_pan_and_a_thicker_one_take_more(catalog):
    loss = root_loss(FLAT, 1500.0, 2500.0, catalog.response)
    softer, harder = loss.relative(np.float32(200), np.float32(400), np.float32([1600, 2600]))
    thin, thick = loss.relative(np.float32(200), np.float32([300, 400]), np.float32(2600))
    assert softer < harder
    assert thin < thick


def test_the_reference_rip_in_the_reference_pan_gains_what_the_trials_did(made):
    """Law: worth is that of the trials where pan and ripping are the trials', whatever the section is drawn as."""
    ripper = {"like": "seven-tine-600", "spacing": 500, "setups": ["plain"]}
    catalog = made.shipped_catalog(machine={"ripper": ripper})
    ground = made.ground(side_m=(80.0, 80.0), top_mm=200.0, bottom_mm=400.0, sd_mm=0.1)
    options, _ = made.decide(ground, catalog, made.rates(["deep sand"], worth=150.0))
    gain = float(options.gain[:, (options.table["depth_mm"] == 600).to_numpy()].mean())
    assert gain == pytest.approx(150.0, rel=1e-3)  # bottoms 0.1 mm apart
