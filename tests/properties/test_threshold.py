"""A lower threshold calls more ground hard: all else equal it never means less ripping, nor less money.

All else is zones and the number of tines too: another threshold draws zones anew, and deeper work elsewhere may ask for
fewer tines, either of which moves a few hectares that hardly pay. Money is more wherever zones are drawn anew as well.
"""

from datetime import UTC, datetime
from itertools import pairwise

import pytest

from hardpan.core.shipped import shipped
from hardpan.options.stage import weigh_options
from hardpan.prescription.stage import prescribe, settle_zones
from hardpan.records.evidence import Evidence
from hardpan.records.reasons import Ripped
from hardpan.run.chain import prepare
from hardpan.run.config import change, read_config
from hardpan.run.manifest import Clock
from hardpan.surfaces.stage import map_pan
from hardpan.zones.stage import draw_zones

pytestmark = pytest.mark.slow

THRESHOLDS_KPA = (1500.0, 2000.0, 2500.0, 3000.0, 3500.0)
"""The ends of what is published for roots, and between them."""


@pytest.fixture(scope="module")
def plans():
    """Options of the demo paddock, coarser than shipped, its plan on zones of its own and on held ones."""
    config = read_config(shipped("demo") / "demo.toml")
    config = change(config, surfaces={"cell_m": 10.0, "draws": 50}, machine={"tines": 7})
    found, held = {}, None
    for kpa in sorted(THRESHOLDS_KPA, key=lambda kpa: abs(kpa - 2500.0)):
        at = change(config, pan={"critical_kpa": kpa})
        ready = prepare(at, Clock(now=datetime(2027, 3, 1, tzinfo=UTC)))
        surfaces = map_pan(ready.pan, ready.survey, at.surfaces, seed=1)
        known = Evidence(survey=ready.survey, pan=ready.pan, surfaces=surfaces), ready.catalog, ready.rates
        options = weigh_options(*known, asked=at.decision)
        zones = draw_zones(known[0], options, ready.catalog, at.zones, asked=at.prescription, seed=1)
        own = settle_zones(zones, options, *known, asked=at.decision)[1]
        held = zones if held is None else held
        found[kpa] = options, own, prescribe(held, options, *known, asked=at.decision)
    return [found[kpa] for kpa in THRESHOLDS_KPA]


def test_hectares_and_net_return_of_held_zones_never_fall_as_the_threshold_falls(plans):
    tables = [plan.zones for _, _, plan in plans]
    hectares = [table.loc[table["depth_mm"] > 0, "area_ha"].sum() for table in tables]
    net = [(table["net_per_ha"] * table["area_ha"]).sum() for table in tables]
    assert all(low >= high for low, high in pairwise(hectares)), hectares
    assert all(low > high for low, high in pairwise(net)), net
    assert hectares[0] > hectares[-1] > 0.0


def test_the_net_return_never_falls_with_zones_drawn_anew(plans):
    net = [plan.returns.mean(axis=1).sum() for _, plan, _ in plans]
    assert all(low > high > 0.0 for low, high in pairwise(net)), net


def test_the_ground_that_pays_by_itself_never_falls(plans):
    pays = [options.node_ha @ (options.net.max(axis=1) > 0.0) for options, _, _ in plans]
    assert all(low >= high for low, high in pairwise(pays)), pays


def test_where_no_rod_passed_the_pan_no_zone_is_told_where_it_ends(plans):
    """At 1500 kPa all rods of 700 mm end in hard ground; the map's 800 mm is what is usual, not what was read."""
    lowest, usual = ([one.why for one in plans[k][1].reasons if isinstance(one.why, Ripped)] for k in (0, 2))
    assert lowest
    assert all(why.read_to_mm == 700.0 < why.bottom_mm[0] for why in lowest)
    assert usual
    assert all(why.bottom_mm[0] < why.read_to_mm for why in usual)
