"""Own or hire, held against the worked example of a textbook."""

import numpy as np
import pytest

from hardpan.machines.stage import break_even_use


def test_the_break_even_use_is_that_of_the_textbook():
    """Field and Solie, chapter 10: against a custom rate of 21 $ an acre, 58.8 acres a year ("about 60")."""
    assert float(break_even_use(1000.0, 21.0 - 4.0)) == pytest.approx(58.8, abs=0.05)


def test_at_the_break_even_use_owning_and_hiring_cost_the_same():
    use = float(break_even_use(1000.0, 17.0))
    assert 1000.0 + 4.0 * use == pytest.approx(21.0 * use)


def test_a_machine_that_saves_nothing_never_breaks_even():
    assert np.isinf(break_even_use(1000.0, np.array([0.0, -3.0]))).all()
