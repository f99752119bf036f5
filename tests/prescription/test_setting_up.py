import pytest

from hardpan.prescription.setting_up import ballast_figures, last_ripping
from hardpan.records.advice import Topic
from hardpan.records.decision import HistorySettings

SOILS = ("deep sand", "sand over clay")


def test_the_last_ripping_is_told():
    (issue,) = last_ripping(HistorySettings(last_ripped=2019, last_depth_mm=350.0))
    assert "ripped to 350 mm in 2019" in issue.what
    assert "follow the pan that was probed since" in issue.done


def test_ground_never_ripped_needs_no_word():
    assert last_ripping(HistorySettings()) == ()


def test_a_tractor_far_too_light_is_said_to_be(made):
    light = made.shipped_catalog(machine={"tractor": {"like": "articulated-400kw", "mass": 12000}})
    found = ballast_figures(light)
    assert found["mass_kg"] / found["pto_hp"] < found["low"]
    _, decided = made.decide(made.ground(), light, made.rates(["deep sand"]))
    (issue,) = (issue for issue in decided.issues if issue.code == "ballast")
    assert "below the usual" in issue.what


def test_the_ridge_to_dig_for_is_the_one_the_decision_counted_on(made, catalog):
    options, plan = made.decide(made.ground(), catalog, made.rates(["deep sand"], worth=600.0))
    steps = [step for step in plan.setting_up if step.topic is Topic.DIG]
    assert steps
    for step in steps:
        ridge_mm = options.table.loc[options.table["setup"] == step.setup, "ridge_mm"].iloc[0]
        assert step.figures["ridge_mm"] == pytest.approx(ridge_mm, abs=5.0)  # told to 10 mm


def test_tines_that_come_off_are_told_once_for_the_whole_paddock(made):
    weak = made.shipped_catalog(machine={"tractor": {"like": "tracked-370kw", "engine_power": 150}})
    paddock = made.ground(soils=SOILS, bottom_mm=(560.0, 330.0), top_mm=(300.0, 200.0))
    options, plan = made.decide(paddock, weak, made.rates(SOILS, worth=(1200.0, 500.0)))
    (step,) = (step for step in plan.setting_up if step.topic is Topic.TINES)
    assert step.figures == {"tines": options.tines, "all_tines": 7}
    topic, advice = made.words(weak).ground.step(step)
    assert (topic, advice) == (
        "tines",
        f"Work every zone with {options.tines} of the 7 tines: take the outer ones off on both sides, so that the pull "
        "stays straight.",
    )
