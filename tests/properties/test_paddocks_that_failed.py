"""Paddocks that once ended badly, each kept under what was wrong with it."""

import pytest

from whole.build import build
from whole.recipe import MISSING, plain, without
from whole.trial import take

CASES = {
    "a hole wound like its shell was added to the area": {"holes": 2, "clockwise": (False, False)},
    "parts wound the other way than the standard": {"parts": 3, "holes": 1, "clockwise": (True, True)},
    "the square of kgf/cm2 was read as a depth of 2 cm": {"resistance_unit": "kgf/cm2", "layout": "long"},
}


@pytest.mark.parametrize("changes", CASES.values(), ids=CASES)
def test_a_paddock_that_once_failed_ends_well(changes, tmp_path):
    assert take(build(plain(**changes), tmp_path / "given"), tmp_path / "result").faults == ()


@pytest.mark.parametrize("thing", MISSING)
def test_a_paddock_with_one_thing_missing_ends_well(thing, tmp_path):
    recipe = without(plain(exclusions=("line", "area"), cores=4, moisture=True, covariates=1), thing)
    assert take(build(recipe, tmp_path / "given"), tmp_path / "result").faults == ()
