from dataclasses import replace

import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.options.calibration import (
    calibrate,
    draft_factors,
    draft_spread,
    equation_anchor,
    span_draws,
    strength_factor,
)
from hardpan.options.effort import Puller
from hardpan.options.settings import MachineSettings


def puller(catalog, depth_mm, setup="plain"):
    setups = (catalog.setups[setup],)
    return Puller(catalog=catalog, texture="coarse", setups=setups, depth_mm=np.array([depth_mm]))


def moved(catalog, **quantities):
    """The catalog with other values of Effort, each a dictionary of fields of its quantity."""
    effort = catalog.effort
    changed = {name: getattr(effort, name).model_copy(update=fields) for name, fields in quantities.items()}
    return catalog.model_copy(update={"effort": effort.model_copy(update=changed)})


DEPTHS = np.array([0.0, 300.0, 400.0, 550.0])


def spread(catalog, strength_kpa, n_draws=200, factor=None, anchor=None):
    draws = np.broadcast_to(np.asarray(strength_kpa, dtype=float), (n_draws, np.size(strength_kpa)))
    factor = np.ones(n_draws) if factor is None else factor
    return draft_spread(catalog.effort, DEPTHS, draws, anchor or equation_anchor(catalog.effort), factor)


def test_at_the_anchor_the_exponents_leave_draft_alone(catalog):
    anchored = spread(catalog, 3500.0)[0]
    assert anchored[:, :2] == pytest.approx(1.0)
    assert (np.ptp(anchored[:, 2:], axis=0) > 0.1).all()


def test_the_further_from_the_anchor_the_less_is_known_of_draft(catalog):
    sd = spread(catalog, 3500.0)[0].std(axis=0)
    assert sd[1] < sd[2] < sd[3]
    assert spread(catalog, 5000.0)[0][:, 1].std() > sd[1]


def test_the_mean_draft_is_the_expected_one_at_every_depth_and_strength(catalog):
    drawn = spread(catalog, [2000.0, 3500.0, 5000.0], factor=draft_factors(50.0, 200))
    assert drawn.mean(axis=1) == pytest.approx(1.0)


def test_exponents_without_range_leave_only_the_range_of_the_equation(catalog):
    sure = moved(catalog, depth_exponent={"low": 2.0, "high": 2.0}, strength_exponent={"low": 0.5, "high": 0.5})
    factor = draft_factors(50.0, 200)
    assert spread(sure, 5000.0, factor=factor)[0] == pytest.approx(np.repeat(factor[:, None], DEPTHS.size, axis=1))


def test_what_is_drawn_of_draft_is_unrelated(catalog):
    effort = catalog.effort
    drawn = [
        draft_factors(50.0, 200),
        span_draws(effort.depth_exponent, 200, np.sqrt(3.0)),
        span_draws(effort.strength_exponent, 200, np.sqrt(7.0)),
    ]
    assert np.abs(np.corrcoef(drawn) - np.eye(3)).max() < 0.1


def test_drawn_exponents_stay_inside_their_range_half_of_them_below_the_value(catalog):
    drawn = span_draws(catalog.effort.depth_exponent, 200, np.sqrt(3.0))
    low, high = catalog.effort.depth_exponent.span
    assert low <= drawn.min() < low + 0.05
    assert high - 0.05 < drawn.max() <= high
    assert np.median(drawn) == pytest.approx(catalog.effort.depth_exponent.value, abs=0.02)


def test_a_stronger_pan_never_pulls_easier_and_never_passes_the_bound(catalog):
    kpa = np.linspace(200.0, 30_000.0, 100)
    for exponent in (0.0, 0.5, 1.0):
        factors = strength_factor(catalog.effort, kpa, 3500.0, exponent)
        assert (np.diff(factors) >= 0).all()
        assert (factors >= 0.5).all()
        assert (factors <= 2.0).all()


