import pytest

from hardpan.records.advice import NextDepth
from hardpan.records.decision import HistorySettings, SeasonSettings


@pytest.fixture(scope="module")
def again(ledger):
    return ledger.when_again.set_index("zone")


def test_the_next_ripping_of_sand_is_usually_a_hundred_millimetres_deeper(again):
    assert again.loc[1, "depth_mm"] == 600  # common practice
    assert again.loc[1, "draft_low"] == pytest.approx(600 / 500 - 1)
    assert again.loc[1, "draft_high"] == pytest.approx((600 / 500) ** 2.3 - 1)
    assert again.loc[1, "next_depth"] == NextDepth.DEEPER
    assert again.loc[1, "costs_rise"]


def test_over_clay_the_next_ripping_goes_no_deeper(again):
    assert again.loc[3, "depth_mm"] == 300
    assert again.loc[3, "next_depth"] == NextDepth.SAME
    assert not again.loc[3, "costs_rise"]


def test_no_depth_beyond_the_ripper(made):
    row = made.ledger_of(made.plan_of([("deep sand", 10.0, 625)])).when_again.iloc[0]
    assert row["depth_mm"] == 650
    row = made.ledger_of(made.plan_of([("deep sand", 10.0, 650)])).when_again.iloc[0]
    assert row["depth_mm"] == 650
    assert row["next_depth"] == NextDepth.RIPPER
    assert not row["costs_rise"]


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
