import numpy as np
import pytest

from hardpan.prescription.reasons import turning_bottom_mm


def test_the_turning_bottom_parts_the_draws_in_which_the_runner_up_wins():
    bottom = np.arange(300.0, 500.0)
    assert turning_bottom_mm(bottom, bottom > 419.0, deeper=True) == pytest.approx(419.5, abs=1)
    assert turning_bottom_mm(bottom, bottom < 380.0, deeper=False) == pytest.approx(379.5, abs=1)


def test_no_bottom_parts_draws_that_money_decides():
    rng = np.random.default_rng(0)
    assert turning_bottom_mm(rng.uniform(300, 500, 300), rng.uniform(size=300) < 0.2, deeper=True) is None
