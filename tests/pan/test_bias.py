"""Top and bottom are found without bias on invented pans, and a stopped insertion is never read as a bottom.

The bounds are those the product states: bias below 5 mm and root mean square error below 12 mm at 25 mm steps with
8 % multiplicative noise, and no stopped insertion among 10,000 with an observed bottom.
"""

import numpy as np
import pyproj
import pytest

from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.pan import Bottom, State
from hardpan.records.survey import Stop

CRS = pyproj.CRS("EPSG:32751")
DEPTH_MM = np.arange(0.0, 701.0, 25.0)
FINE_MM = np.arange(0.0, 700.01, 0.1)


def trapezoid(ramp_mm):
    def profile(z, shift):
        ramp = np.minimum(z - 200.0 - shift, 480.0 + shift - z) / ramp_mm
        return 700.0 + 3000.0 * np.clip(ramp, 0.0, 1.0)

    return profile


def bell(width_mm):
    return lambda z, shift: 600.0 + 3100.0 * np.exp(-0.5 * ((z - 330.0 - shift) / width_mm) ** 2)


def lopsided(z, shift):
    width = np.where(z < 290.0 + shift, 45.0, 105.0)
    return 600.0 + 3200.0 * np.exp(-0.5 * ((z - 290.0 - shift) / width) ** 2)


def over_rising_clay(z, shift):
    return (
        500.0 + 3200.0 * np.exp(-0.5 * ((z - 300.0 - shift) / 65.0) ** 2) + 12.0 * np.clip(z - 480.0 - shift, 0, None)
    )


SHAPES = {
    "trapezoid, steep": trapezoid(30.0),
    "trapezoid": trapezoid(80.0),
    "trapezoid, gentle": trapezoid(120.0),
    "bell, narrow": bell(55.0),
    "bell": bell(80.0),
    "steep top, gentle bottom": lopsided,
    "over rising clay": over_rising_clay,
    "weak": lambda z, shift: (
        700.0 + 2300.0 * np.clip(np.minimum(z - 200.0 - shift, 480.0 + shift - z) / 80.0, 0.0, 1.0)
    ),
}


def true_ends(profile):
    """First rise through 2,500 kPa and the next fall, on a fine grid, for shift 0."""
    hard = profile(FINE_MM, 0.0) >= 2500.0
    top = int(hard.argmax())
    return FINE_MM[top], FINE_MM[top + int((~hard[top:]).argmax())]


def noisy(profile, shift, rng):
    true = profile(DEPTH_MM[None, :], shift[:, None])
    return true * (1.0 + 0.08 * rng.standard_normal(true.shape))


@pytest.mark.parametrize("shape", SHAPES)
def test_top_and_bottom_have_no_bias_and_a_small_error(profiles_of, shape):
    rng = np.random.default_rng(20_26)
    shift = rng.uniform(-40.0, 40.0, 4_000)
    pan = detect_pan(profiles_of(DEPTH_MM, noisy(SHAPES[shape], shift, rng)), CRS, PanSettings()).insertions
    assert (pan["state"] == State.PRESENT).mean() > 0.99
    assert (pan["bottom_kind"] == Bottom.OBSERVED).mean() > 0.99
    for column, true_mm in zip(("top_mm", "bottom_mm"), true_ends(SHAPES[shape]), strict=True):
        error = (pan[column] - true_mm - shift).dropna()
        assert abs(error.mean()) < 5.0
        assert np.sqrt((error**2).mean()) < 12.0


@pytest.mark.parametrize("shape", SHAPES)
def test_the_stated_error_and_interval_of_the_bottom_hold(profiles_of, shape):
    rng = np.random.default_rng(7)
    shift = rng.uniform(-40.0, 40.0, 4_000)
    pan = detect_pan(profiles_of(DEPTH_MM, noisy(SHAPES[shape], shift, rng)), CRS, PanSettings()).insertions
    bottom = true_ends(SHAPES[shape])[1] + shift
    seen = (pan["bottom_kind"] == Bottom.OBSERVED).to_numpy()
    inside = pan["bottom_low_mm"].le(bottom) & pan["bottom_high_mm"].ge(bottom)
    # The interval holds the readings on both sides as well as the 95 % interval of the error: it is on the wide side.
    assert inside[seen].mean() > 0.95
    score = ((pan["bottom_mm"] - bottom) / pan["bottom_sd_mm"])[seen]
    # A stated error may be a quarter too large or too small: the slope it rests on is read from the same few readings.
    assert 0.75 < np.sqrt((score**2).mean()) < 1.25


@pytest.mark.parametrize("stop", [Stop.REFUSAL, Stop.LIMIT, Stop.ROD_END, Stop.SHORT])
def test_of_ten_thousand_insertions_stopped_in_or_above_the_pan_none_has_an_observed_bottom(profiles_of, stop):
    rng = np.random.default_rng(11)
    per_shape = 10_000 // len(SHAPES) + 1
    values = []
    for profile in SHAPES.values():
        top, bottom = true_ends(profile)
        shift = rng.uniform(-40.0, 40.0, per_shape)
        last_mm = rng.uniform(top - 100.0, bottom, per_shape) + shift
        readings = noisy(profile, shift, rng)
        values.append(np.where(DEPTH_MM[None, :] <= last_mm[:, None], readings, np.nan))
    pan = detect_pan(profiles_of(DEPTH_MM, np.vstack(values), stop=stop), CRS, PanSettings()).insertions
    assert len(pan) >= 10_000
    assert (pan["bottom_kind"] == Bottom.OBSERVED).sum() == 0
    assert pan["bottom_mm"].isna().all()
    present = pan["state"] == State.PRESENT
    assert present.sum() > 3_000
    # a last reading that dips under the threshold looks like a bottom: as rarely as the map of the bottom reckons with
    high = pan.loc[present, "bottom_high_mm"]
    assert np.isfinite(high).mean() < 0.1
    assert stop != Stop.REFUSAL or np.isinf(high).all()


def test_noise_about_a_level_well_below_the_threshold_makes_no_pan(profiles_of):
    rng = np.random.default_rng(3)
    values = 2100.0 * (1.0 + 0.08 * rng.standard_normal((4_000, len(DEPTH_MM))))
    states = detect_pan(profiles_of(DEPTH_MM, values), CRS, PanSettings()).insertions["state"]
    assert (states == State.PRESENT).mean() < 0.001


def test_noise_does_not_break_a_pan_in_two(profiles_of):
    rng = np.random.default_rng(4)
    shift = np.zeros(4_000)
    pan = detect_pan(profiles_of(DEPTH_MM, noisy(trapezoid(60.0), shift, rng)), CRS, PanSettings()).insertions
    assert pan["next_mm"].isna().all()
