"""Laws of pan detection that hold for any profile."""

import numpy as np
import pyproj
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from hardpan.pan.layers import find_layers
from hardpan.pan.readings import pack
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.pan import Bottom, Seen, State
from hardpan.records.survey import Profiles, Stop

CRS = pyproj.CRS("EPSG:32751")
SETTINGS = PanSettings(sensitivity_kpa=(2500.0,))
law = settings(max_examples=25, deadline=None, derandomize=True)
STEP_MM, SAMPLES = 25.0, 29
STATES = ["state", "bottom_kind"]
DEPTHS = ["top_mm", "bottom_mm", "bottom_low_mm", "bottom_high_mm", "bottom_sd_mm", "peak_depth_mm"]


def profiles_of(value, stop, first_mm=0.0):
    n, samples = value.shape
    depth = np.where(np.isnan(value), np.nan, first_mm + STEP_MM * np.arange(samples))
    dims = ("insertion", "sample")
    names = [f"P{row}" for row in range(n)]
    zeros = ("insertion", np.zeros(n))
    coords = {
        "insertion": names,
        "site": ("insertion", names),
        "replicate": ("insertion", np.ones(n, dtype=np.int64)),
        "x_m": zeros,
        "y_m": zeros,
        "date": ("insertion", np.full(n, "")),
        "stop": ("insertion", np.asarray(stop)),
        "stop_mm": ("insertion", np.fmax.reduce(depth, axis=1, initial=0.0)),
        "source_file": ("insertion", np.full(n, "invented.csv")),
        "source_row": ("insertion", np.arange(n)),
    }
    readings = xr.Dataset(
        {
            "depth_mm": (dims, depth),
            "thickness_mm": (dims, np.zeros(value.shape)),
            "cone_index_kpa": (dims, value),
            "at_least": (dims, np.zeros(value.shape, dtype=bool)),
        },
        coords=coords,
    )
    return Profiles(readings=readings, depth_limit_mm=first_mm + STEP_MM * (samples - 1))


def pans(value, stop, settings=SETTINGS, first_mm=0.0):
    return detect_pan(profiles_of(value, stop, first_mm), CRS, settings).insertions


@st.composite
def surveys(draw):
    """Any readings, smooth or wild, that end anywhere for any reason."""
    n = draw(st.integers(1, 12))
    rough = draw(arrays.arrays(float, (n, SAMPLES), elements=st.floats(0.0, 8000.0, allow_subnormal=False)))
    width = draw(st.sampled_from([1, 3, 7]))
    value = np.stack([np.convolve(row, np.ones(width) / width, mode="same") for row in rough])
    last = draw(arrays.arrays(np.int64, n, elements=st.integers(0, SAMPLES)))
    value = np.where(np.arange(SAMPLES) < last[:, None], value, np.nan)
    return value, draw(st.lists(st.sampled_from([stop.value for stop in Stop]), min_size=n, max_size=n))


@law
@given(surveys())
def test_top_peak_and_bottom_stand_in_order(survey):
    pan = pans(*survey)
    present, seen = pan["state"] == State.PRESENT, pan["bottom_kind"] == Bottom.OBSERVED
    assert (pan["top_mm"].notna() == present).all()
    assert (pan["bottom_mm"].notna() == seen).all()
    assert (pan.loc[present, "excess_kpa_mm"] >= 0.0).all()
    assert (pan.loc[present, "peak_kpa"] >= SETTINGS.critical_kpa).all()
    assert (pan.loc[seen, "top_mm"] < pan.loc[seen, "bottom_mm"]).all()
    assert (pan.loc[present & ~seen, "top_mm"] <= pan.loc[present & ~seen, "bottom_low_mm"]).all()
    assert (pan.loc[seen, "bottom_low_mm"] <= pan.loc[seen, "bottom_mm"]).all()
    assert (pan.loc[seen, "bottom_mm"] <= pan.loc[seen, "bottom_high_mm"]).all()
    assert (pan.loc[present & ~seen, "bottom_low_mm"] < pan.loc[present & ~seen, "bottom_high_mm"]).all()
    assert pan["seen"].isin(list(Seen)).all()


@law
@given(surveys(), st.integers(1, 8))
def test_shifting_all_depths_shifts_top_and_bottom(survey, steps):
    value, stop = survey
    by_mm = STEP_MM * steps
    near = SETTINGS.model_copy(update={"crust_mm": 0.0})
    far = near.model_copy(update={"crust_mm": by_mm, "search_to_mm": near.search_to_mm + by_mm})
    before, after = pans(value, stop, near), pans(value, stop, far, first_mm=by_mm)
    # Within a shift the rules on depth move along; nothing can end above a crust of zero depth in either.
    same = (before["state"] != State.UNUSABLE) & (after["state"] != State.UNUSABLE)
    assert (before.loc[same, STATES] == after.loc[same, STATES]).all(axis=None)
    for column in ("top_mm", "bottom_mm", "bottom_low_mm", "peak_depth_mm"):
        np.testing.assert_allclose(after.loc[same, column], before.loc[same, column] + by_mm, atol=1e-6)
    np.testing.assert_allclose(
        after.loc[same, "excess_kpa_mm"], before.loc[same, "excess_kpa_mm"], rtol=1e-9, atol=1e-6
    )


