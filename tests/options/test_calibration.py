from dataclasses import replace

import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.options.calibration import calibrate
from hardpan.options.effort import Puller
from hardpan.records.decision import MachineSettings


def calibrated(catalog, machine, strength_kpa=np.nan):
    return calibrate(catalog, "coarse", machine, strength_kpa, n_draws=10)


def puller(catalog, depth_mm, setup="plain"):
    setups = (catalog.setups[setup],)
    return Puller(catalog=catalog, texture="coarse", setups=setups, depth_mm=np.array([depth_mm]))


def test_the_strength_of_the_measured_pass_is_the_stated_one_else_that_of_the_ground(catalog):
    pass_ = {"observed_fuel_l_per_ha": 30.0, "observed_depth_mm": 450.0, "observed_speed_kmh": 6.0}
    stated, _ = calibrated(catalog, MachineSettings(**pass_, observed_strength_kpa=2800.0), 4000.0)
    assumed, (issue,) = calibrated(catalog, MachineSettings(**pass_), 4000.0)
    assert (stated.anchor_mm, stated.anchor_kpa) == (450.0, 2800.0)
    assert (assumed.anchor_mm, assumed.anchor_kpa) == (450.0, 4000.0)
    assert "4000 kPa (assumed)" in issue.what


def test_a_measured_pass_is_met_exactly(catalog):
    machine = MachineSettings(
        observed_fuel_l_per_ha=30.0, observed_depth_mm=480.0, observed_speed_kmh=6.0, setup="winged"
    )
    draft, issues = calibrated(catalog, machine)
    ask = puller(catalog, 480.0, setup="winged")
    again = replace(ask, factor=draft.calibration).pull_at(6.0)
    assert again.pull_l_per_ha[0] + again.idle_l_per_ha[0] == pytest.approx(30.0)
    assert issues[0].code == "draft-calibrated"


def test_a_measured_pass_far_from_the_equation_is_said_to_be(catalog):
    machine = MachineSettings(observed_fuel_l_per_ha=150.0, observed_depth_mm=300.0, observed_speed_kmh=6.0)
    assert "outside its stated range" in calibrated(catalog, machine)[1][0].done


def test_a_measured_slip_moves_the_draft_in_proportion(catalog):
    machine = MachineSettings(observed_slip=0.06, observed_depth_mm=450.0, observed_speed_kmh=6.0)
    expected = puller(catalog, 450.0).pull_at(6.0).slip[0]
    draft, issues = calibrated(catalog, machine)
    assert draft.calibration == pytest.approx(0.06 / expected)
    assert (
        issues[0].what
        == "slip of 6 % measured at 450 mm and 6 km/h with plain tines, through a pan of 3500 kPa (assumed)"
    )


def test_a_measured_pass_without_depth_or_speed_says_what_was_assumed(catalog):
    (issue,) = calibrated(catalog, MachineSettings(observed_fuel_l_per_ha=30.0))[1]
    assert "500 mm (assumed)" in issue.what
    assert "km/h (assumed)" in issue.what
    assert "kPa (assumed)" in issue.what


def test_fuel_and_slip_together_are_refused(catalog):
    with pytest.raises(SettingsError, match="both given"):
        calibrated(catalog, MachineSettings(observed_fuel_l_per_ha=30.0, observed_slip=0.05))


def test_fuel_below_idling_is_refused(catalog):
    with pytest.raises(SettingsError, match="idling"):
        calibrated(catalog, MachineSettings(observed_fuel_l_per_ha=3.0, observed_speed_kmh=6.0))
