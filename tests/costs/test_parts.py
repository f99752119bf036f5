"""The part of money that paddocks share."""

import numpy as np
import pytest

from hardpan.costs.parts import follow

N = 400
RNG = np.random.default_rng(3)
PRICE, OWN = RNG.standard_normal((2, N))


def test_the_parts_add_up_and_only_what_follows_the_input_is_shared():
    money = 50.0 + 4.0 * PRICE + 3.0 * OWN
    shared = follow(money, PRICE[:, np.newaxis])
    assert np.corrcoef(shared, PRICE)[0, 1] == pytest.approx(1.0)
    assert shared.std() == pytest.approx(4.0, rel=0.1)
    assert (money - shared).mean() == pytest.approx(0.0, abs=1e-9)


def test_inputs_that_do_not_vary_or_repeat_others_change_nothing():
    money = 4.0 * PRICE + OWN
    alone = follow(money, PRICE[:, np.newaxis])
    more = follow(money, np.column_stack([PRICE, np.full(N, 7.0), 2.0 * PRICE]))
    assert more == pytest.approx(alone, abs=1e-6)


def test_too_few_draws_tell_nothing_apart_so_all_counts_as_shared():
    money = OWN[:12]
    assert np.array_equal(follow(money, RNG.standard_normal((12, 3))), money)


def test_without_any_input_the_mean_alone_is_shared():
    assert follow(OWN, np.empty((N, 0))) == pytest.approx(np.full(N, OWN.mean()))
