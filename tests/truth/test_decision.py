"""A small part of the truth study of the decision; `python tests/truth/decision.py` gives the whole table."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def judged():
    spec = importlib.util.spec_from_file_location("truth_decision", Path(__file__).with_name("decision.py"))
    study = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(study)
    recipe = study.Recipe(n_sites=49, side_m=600.0)
    paddocks = [
        study.judge(study.work(study.invent(recipe, seed), recipe, study.CONTROLLED, draws=60)) for seed in (0, 1)
    ]
    return {name: sum(paddock[name] for paddock in paddocks) for name in paddocks[0]}


def test_the_prescription_reaches_92_percent_of_what_perfect_knowledge_of_the_pan_returns(judged):
    assert judged["prescription"] >= 0.92 * judged["perfect"]


def test_the_prescription_beats_the_uniform_depth_that_is_best_in_truth(judged):
    assert judged["prescription"] >= judged["best_uniform"]


def test_the_prescription_beats_the_mapped_bottom_plus_50_mm(judged):
    assert judged["prescription"] >= judged["mean_plus_50"]
