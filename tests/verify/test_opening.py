"""Verdicts from what became of the pan on the line and midway."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from builders.decision import shipped_catalog
from hardpan.records.after import Change, Judged, Mean, Opened, Position, Remedy, VerdictSettings
from hardpan.verify.opening import judge, more_insertions, remedies_of, state_of

LIMITS = VerdictSettings()
LINE, MIDWAY = Position.LINE, Position.MIDWAY


def mean(value, half, *, sites=4, sd=0.1):
    return Mean(value=value, low=value - half, high=value + half, sites=sites, sd=sd)


@pytest.mark.parametrize(
    ("value", "half", "state"),
    [
        (1.0, 0.1, Opened.OPEN),
        (0.0, 0.3, Opened.CLOSED),
        (0.5, 0.2, Opened.HALF),
        (0.8, 0.3, Opened.UNKNOWN),
        (0.5, np.inf, Opened.UNKNOWN),
    ],
)
def test_a_position_has_a_state_only_where_its_interval_leaves_no_doubt(value, half, state):
    assert state_of(mean(value, half), LIMITS) is state


def test_a_position_without_insertions_is_missing():
    assert state_of(None, LIMITS) is Opened.MISSING


@pytest.mark.parametrize("line", Opened)
def test_insertions_on_the_line_alone_never_show_a_broken_pan(line):
    assert judge({LINE: line})[0] is not Judged.BROKEN
    assert judge({LINE: line, MIDWAY: Opened.MISSING})[0] is not Judged.BROKEN


@pytest.mark.parametrize(("line", "midway"), [*product(Opened, Opened)])
def test_broken_needs_line_and_midway_open_and_not_reached_needs_the_line_closed(line, midway):
    verdict, change = judge({LINE: line, MIDWAY: midway})
    assert (verdict is Judged.BROKEN) == (line is midway is Opened.OPEN)
    assert (change is Change.KEEP) == (verdict is Judged.BROKEN)
    if verdict is Judged.NOT_REACHED:
        assert line is Opened.CLOSED
    if line is Opened.UNKNOWN:
        assert verdict is Judged.CANNOT_TELL


def test_a_ridge_between_open_lines_is_told_as_one():
    assert judge({LINE: Opened.OPEN, MIDWAY: Opened.CLOSED}) == (Judged.PARTLY, Change.RIDGE)


def test_more_insertions_are_asked_for_where_they_would_tell():
    open_line = {LINE: mean(1.0, 0.1), MIDWAY: mean(0.7, 0.3, sd=0.25)}
    assert 2 <= more_insertions(open_line, LIMITS) <= 22
    assert more_insertions({LINE: mean(1.0, 0.1), MIDWAY: mean(1.0, 0.1)}, LIMITS) == 0


@pytest.mark.parametrize(
    ("setup", "spacing_mm", "expected"),
    [
        ("plain", 600.0, (Remedy.CLOSER, Remedy.WINGS, Remedy.LEADING)),
        ("winged", 600.0, (Remedy.CLOSER, Remedy.LEADING)),
        ("leading", 600.0, (Remedy.CLOSER,)),
        ("leading", 200.0, ()),
    ],
)
def test_what_is_fitted_already_is_no_remedy(setup, spacing_mm, expected):
    zone = pd.Series({"setup": setup, "spacing_mm": spacing_mm, "foot_mm": 250.0})
    assert remedies_of(zone, shipped_catalog().setups) == expected


def test_a_ripper_without_wings_is_not_told_to_fit_them():
    zone = pd.Series({"setup": "plain", "spacing_mm": 900.0, "foot_mm": 80.0})
    only = {name: one for name, one in shipped_catalog().setups.items() if name == "plain"}
    assert remedies_of(zone, only) == (Remedy.CLOSER,)
