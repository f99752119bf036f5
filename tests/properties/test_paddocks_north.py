"""Whole paddocks on or north of the equator that nobody chose: all files read back, or one earned line."""

import pytest

from whole.trial import seeds, take_seed


@pytest.mark.parametrize("seed", seeds(south=False))
def test_a_paddock_ends_in_files_that_agree_or_in_a_line_that_its_recipe_has_earned(seed, tmp_path):
    assert take_seed(seed, tmp_path, small=True).faults == ()
