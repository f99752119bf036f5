import numpy as np
import pytest
from scipy.special import betaincinv

from hardpan.money.draws import FIXED_STEPS, Draws, beta_at, log_normal_factors
from hardpan.records.quantity import Quantity

PRICE = Quantity(value=2.0, low=1.0, high=4.0, unit="money", source="design")


def test_what_is_drawn_at_fixed_levels_is_unrelated():
    drawn = [Draws(n_draws=200, seed=None).levels(name) for name in FIXED_STEPS]
    assert np.abs(np.corrcoef(drawn) - np.eye(len(drawn))).max() < 0.1


def test_the_few_sections_that_are_drawn_are_nearly_unrelated():
    names = ("foot width", "side angle", "critical ratio", "leading depth share", "saturation", "dry loosening")
    drawn = [Draws(n_draws=12, seed=None).levels(name) for name in names]
    assert np.abs(np.corrcoef(drawn) - np.eye(len(drawn))).max() < 0.2
    assert np.mean(drawn, axis=1) == pytest.approx(np.full(len(names), 0.5))


@pytest.mark.parametrize("seed", [None, 0, 7])
def test_each_draw_has_one_of_as_many_equal_slices_with_a_seed_and_without(seed):
    for name in FIXED_STEPS:
        at = np.sort(Draws(n_draws=40, seed=seed).levels(name))
        assert at == pytest.approx((np.arange(40) + 0.5) / 40)


def test_a_stated_range_has_one_distribution_whatever_it_is_drawn_for():
    with_seed, without = (np.sort(Draws(n_draws=50, seed=seed)("foot width", PRICE)) for seed in (3, None))
    assert with_seed == pytest.approx(without)


def test_one_name_always_gives_the_same_draws_and_two_names_unrelated_ones():
    drawn = Draws(n_draws=400, seed=1)
    assert (drawn("fuel", PRICE) == drawn("fuel", PRICE)).all()
    assert abs(np.corrcoef(drawn("fuel", PRICE), drawn("grain", PRICE))[0, 1]) < 0.15


def test_a_part_in_common_correlates_draws_by_its_share():
    """The share of the variance two quantities have in common is their correlation."""
    drawn = Draws(n_draws=4000, seed=1)
    one, other = (drawn.partly_common(name, PRICE, common="season", share=0.6) for name in ("sand", "loam"))
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(0.6, abs=0.05)


def test_draws_keep_the_mean_that_the_source_states_and_stay_in_its_range():
    """Cut ends move the mean of the beta by less than a hundredth of the range."""
    values = beta_at(PRICE, (np.arange(1000) + 0.5) / 1000)
    assert values.mean() == pytest.approx(PRICE.value, abs=0.03)
    assert values.min() >= PRICE.span[0]
    assert values.max() <= PRICE.span[1]


def test_half_of_the_draws_between_ends_of_their_own_lie_below_the_value():
    values = Draws(n_draws=1000, seed=None).between("draft", np.array([PRICE.ends]))[:, 0]
    assert (values < PRICE.value).mean() == pytest.approx(0.5, abs=0.01)
    assert values.min() == pytest.approx(1.0, abs=0.01)
    assert values.max() == pytest.approx(4.0, abs=0.01)


def test_a_log_normal_spreads_as_far_up_as_down():
    factors = log_normal_factors(50.0, (np.arange(1000) + 0.5) / 1000)
    low, middle, high = np.quantile(factors, [0.05, 0.5, 0.95])
    assert high / middle == pytest.approx(1.5, rel=0.01)
    assert middle / low == pytest.approx(1.5, rel=0.01)


def test_many_draws_are_those_that_solving_for_each_gives():
    levels = (np.random.default_rng(3).permutation(30_000) + 0.5) / 30_000
    for value in (0.2, 1.0, 2.9):
        quantity = Quantity(value=value, low=0.0, high=3.0, unit="t/ha", source="user")
        a = 6.0 * value / 3.0
        assert beta_at(quantity, levels) == pytest.approx(3.0 * betaincinv(a, 6.0 - a, levels), abs=3.0 * 2.5e-5)
