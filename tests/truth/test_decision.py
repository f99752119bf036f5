"""A small part of the truth study of the decision; `python -m truth.decision` gives the whole table."""

import pytest

from truth import decision as study

pytestmark = pytest.mark.slow


def judge(**how):
    """Judge two small paddocks together."""
    recipe = study.Recipe(n_sites=49, side_m=600.0)
    works = [study.work(study.invent(recipe, seed), recipe, study.CONTROLLED, draws=60, **how) for seed in (0, 1)]
    return study.pd.DataFrame([study.judge(one) for one in works]).sum()


@pytest.fixture(scope="module")
def judged():
    return judge()


def test_the_prescription_reaches_92_percent_of_what_perfect_knowledge_of_the_pan_returns(judged):
    assert judged["prescription"] >= 0.92 * judged["perfect"]


def test_the_prescription_beats_the_uniform_depth_that_is_best_in_truth(judged):
    assert judged["prescription"] >= judged["best_uniform"]


def test_the_prescription_beats_the_mapped_bottom_plus_50_mm(judged):
    assert judged["prescription"] >= judged["mean_plus_50"]


def test_zones_and_choice_lose_under_2_percent_where_the_map_is_the_truth():
    judged = judge(map_true=True)
    assert judged["prescription"] >= 0.98 * judged["perfect"]


def test_the_chance_of_a_loss_that_is_told_is_that_on_the_true_pan(judged):
    """Means of two paddocks; over many see tests/README.md."""
    assert judged["loss_predicted"] / 2 == pytest.approx(judged["loss_realised"] / 2, abs=0.1)
