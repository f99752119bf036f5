import numpy as np
import pytest

from hardpan.costs.investment import payback_seasons
from hardpan.money.worth import season_weights


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
