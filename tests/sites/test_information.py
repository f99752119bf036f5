"""The value of information against published and closed forms."""

import numpy as np
import pytest
from scipy.stats import norm

from hardpan.options import Stakes
from hardpan.sites.information import FALLS, answers_worth, value_information


def linear(mean, sd, *, n_draws=2000, chance=1.0, seed=None):
    """Two choices: nothing, or a net benefit that is normal and follows the depth of the pan."""
    at = norm.ppf((np.arange(n_draws) + 0.5) / n_draws)
    if seed is not None:
        at = np.random.default_rng(seed).standard_normal(n_draws)
    present = (np.arange(n_draws) % 100 < 100 * chance).astype(float)
    gain = np.stack([np.zeros(n_draws), (1000.0 + mean + sd * at) * present], axis=1)
    return Stakes(
        gain=gain[None], cost=np.array([[0.0, 1000.0]]), bottom_mm=300.0 + 50.0 * at[None], present=present[None]
    )


def value(stakes, bottom, pan=0.0):
    return float(value_information(stakes).at(np.array([bottom]), np.array([pan]))[0])


def unit_normal_loss(u):
    return norm.pdf(u) - u * norm.sf(u)


def test_perfect_and_sample_information_of_the_oil_example_of_hillier_and_lieberman():
    """Drill 700 or -100, sell 90; oil 0.25; a survey that is right in 0.6 and 0.8: EVPI 142.5, EVSI 53.

    Numbers of the textbook's first oil example as cited in a public exercise (read at second hand), recomputed.
    """
    perfect = answers_worth(np.array([[700.0, 90.0], [-100.0, 90.0]]), np.array([0.25, 0.75]))
    assert perfect == pytest.approx(142.5, abs=1e-9)
    for_oil = np.array([0.25 * 0.6 / 0.3, 0.25 * 0.4 / 0.7])
    drill = 800.0 * for_oil - 100.0
    sample = answers_worth(np.column_stack([drill, [90.0, 90.0]]), np.array([0.3, 0.7]))
    assert sample == pytest.approx(53.0, abs=1e-9)


@pytest.mark.parametrize("mean", [0.0, 10.0, -30.0, 80.0])
@pytest.mark.parametrize("fall", FALLS[1:-1])
def test_two_choices_with_a_normal_benefit_have_the_value_of_the_closed_form(mean, fall):
    """s L(|m| / s), s the preposterior standard deviation; tolerance: 1.5 % of the spread, from 31 answers."""
    s = 40.0 * np.sqrt(fall)
    assert value(linear(mean, 40.0), fall) == pytest.approx(s * unit_normal_loss(abs(mean) / s), abs=0.015 * 40 / 4)


@pytest.mark.parametrize(("probes", "says"), [(1, 6.982), (3, 9.392), (10, 10.735)])
def test_further_probes_bring_less_each_as_computed_by_hand(probes, says):
    """m 10, s0 40, standard error of a probe 40: 6.982, 9.392, 10.735 (from the tables of the unit normal loss)."""
    fall = 40.0**2 / (40.0**2 + 40.0**2 / probes)
    assert value(linear(10.0, 40.0), fall) == pytest.approx(says, rel=0.012)


@pytest.mark.parametrize("seed", range(5))
def test_an_answer_that_tells_nothing_is_worth_nothing_however_few_the_draws(seed):
    assert value(linear(0.0, 40.0, n_draws=60, seed=seed), 0.0) == 0.0


def test_values_rise_with_what_is_known_and_none_passes_perfect_knowledge():
    values = value_information(linear(10.0, 40.0, chance=0.6))
    table = values.table[0]
    assert (np.diff(table, axis=0) >= -1e-9).all()
    assert (np.diff(table, axis=1) >= -1e-9).all()
    assert table.max() == values.perfect
    best = np.maximum(linear(10.0, 40.0, chance=0.6).gain[0, :, 1] - 1000.0, 0.0).mean()
    assert values.perfect <= best + 1.0


def test_far_from_the_threshold_a_wide_doubt_is_worth_nothing():
    assert value(linear(400.0, 40.0), 0.9) < 1e-3


def test_whether_there_is_a_pan_is_a_question_of_its_own():
    """A pan in half the draws, worth 1,400 where there is one, at a cost of 1,000: to know is worth 0.5 x 400."""
    stakes = linear(400.0, 0.0, chance=0.5)
    assert value(stakes, 0.9, 0.0) == pytest.approx(0.0, abs=1e-6)
    assert value(stakes, 0.0, 0.99) == pytest.approx(200.0, rel=0.12)


def test_an_option_that_is_forbidden_is_no_question():
    stakes = linear(0.0, 40.0)
    shut = Stakes(gain=stakes.gain, cost=np.array([[0.0, np.inf]]), bottom_mm=stakes.bottom_mm, present=stakes.present)
    assert value(shut, 0.9, 0.9) == 0.0
