"""Without a position the tines come up wherever something may be buried, and the driver is told."""

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.people import People
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.signal import depth_without_position, says_without_position

ZONES = pd.DataFrame({"depth_mm": [450, 300, 0]})
SETTINGS = OutputSettings()


def exclusions(*kinds: object) -> pd.DataFrame:
    return pd.DataFrame({"kind": pd.Series(kinds, dtype=object)})


@pytest.mark.parametrize(
    "kinds",
    [("buried service",), ("gas",), ("",), (None,), (np.nan,), ("rock", "drain"), ("rocky pipe",), ("tree root",)],
)
def test_an_exclusion_that_is_not_known_to_be_seen_counts_as_buried(kinds):
    assert depth_without_position(ZONES, exclusions(*kinds), SETTINGS) == 0


@pytest.mark.parametrize("kinds", [(), ("rock",), (" Rock Outcrop ", "TREE"), ("building", "waterway", "track")])
def test_with_nothing_buried_it_is_the_shallowest_planned_depth(kinds):
    assert depth_without_position(ZONES, exclusions(*kinds), SETTINGS) == 300


def test_what_is_seen_is_a_setting():
    ours = OutputSettings(visible_kinds=("Hay stack",))
    assert depth_without_position(ZONES, exclusions("hay stack"), ours) == 300
    assert depth_without_position(ZONES, exclusions("rock"), ours) == 0


def test_with_nothing_to_rip_the_tines_stay_up():
    assert depth_without_position(ZONES.assign(depth_mm=0), exclusions(), SETTINGS) == 0


def test_the_driver_is_told_what_the_machine_will_do():
    people = People.of(SETTINGS, "AUD")
    assert "lift the tines, as services may be buried near. Stop" in says_without_position(
        ZONES, exclusions(""), SETTINGS, people
    )
    assert f"go to {people.depth(300)}, the shallowest depth of the plan. Stop" in says_without_position(
        ZONES, exclusions("rock"), SETTINGS, people
    )
    assert "lift the tines. Stop" in says_without_position(ZONES.assign(depth_mm=0), exclusions(), SETTINGS, people)
    without = OutputSettings(formats=("shapefile", "job-card"))
    assert "lift the tines and stop" in says_without_position(ZONES, exclusions("rock"), without, people)
