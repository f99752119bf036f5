"""Laws of the effort that hold whatever the numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import records
from hardpan.options.mechanics import draft_factors, draft_spread, strength_factor
from hardpan.records.machines import Effort
from hardpan.records.quantity import Quantity
from hardpan.run.catalog import read_catalog
from hardpan.run.config import Config


@pytest.fixture(scope="module")
def effort(tmp_path_factory):
    folder = tmp_path_factory.mktemp("none")
    return read_catalog(Config(paddock={"name": "p", "boundary": folder}, probes={"file": folder})).effort


def ranged(effort: Effort, **spans: tuple[float, float, float]) -> Effort:
    made = {
        name: Quantity(low=low, value=v, high=high, unit="1", source="design") for name, (low, v, high) in spans.items()
    }
    return effort.model_copy(update=made)


SPAN = st.lists(st.floats(0.5, 2.5), min_size=3, max_size=3).map(sorted)
STRENGTH = st.floats(300.0, 9000.0)


@settings(deadline=None, derandomize=True)
@given(
    depth=SPAN,
    strength=st.lists(st.floats(0.0, 1.5), min_size=3, max_size=3).map(sorted),
    kpa=st.lists(STRENGTH, min_size=1, max_size=4),
    anchor=st.tuples(st.floats(200.0, 600.0), STRENGTH),
    n_draws=st.integers(1, 300),
)
def test_the_mean_draft_stays_the_expected_one_and_no_draft_is_negative(effort, n_draws, kpa, anchor, **exponents):
    made = ranged(effort, depth_exponent=exponents["depth"], strength_exponent=exponents["strength"])
    depths = np.array([0.0, 200.0, 350.0, 600.0])
    factor, (anchor_mm, anchor_kpa) = draft_factors(50.0, n_draws), anchor
    draft = records.draft(n_draws, factor=factor, anchor_mm=anchor_mm, anchor_kpa=anchor_kpa)
    drawn = draft_spread(made, depths, np.tile(kpa, (n_draws, 1)), draft)
    assert drawn.shape == (len(kpa), n_draws, depths.size)
    assert (drawn > 0).all()
    assert drawn.mean(axis=1) == pytest.approx(1.0)


@settings(deadline=None, derandomize=True)
@given(weak=STRENGTH, more=st.floats(0.0, 5000.0), anchor=STRENGTH, exponent=st.floats(0.0, 2.0))
def test_a_stronger_pan_never_pulls_easier(effort, weak, more, anchor, exponent):
    first, second = strength_factor(effort, np.array([weak, weak + more]), anchor, exponent)
    assert second >= first


@settings(deadline=None, derandomize=True)
@given(kpa=STRENGTH, exponent=st.floats(0.0, 2.0))
def test_at_the_strength_of_the_anchor_the_equation_stands(effort, kpa, exponent):
    assert strength_factor(effort, np.array([kpa]), kpa, exponent) == 1.0
