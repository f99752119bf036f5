import numpy as np
import pytest

from builders import records
from hardpan.money.draws import Draws
from hardpan.options.mechanics import draft_factors, draft_spread, dry_factor, relative_wear, strength_factor


def moved(catalog, **quantities):
    """The catalog with other values of Effort, each a dictionary of fields of its quantity."""
    effort = catalog.effort
    changed = {name: getattr(effort, name).model_copy(update=fields) for name, fields in quantities.items()}
    return catalog.model_copy(update={"effort": effort.model_copy(update=changed)})


DEPTHS = np.array([0.0, 300.0, 400.0, 550.0])


def spread(catalog, strength_kpa, **known):
    """Draft over expected draft where strength is the same in each draw, at the anchor of the equation unless given."""
    effort = catalog.effort
    equation = {"anchor_mm": effort.anchor_depth.value, "anchor_kpa": effort.reference_strength.value}
    draft = records.draft(200, **equation | known)
    return draft_spread(catalog.effort, DEPTHS, np.tile(np.asarray(strength_kpa, dtype=float), (200, 1)), draft)


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


def test_drawn_exponents_stay_inside_their_range_half_of_them_below_the_value(catalog):
    drawn = Draws(n_draws=200, seed=None).between(
        "depth exponent of draft", np.array([catalog.effort.depth_exponent.ends])
    )[:, 0]
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
    there = spread(catalog, 2500.0, anchor_mm=400.0, anchor_kpa=2500.0)[0].std(axis=0)
    assert there[2] == pytest.approx(0.0, abs=1e-12)
    assert there[1] > 0.01
    assert there[3] > 0.01


def test_draft_factors_keep_the_mean_and_span_the_stated_range():
    factors = draft_factors(50.0, 400)
    assert factors.mean() == pytest.approx(1.0)
    low, high = np.quantile(factors, [0.05, 0.95])
    assert high / low == pytest.approx(1.5**2, rel=0.05)


def test_wear_grows_with_depth_and_with_passes(catalog):
    """Common practice: points wear with the metres of soil they meet, so twice as deep, or twice over, wears twice."""
    effort, plain = catalog.effort, catalog.setups["plain"]
    once = relative_wear(plain, effort, effort.wear_depth.value)
    assert once == pytest.approx(plain.wear_factor.value)
    assert relative_wear(plain, effort, 2.0 * effort.wear_depth.value) == pytest.approx(2.0 * once)
    assert relative_wear(plain, effort, effort.wear_depth.value, passes=2.0) == pytest.approx(2.0 * once)


def test_soil_moist_part_of_the_way_pulls_as_the_depth_law_shares_the_draft(catalog):
    """Moist to 300 of 500 mm: with exponent 2 the lower part carries 1 - 0.6^2 of the draft ."""
    harder = np.sqrt(catalog.effort.dry_strength.value)
    part = dry_factor(catalog.effort, np.array([500.0]), 300.0)[0]
    assert part == pytest.approx(1.0 + (harder - 1.0) * (1.0 - 0.6**2))
