import re

import numpy as np


def test_the_sentence_says_where_how_deep_at_what_cost_and_whether_it_pays(ledger):
    assert re.fullmatch(
        r"Rip 96 of 120 ha in three depths \(300, 400 and 500 mm\), leave 21 ha: about \d+ \$/ha, 5 days and 1,900 L; "
        r"expected to return 60 \$/ha over three seasons \(likely range -30 to 150, chance of a loss 20 %\)\.",
        ledger.headline,
    )


def test_the_sentence_speaks_the_users_currency(made):
    plan = made.plan_of(made.PADDOCK)
    prices = {"currency": "EUR", "exchange_rate": 0.6}
    assert " €/ha" in made.ledger_of(plan, catalog=made.shipped_catalog(prices=prices)).headline
    rand = made.shipped_catalog(prices={"currency": "ZAR", "exchange_rate": 12.0})
    assert " ZAR/ha" in made.ledger_of(plan, catalog=rand).headline


def test_nothing_pays_is_said_plainly_with_what_ripping_would_lose(made):
    plan = made.plan_of([("deep sand", 60.0, 0), ("sand over clay", 40.0, 0)])
    assert made.ledger_of(plan).headline == (
        "Leave all 100 ha unripped: no depth is expected to pay here. "
        "Ripping 100 ha at 500 mm would lose about 20 $/ha."
    )


def test_a_loss_is_called_a_loss(made):
    headline = made.ledger_of(made.plan_of(made.PADDOCK, net_per_ha=-25.0)).headline
    assert "expected to lose 25 $/ha" in headline


def test_one_depth_and_many_depths_read_well(made):
    one = made.ledger_of(made.plan_of([("deep sand", 10.0, 400)])).headline
    assert "in one depth (400 mm):" in one
    many = made.plan_of([("deep sand", 10.0, depth) for depth in (300, 350, 400, 450, 500)])
    assert "in five depths (300 to 500 mm)" in made.ledger_of(many).headline


def test_ground_where_ripping_and_leaving_are_nearly_as_good_is_counted(made):
    close = made.plan_of([("deep sand", 50.0, 400), ("deep sand", 7.0, 400)])
    close.returns[1] -= 7.0 * 58.0  # 2 a ha left, with draws 100 to either side
    assert made.ledger_of(close).headline.endswith("7.0 ha could go either way: probe again there.")


def test_ground_left_where_ripping_might_well_pay_is_counted_too(made):
    zones = [("deep sand", 50.0, 400), ("deep sand", 9.0, 0), ("deep sand", 30.0, 0)]
    spread = np.linspace(-1.0, 1.0, made.N_DRAWS)
    runner_up = np.stack(
        [0.0 * spread, 9.0 * (spread - 0.1), 30.0 * (spread - 0.5)]
    )  # better in 45 and 25 % of the draws
    plan = made.plan_of(zones, runner_up_returns=runner_up)
    assert made.ledger_of(plan).headline.endswith("9.0 ha could go either way: probe again there.")


def test_ground_that_surely_loses_is_not_open(made):
    sure = made.plan_of([("deep sand", 50.0, 400)], net_per_ha=-250.0)
    assert "either way" not in made.ledger_of(sure).headline


def test_two_soils_that_last_differently_give_a_range_of_seasons(made):
    plan = made.plan_of([("deep sand", 50.0, 400), ("sand over sodic clay", 7.0, 300)])
    assert "over two to three seasons" in made.ledger_of(plan).headline


def test_the_chance_of_a_loss_is_that_of_the_draws(made):
    plan = made.plan_of(made.PADDOCK)
    share = (plan.returns.sum(axis=0) < 0).mean()
    stated = int(re.search(r"chance of a loss (\d+) %", made.ledger_of(plan).headline).group(1))
    assert abs(stated - 100 * share) <= 0.5
    assert np.isfinite(share)