def test_strength_not_known_and_an_exponent_of_zero_leave_the_equation(catalog):
    assert strength_factor(catalog.effort, np.array([np.nan]), 3500.0, 0.5) == 1.0
    assert strength_factor(catalog.effort, np.array([1000.0, 9000.0]), 3500.0, 0.0) == pytest.approx(1.0)


def test_after_a_measured_pass_draft_is_known_best_at_its_depth_and_strength(catalog):
    there = spread(catalog, 2500.0, anchor=(400.0, 2500.0))[0].std(axis=0)
    assert there[2] == pytest.approx(0.0, abs=1e-12)
    assert there[1] > 0.01
    assert there[3] > 0.01


def test_the_strength_of_the_measured_pass_is_the_stated_one_else_that_of_the_ground(catalog):
    pass_ = {"observed_fuel_l_per_ha": 30.0, "observed_depth_mm": 450.0, "observed_speed_kmh": 6.0}
    _, stated, _ = calibrate(catalog, "coarse", MachineSettings(**pass_, observed_strength_kpa=2800.0), 4000.0)
    _, assumed, (issue,) = calibrate(catalog, "coarse", MachineSettings(**pass_), 4000.0)
    assert stated == (450.0, 2800.0)
    assert assumed == (450.0, 4000.0)
    assert "4000 kPa (assumed)" in issue.what


def test_draft_factors_keep_the_mean_and_span_the_stated_range():
    factors = draft_factors(50.0, 400)
    assert factors.mean() == pytest.approx(1.0)
    low, high = np.quantile(factors, [0.05, 0.95])
    assert high / low == pytest.approx(1.5**2, rel=0.05)


def test_a_measured_pass_is_met_exactly(catalog):
    machine = MachineSettings(
        observed_fuel_l_per_ha=30.0, observed_depth_mm=480.0, observed_speed_kmh=6.0, setup="winged"
    )
    factor, _, issues = calibrate(catalog, "coarse", machine)
    ask = puller(catalog, 480.0, setup="winged")
    again = replace(ask, factor=factor).pull_at(6.0)
    assert again.pull_l_per_ha[0] + again.idle_l_per_ha[0] == pytest.approx(30.0)
    assert issues[0].code == "draft-calibrated"


def test_a_measured_pass_far_from_the_equation_is_said_to_be(catalog):
    machine = MachineSettings(observed_fuel_l_per_ha=150.0, observed_depth_mm=300.0, observed_speed_kmh=6.0)
    assert "outside its stated range" in calibrate(catalog, "coarse", machine)[2][0].done


def test_a_measured_slip_moves_the_draft_in_proportion(catalog):
    machine = MachineSettings(observed_slip=0.06, observed_depth_mm=450.0, observed_speed_kmh=6.0)
    expected = puller(catalog, 450.0).pull_at(6.0).slip[0]
    factor, _, issues = calibrate(catalog, "coarse", machine)
    assert factor == pytest.approx(0.06 / expected)
    assert (
        issues[0].what
        == "slip of 6% measured at 450 mm and 6 km/h with plain tines, through a pan of 3500 kPa (assumed)"
    )


def test_a_measured_pass_without_depth_or_speed_says_what_was_assumed(catalog):
    (issue,) = calibrate(catalog, "coarse", MachineSettings(observed_fuel_l_per_ha=30.0))[2]
    assert "500 mm (assumed)" in issue.what
    assert "km/h (assumed)" in issue.what
    assert "kPa (assumed)" in issue.what


def test_fuel_and_slip_together_are_refused(catalog):
    with pytest.raises(SettingsError, match="both given"):
        calibrate(catalog, "coarse", MachineSettings(observed_fuel_l_per_ha=30.0, observed_slip=0.05))


def test_fuel_below_idling_is_refused(catalog):
    with pytest.raises(SettingsError, match="idling"):
        calibrate(catalog, "coarse", MachineSettings(observed_fuel_l_per_ha=3.0, observed_speed_kmh=6.0))
