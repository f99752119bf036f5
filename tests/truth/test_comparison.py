"""A small part of the study of comparisons; `python -m truth.comparison` gives the whole table."""

import pytest

from truth import comparison


@pytest.mark.slow
def test_the_difference_of_two_maps_lies_in_its_interval_about_as_often_as_it_should():
    """Two paddocks of each kind. Of twenty 0.9 of the cells hold it; as if nothing were shared, all do."""
    found = comparison.study(range(2))
    assert 0.8 <= found["together_holds"].mean() <= 0.97
    assert found["apart_holds"].mean() > 0.99
    assert found["together_mean_holds"].mean() >= 0.5
    assert (found["correlation"] > 0.5).all()