@pytest.mark.slow
@law
@given(surveys(), st.sampled_from([0.25, 0.5, 2.0, 4.0]))
def test_scaling_readings_and_threshold_together_changes_no_depth(survey, factor):
    value, stop = survey
    scaled = PanSettings(critical_kpa=SETTINGS.critical_kpa * factor, hysteresis_kpa=SETTINGS.hysteresis_kpa * factor)
    before, after = pans(value, stop), pans(value * factor, stop, scaled)
    assert (before[STATES] == after[STATES]).all(axis=None)
    np.testing.assert_allclose(after[DEPTHS].to_numpy(float), before[DEPTHS].to_numpy(float), rtol=1e-9, atol=1e-6)
    np.testing.assert_allclose(after["excess_kpa_mm"], before["excess_kpa_mm"] * factor, rtol=1e-9, atol=1e-6)


@law
@given(surveys(), st.randoms(use_true_random=False))
def test_the_order_of_insertions_does_not_matter(survey, random):
    value, stop = survey
    order = list(range(len(value)))
    random.shuffle(order)
    before, after = pans(value, stop), pans(value[order], [stop[row] for row in order])
    columns = [*STATES, "seen"]
    assert (before[columns].iloc[order].to_numpy() == after[columns].to_numpy()).all()
    numbers = [*DEPTHS, "peak_kpa", "excess_kpa_mm"]
    np.testing.assert_array_equal(after[numbers].to_numpy(float), before[numbers].iloc[order].to_numpy(float))


@law
@given(surveys(), st.lists(st.floats(0.0, 8000.0), min_size=1, max_size=12))
def test_readings_below_a_closed_pan_change_nothing_of_it(survey, more):
    value, stop = survey
    before = pans(value, stop)
    # The window of the crossing reaches 40 mm, and a stone needs the reading after it: two soft readings in between.
    soft = np.tile([900.0, 900.0], (len(value), 1))
    below = np.tile(more, (len(value), 1))
    count = np.isfinite(value).sum(axis=1)
    longer = np.full((len(value), SAMPLES + 2 + len(more)), np.nan)
    for row, read in enumerate(count):
        longer[row, : read + 2 + len(more)] = np.concatenate([value[row, :read], soft[row], below[row]])
    after = pans(longer, stop)
    ended = count * STEP_MM - STEP_MM
    closed = (before["bottom_kind"] == Bottom.OBSERVED) & (ended >= before["bottom_mm"] + 100.0)
    numbers = [*DEPTHS, "peak_kpa", "excess_kpa_mm"]
    assert (after.loc[closed, STATES] == before.loc[closed, STATES]).all(axis=None)
    np.testing.assert_allclose(after.loc[closed, numbers].to_numpy(float), before.loc[closed, numbers].to_numpy(float))


@pytest.mark.slow
@law
@given(
    middle_mm=st.floats(150.0, 400.0),
    above_mm=st.floats(50.0, 120.0),
    below_mm=st.floats(50.0, 150.0),
    peak_kpa=st.floats(2600.0, 6000.0),
    critical_kpa=st.floats(1000.0, 4000.0),
    more_kpa=st.floats(10.0, 1500.0),
)
def test_raising_the_threshold_never_widens_the_pan(*, middle_mm, above_mm, below_mm, peak_kpa, critical_kpa, more_kpa):
    depth = STEP_MM * np.arange(SAMPLES)
    width = np.where(depth < middle_mm, above_mm, below_mm)
    value = 600.0 + (peak_kpa - 600.0) * np.exp(-0.5 * ((depth - middle_mm) / width) ** 2)
    low, high = (
        pans(value[None, :], [Stop.ROD_END.value], PanSettings(critical_kpa=threshold, crust_mm=0.0)).iloc[0]
        for threshold in (critical_kpa, critical_kpa + more_kpa)
    )
    if high["state"] != State.PRESENT:
        return
    assert low["state"] == State.PRESENT
    # The line through the readings near a crossing is not the profile: a millimetre for its bend.
    assert high["top_mm"] >= low["top_mm"] - 1.0
    if low["bottom_kind"] == Bottom.OBSERVED:
        assert high["bottom_kind"] == Bottom.OBSERVED
        assert high["bottom_mm"] <= low["bottom_mm"] + 1.0


@law
@given(surveys(), st.floats(500.0, 6000.0), st.floats(1.0, 2000.0))
def test_hard_ground_at_a_higher_threshold_is_hard_at_a_lower_one(survey, low_kpa, more_kpa):
    readings = pack(profiles_of(*survey).readings)
    rule = {"hysteresis_kpa": 200.0, "min_thickness_mm": 50.0}
    stopped = np.zeros(len(readings.depth_mm), dtype=bool)
    low = find_layers(readings, stopped, threshold_kpa=low_kpa, **rule)
    high = find_layers(readings, stopped, threshold_kpa=low_kpa + more_kpa, **rule)
    for _, layer in high.iterrows():
        around = low[(low["row"] == layer["row"]) & (low["top_mm"] <= layer["top_mm"] + 1e-9)]
        assert (around["bottom_mm"] >= layer["bottom_mm"] - 1e-9).any()
