"""Verdicts on simulated passes: a pan that is known, a pass that is known, soil that has dried or been wetted since."""

from dataclasses import replace

import numpy as np
import pytest

from builders.after import TRUTHS, Pass, simulate
from hardpan.core.errors import InputError
from hardpan.records.after import Change, Judged, Position, VerdictSettings
from hardpan.verify.stage import verify_pass

LIMITS = VerdictSettings()
FACTORS = (0.63, 0.8, 1.0, 1.25, 1.6)


def zone(seed, **about):
    return verify_pass(*simulate(seed, Pass(**about)), LIMITS).zones[0]


@pytest.mark.slow
@pytest.mark.parametrize("truth", TRUTHS)
def test_few_verdicts_are_wrong_whatever_the_moisture(truth):
    found = [zone(seed, truth=truth, moisture=FACTORS[seed % 5]).verdict for seed in range(20)]
    wrong = [one for one in found if one not in {TRUTHS[truth], Judged.CANNOT_TELL}]
    assert len(wrong) <= 1
    assert found.count(TRUTHS[truth]) >= 14


def test_an_unbroken_ridge_is_found_with_four_pairs():
    found = [zone(seed, truth="ridges", moisture=FACTORS[seed % 5]) for seed in range(20)]
    assert sum(one.verdict is Judged.PARTLY and one.change is Change.RIDGE for one in found) >= 19


@pytest.mark.parametrize("truth", TRUTHS)
def test_insertions_on_the_line_alone_never_give_broken(truth):
    for seed in range(5):
        found = zone(seed, truth=truth, positions=(Position.LINE,))
        assert found.verdict is not Judged.BROKEN
        if truth == "as planned":
            assert found.change is Change.MIDWAY


def test_without_controls_and_with_unknown_moisture_nobody_can_tell():
    found = zone(1, truth="as planned", controls=0)
    assert (found.verdict, found.change) == (Judged.CANNOT_TELL, Change.CONTROLS)


def test_without_controls_unlike_moisture_is_waited_for():
    found = zone(1, truth="as planned", controls=0, theta=(0.15, 0.20), moisture=0.63)
    assert (found.verdict, found.change) == (Judged.CANNOT_TELL, Change.MOISTURE)


def test_without_controls_like_moisture_is_enough():
    assert zone(1, truth="as planned", controls=0, theta=(0.15, 0.16)).verdict is Judged.BROKEN
    assert zone(1, truth="nothing", controls=0, theta=(0.15, 0.16)).verdict is Judged.NOT_REACHED


def test_wet_soil_that_reads_soft_is_not_taken_for_loosened():
    assert zone(3, truth="nothing", moisture=0.55).verdict is not Judged.BROKEN


def test_the_order_of_insertions_changes_nothing():
    earlier, again = simulate(4, Pass(truth="too shallow"))
    order = np.random.default_rng(1).permutation(again.profiles.n_insertions)
    profiles = type(again.profiles)(readings=again.profiles.readings.isel(insertion=order), depth_limit_mm=700.0)
    marks = tuple(again.marks[at] for at in order)
    turned = replace(again, profiles=profiles, marks=marks)
    first, second = (verify_pass(earlier, one, LIMITS).zones[0] for one in (again, turned))
    assert first.verdict is second.verdict
    assert first.across.value == pytest.approx(second.across.value)


def test_the_depth_reached_is_the_one_that_was_loosened():
    found = [zone(seed, truth="too shallow").reached[Position.LINE].value for seed in range(10)]
    assert np.mean(found) == pytest.approx(330.0, abs=15.0)


def test_insertions_without_a_position_are_told_and_left_out():
    earlier, again = simulate(1, Pass(truth="as planned"))
    some, none = ("nowhere", *again.marks[1:]), ("nowhere",) * len(again.marks)
    found = verify_pass(earlier, replace(again, marks=some), LIMITS)
    assert [issue.code for issue in found.issues] == ["no-position"]
    assert found.issues[0].what == "1 insertions say no position that is known, but nowhere"
    with pytest.raises(InputError, match="position"):
        verify_pass(earlier, replace(again, marks=none), LIMITS)


def test_a_ridge_that_the_plan_left_is_told_as_planned():
    earlier, again = simulate(2, Pass(truth="ridges"))
    # ridges of 270 mm: loose to 230 mm midway, where the pan begins
    earlier = replace(earlier, zones=earlier.zones.assign(foot_mm=60.0, spacing_mm=600.0))
    found = verify_pass(earlier, again, LIMITS).zones[0]
    assert (found.verdict, found.change) == (Judged.PARTLY, Change.PLANNED_RIDGE)
