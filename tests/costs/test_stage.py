import numpy as np
import pytest

from hardpan.core.errors import SettingsError
from hardpan.costs.lines import BY_WORK
from hardpan.records.decision import HistorySettings, SeasonSettings


def test_rates_have_a_draw_for_each_draw_of_the_pan(made):
    catalog = made.SHIPPED
    rates = made.rates_of(catalog, n_draws=37)
    assert rates.scenarios.sizes == {"draw": 37, "soil_type": 2}
    assert all(np.isfinite(rates.scenarios[name]).all() for name in rates.scenarios)


def test_an_hour_is_the_sum_of_its_items(made):
    rates = made.rates_of(made.SHIPPED)
    hourly = [item for item, unit in BY_WORK.items() if unit == "h"]
    assert np.allclose(rates.scenarios["per_hour"], sum(rates.scenarios[name] for name in hourly))


def test_the_same_seed_gives_the_same_rates_whatever_other_soils_there_are(made):
    catalog = made.SHIPPED
    one, two = made.rates_of(catalog, ("deep sand",)), made.rates_of(catalog, ("sandy loam", "deep sand"))
    worth = [rates.scenarios["worth_per_ha"].sel(soil_type="deep sand") for rates in (one, two)]
    assert np.array_equal(*worth)
    other = made.rates_of(catalog, ("deep sand",), seed=2)
    assert not np.array_equal(worth[0], other.scenarios["worth_per_ha"].sel(soil_type="deep sand"))


def test_a_soil_type_without_response_is_named(made):
    with pytest.raises(SettingsError, match=r"soil type 'moon dust' has no response.*deep sand"):
        made.rates_of(made.SHIPPED, ("deep sand", "moon dust"))


def test_controlled_traffic_makes_the_gain_last(made):
    catalog = made.SHIPPED
    wheeled, lanes = (
        made.rates_of(catalog, season=SeasonSettings(controlled_traffic=controlled)) for controlled in (False, True)
    )
    assert (lanes.worth["present_value_per_ha"] > wheeled.worth["present_value_per_ha"]).all()
    assert lanes.worth["seasons"].iloc[0] == 10.0


def test_shipped_guesses_are_said_and_the_users_own_prices_are_not(made):
    said = {
        issue.code: issue.what for issue in made.rates_of(made.shipped_catalog(prices={"labour_per_h": 50.0})).issues
    }
    assert "wear_per_ha" in said["unverified-price"]
    assert "labour_per_h" not in said["unverified-price"]


def test_a_yield_gain_without_a_source_is_said(made):
    read = made.rates_of(made.SHIPPED, ("deep sand",))
    guessed = made.rates_of(made.SHIPPED, ("deep sand", "gravelly sand"))
    assert "unverified-response" not in {issue.code for issue in read.issues}
    assert "gravelly sand" in {issue.code: issue.what for issue in guessed.issues}["unverified-response"]


def test_days_are_hours_over_the_hours_of_a_day(made):
    ledger = made.ledger_of(made.plan_of(made.PADDOCK), season=SeasonSettings(hours_per_day=12.0))
    assert ledger.days == pytest.approx(ledger.hours / 12.0)


def test_ripping_again_while_the_last_pass_holds_is_said(made):
    plan = made.plan_of(made.PADDOCK)
    soon = made.ledger_of(plan, history=HistorySettings(last_ripped=2026, season=2027))
    late = made.ledger_of(plan, history=HistorySettings(last_ripped=2019, season=2027))
    assert "ripped-again-soon" in [issue.code for issue in soon.issues]
    assert "ripped-again-soon" not in [issue.code for issue in late.issues]
