"""Without a position the tines come up wherever something may be buried."""

import numpy as np
import pandas as pd
import pytest

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.signal import depth_without_position

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
