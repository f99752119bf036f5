"""Readings moved to a reference water content; the published numbers are in tests/published/test_pan_moisture.py."""

import numpy as np
import pytest

from hardpan.core.errors import InputError, SettingsError
from hardpan.pan.moisture import normalise, read_models
from hardpan.pan.settings import PanSettings

DEPTH_MM = np.arange(0.0, 201.0, 50.0)
LEAO = PanSettings(moisture_model="busscher-leao", reference_theta=0.25)


def codes(issues):
    return {issue.code for issue in issues}


def test_every_model_of_the_settings_is_shipped():
    choices = PanSettings.model_fields["moisture_model"].annotation.__args__
    assert set(read_models()) == set(choices) - {"none"}


def test_at_the_reference_nothing_moves(profiles_of):
    profiles = profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 0.25))
    moved, issues = normalise(profiles.readings, LEAO)
    assert moved["cone_index_kpa"].to_numpy() == pytest.approx(profiles.readings["cone_index_kpa"].to_numpy())
    assert codes(issues) == {"moisture-normalised"}


def test_drier_readings_come_down_and_wetter_ones_go_up(profiles_of):
    moved, _ = normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=[0.20, 0.22, 0.25, 0.3, 0.4]).readings, LEAO)
    value = moved["cone_index_kpa"].to_numpy()[0]
    assert (np.diff(value) > 0).all()
    assert value[0] < 1500.0 < value[-1]


def test_water_outside_the_fitted_range_is_held_at_its_end_and_flagged(profiles_of):
    dry, at_end = (
        normalise(profiles_of(DEPTH_MM, np.full(5, 4000.0), theta=np.full(5, theta)).readings, LEAO)
        for theta in (0.05, 0.19)
    )
    assert dry[0]["cone_index_kpa"].to_numpy() == pytest.approx(at_end[0]["cone_index_kpa"].to_numpy())
    assert "moisture-outside-range" in codes(dry[1])
    assert "moisture-outside-range" not in codes(at_end[1])


def test_a_move_beyond_a_factor_of_two_is_flagged(profiles_of):
    far = PanSettings(moisture_model="busscher-leao", reference_theta=0.40)
    _, issues = normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 0.20)).readings, far)
    assert "moisture-far" in codes(issues)
    _, issues = normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 0.35)).readings, far)
    assert "moisture-far" not in codes(issues)


def test_an_insertion_without_water_at_every_reading_is_left_as_read(profiles_of):
    theta = np.vstack([np.full(5, 0.2), [0.2, 0.2, np.nan, 0.2, 0.2], [0.2, 0.2, 0.0, 0.2, 0.2]])
    profiles = profiles_of(DEPTH_MM, np.full((3, 5), 1500.0), theta=theta)
    moved, issues = normalise(profiles.readings, LEAO)
    value = moved["cone_index_kpa"].to_numpy()
    assert (value[0] < 1500.0).all()
    assert (value[1:] == 1500.0).all()
    assert "moisture-missing" in codes(issues)


def test_the_profiles_given_are_not_changed(profiles_of):
    profiles = profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 0.2))
    normalise(profiles.readings, LEAO)
    assert (profiles.readings["cone_index_kpa"].to_numpy() == 1500.0).all()


def test_without_water_content_the_limits_of_the_reading_are_told(profiles_of):
    _, issues = normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0)).readings, PanSettings())
    assert codes(issues) == {"moisture-unknown"}


def test_a_model_without_water_content_stops_with_the_option(profiles_of):
    with pytest.raises(InputError, match=r"probes\.columns"):
        normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0)).readings, LEAO)


def test_water_content_in_per_cent_is_refused(profiles_of):
    with pytest.raises(InputError, match="fraction"):
        normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 25.0)).readings, LEAO)


@pytest.mark.parametrize(("model", "key"), [("dasilva-kay", "pan.clay_pct"), ("silva", "pan.clay_pct")])
def test_a_pedotransfer_model_asks_for_the_soil_it_needs(profiles_of, model, key):
    settings = PanSettings(moisture_model=model)
    with pytest.raises(SettingsError, match=key):
        normalise(profiles_of(DEPTH_MM, np.full(5, 1500.0), theta=np.full(5, 0.2)).readings, settings)
