"""Without a position the tines come up wherever something may be buried."""

import pandas as pd

from hardpan.outputs.signal import depth_without_position

ZONES = pd.DataFrame({"depth_mm": [450, 300, 0]})


def exclusions(*buried: bool) -> pd.DataFrame:
    return pd.DataFrame({"buried": pd.Series(buried, dtype=bool)})


def test_tines_come_up_where_anything_is_buried():
    assert depth_without_position(ZONES, exclusions(False, True)) == 0


def test_with_nothing_buried_it_is_the_shallowest_planned_depth():
    assert depth_without_position(ZONES, exclusions()) == 300
    assert depth_without_position(ZONES, exclusions(False)) == 300


def test_with_nothing_to_rip_the_tines_stay_up():
    assert depth_without_position(ZONES.assign(depth_mm=0), exclusions()) == 0
