"""Ripping as an investment; when to rip again, and how deep then, from what lies there to gain."""

import numpy as np
import pandas as pd
import pytest

from hardpan.costs.investment import payback_seasons
from hardpan.money.worth import season_weights
from hardpan.records.advice import NextDepth
from hardpan.records.decision import HistorySettings, SeasonSettings
from hardpan.records.reasons import Limit


def test_the_first_season_pays_back_what_it_returns():
    assert payback_seasons(50.0, np.array([100.0, 50.0])) == pytest.approx(0.5)
    assert payback_seasons(100.0, np.array([100.0, 50.0])) == pytest.approx(1.0)
    assert payback_seasons(125.0, np.array([100.0, 50.0])) == pytest.approx(1.5)


def test_a_cost_the_seasons_never_return_has_no_payback():
    assert np.isnan(payback_seasons(151.0, np.array([100.0, 50.0])))
    assert np.isnan(payback_seasons(1.0, np.array([-5.0, 0.0])))


def test_a_part_of_a_season_counts_by_its_part():
    whole = season_weights(np.array([0.5]), 3.0, 0.0)
    assert whole[0] == pytest.approx([1.0, 0.5, 0.25])
    assert season_weights(np.array([0.5]), 2.5, 0.0)[0] == pytest.approx([1.0, 0.5, 0.125])


def test_net_present_value_is_the_net_return_of_the_ledger_per_ha(ledger):
    lines = ledger.lines.set_index(["zone", "item"])
    for row in ledger.investment.itertuples():
        line = lines.loc[(row.zone, "net return")]
        area_ha = lines.loc[(row.zone, "cost"), "quantity"]
        assert row.npv_per_ha == pytest.approx(line["amount"] / area_ha)


def test_a_gain_at_break_even_would_just_pay(ledger):
    for row in ledger.investment.itertuples():
        pays = row.gain_t_per_ha > row.break_even_first_year_t_per_ha
        assert pays == (row.npv_per_ha > 0)


def test_a_zone_that_pays_has_a_payback_within_its_seasons(ledger):
    assert (ledger.investment["payback_seasons"] <= 3.0).all()


def test_nothing_ripped_is_no_investment(made):
    ledger = made.ledger_of(made.plan_of([("deep sand", 10.0, 0)]))
    assert ledger.investment.empty
    assert ledger.when_again.empty


@pytest.fixture(scope="module")
def again(ledger):
    return ledger.when_again.set_index("zone")


def ladder(*, gain=150.0, cost=0.2, bottom_mm=450.0, limits=None, zone=1, deepest_mm=650):
    """All depths of plain tines in one zone: what they break ends at the pan's bottom, cost grows with depth."""
    depth_mm = np.arange(300, deepest_mm + 1, 50)
    limit = [(limits or {}).get(int(depth), "") for depth in depth_mm]
    cost_per_ha = cost * depth_mm
    return pd.DataFrame(
        {
            "zone": zone,
            "setup": "plain",
            "depth_mm": depth_mm,
            "cost_per_ha": cost_per_ha,
            "net_per_ha": gain * np.minimum(depth_mm / bottom_mm, 1.0) - cost_per_ha,
            "breach_probability": np.clip(0.5 + (depth_mm - bottom_mm) / 100.0, 0.0, 1.0),
            "allowed": [not one for one in limit],
            "limit": limit,
        }
    )


def next_pass(made, depth_mm, *, soil="deep sand", season=None, **shape):
    plan = made.plan_of([(soil, 10.0, depth_mm)], candidates=ladder(**shape))
    return made.ledger_of(plan, season=season).when_again.iloc[0]


@pytest.mark.parametrize("depth_mm", [500, 550, 600])
def test_ripping_again_and_again_does_not_go_deeper_where_nothing_lies_deeper(made, depth_mm):
    """A rule of 100 mm more each time ran to the machine's limit whatever the pan."""
    row = next_pass(made, depth_mm)
    assert (row["depth_mm"], row["next_depth"]) == (depth_mm, NextDepth.BROKEN)
    assert not row["costs_rise"]


def test_a_pan_that_ends_deeper_than_pays_is_left_the_next_time_too(made):
    row = next_pass(made, 400, bottom_mm=550.0)
    assert (row["depth_mm"], row["next_depth"]) == (400, NextDepth.COST)


def test_clay_below_holds_the_next_pass_as_it_holds_this_one(made):
    row = next_pass(made, 400, limits=dict.fromkeys((450, 500, 550, 600, 650), Limit.CLAY))
    assert (row["depth_mm"], row["next_depth"], row["limit"]) == (400, NextDepth.HELD, Limit.CLAY)


def test_the_ripper_holds_it_where_the_pan_is_deeper_than_it_goes(made):
    row = next_pass(made, 650, bottom_mm=800.0)
    assert (row["depth_mm"], row["next_depth"]) == (650, NextDepth.RIPPER)


def test_dry_soil_now_is_made_up_for_next_time_down_to_the_pan_and_no_further(made):
    dry = dict.fromkeys((450, 500, 550, 600, 650), Limit.MOIST)
    row = next_pass(made, 400, limits=dry)
    assert (row["depth_mm"], row["next_depth"]) == (500, NextDepth.DEEPER)
    assert row["draft_low"] == pytest.approx(500 / 400 - 1)
    assert row["draft_high"] == pytest.approx((500 / 400) ** 2.3 - 1)
    row = next_pass(made, 400, limits=dry | dict.fromkeys((500, 550, 600, 650), Limit.CLAY))
    assert row["depth_mm"] == 450  # the clay begins before the pan ends


def test_a_shallower_pass_between_two_deep_ones_is_advised_where_it_pays(made):
    """`farmweekly-mullewa`: 600 to 700 mm every four years, 400 mm between."""
    row = next_pass(made, 600, gain=300.0)
    assert (row["between_mm"], row["between_seasons"], row["seasons_low"], row["seasons_high"]) == (400, 2, 4, 4)
    # half the gain is left each season: after two seasons 0.75 of it is lost, and comes back for two of three seasons
    weight = [sum(0.5**k / 1.05 ** (k + 1) for k in range(n)) for n in (2, 3)]
    gain = 300.0 * 400 / 450
    assert row["between_per_ha"] == pytest.approx(0.75 * weight[0] / weight[1] * gain - 80.0)
    dear = next_pass(made, 600, gain=120.0)
    assert np.isnan(dear["between_mm"])
    assert (dear["seasons_low"], dear["seasons_high"]) == (2, 3)


def test_no_pass_between_where_wheels_keep_to_tramlines_or_the_deep_one_is_hardly_deeper(made):
    lanes = next_pass(made, 600, gain=300.0, season=SeasonSettings(controlled_traffic=True))
    assert np.isnan(lanes["between_mm"])
    assert np.isnan(next_pass(made, 450, gain=300.0)["between_mm"])


def test_the_last_pass_is_told(made):
    history = HistorySettings(last_ripped=2019, last_depth_mm=350, season=2027)
    again = made.ledger_of(made.plan_of(made.PADDOCK), history=history).when_again
    assert (again["last_ripped"] == 2019).all()
    assert (again["seasons_since"] == 8).all()
    assert (again["last_depth_mm"] == 350).all()


def test_tramlines_put_the_next_ripping_off(made, again):
    plan = made.plan_of(made.PADDOCK)
    lanes = made.ledger_of(plan, season=SeasonSettings(controlled_traffic=True)).when_again.set_index("zone")
    assert (lanes["seasons_low"] > again["seasons_high"]).all()
