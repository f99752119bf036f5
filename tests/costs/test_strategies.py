import numpy as np
import pytest


@pytest.fixture(scope="module")
def strategies(ledger):
    return ledger.strategies.set_index("strategy")


def test_every_strategy_is_there_in_the_order_of_the_table(ledger):
    assert list(ledger.strategies["strategy"]) == [
        "prescription",
        "prescription by a contractor",
        "uniform at the machine's usual depth",
        "uniform at your depth",
        "best uniform",
        "no ripping",
    ]


def test_a_depth_of_ones_own_is_compared_only_when_given(made):
    ledger = made.ledger_of(made.plan_of(made.PADDOCK))
    assert "uniform at your depth" not in set(ledger.strategies["strategy"])


def test_no_ripping_costs_and_returns_nothing(strategies):
    assert strategies.loc["no ripping", ["ripped_ha", "cost", "benefit", "net", "loss_probability"]].eq(0.0).all()


def test_the_best_uniform_depth_returns_at_least_as_much_as_any_other_uniform_depth(strategies):
    uniform = strategies.loc[[name for name in strategies.index if name.startswith("uniform")], "net"]
    assert strategies.loc["best uniform", "net"] >= uniform.max()


def test_between_two_depths_equally_near_the_better_one_is_taken(strategies):
    assert strategies.loc["uniform at your depth", "depth_mm"] == 400  # asked 450, and 400 returns more than 500


def test_each_strategy_is_held_against_the_prescription_draw_by_draw(made):
    plan = made.plan_of([("deep sand", 100.0, 400)], net_per_ha=45.0)
    better = made.options_of(nets=(0.0, 50.0, 40.0, -20.0))  # the same draws, 100 either side in the plan and 80 here
    table = made.ledger_of(plan, options=better).strategies.set_index("strategy")
    ours, usual = plan.returns[0], better.uniform.returns[3]
    assert table.loc["prescription", "worse_probability"] == 0.0
    assert table.loc["uniform at the machine's usual depth", "worse_probability"] == (usual < ours).mean()
    assert table.loc["no ripping", "worse_probability"] == (ours > 0.0).mean()


def test_the_chance_of_a_loss_of_each_way_is_the_share_of_its_draws_below_nothing(made):
    plan, options = made.plan_of([("deep sand", 100.0, 400)]), made.options_of()
    table = made.ledger_of(plan, options=options).strategies.set_index("strategy")["loss_probability"]
    assert table["prescription"] == (plan.returns[0] < 0).mean() == 0.2  # 60 a ha, draws even from 100 below to above
    assert table["uniform at the machine's usual depth"] == (options.uniform.returns[3] < 0).mean()
    assert table["best uniform"] == (options.uniform.returns[1] < 0).mean()


def test_benefit_less_cost_is_net(strategies):
    assert np.allclose(strategies["benefit"] - strategies["cost"], strategies["net"])


def test_the_prescription_is_the_total_of_the_ledger(ledger, strategies):
    total = ledger.lines[ledger.lines["zone"] == "total"].set_index("item")
    ours = strategies.loc["prescription"]
    assert ours["cost"] == pytest.approx(total.loc["cost", "amount"])
    assert ours["net"] == pytest.approx(total.loc["net return", "amount"], abs=0.05)  # whole cents, five zones
    assert ours["fuel_l"] == pytest.approx(total.loc["fuel", "quantity"])


def test_where_no_uniform_depth_pays_the_best_is_to_leave_the_pan(made):
    options = made.options_of(nets=(0.0, -10.0, -20.0, -30.0))
    best = made.ledger_of(made.plan_of(made.PADDOCK), options=options).strategies.set_index("strategy")
    assert best.loc["best uniform", "depth_mm"] == 0
    assert best.loc["best uniform", "net"] == 0


def test_ground_where_a_limit_forbids_the_depth_is_not_counted_as_ripped(made):
    options = made.options_of(
        net=np.array([[0.0, 50.0, 40.0, -20.0], [0.0, 50.0, 40.0, -np.inf]]), node_ha=np.array([70.0, 30.0])
    )
    usual = made.ledger_of(made.plan_of(made.PADDOCK), options=options).strategies.set_index("strategy")
    assert usual.loc["uniform at the machine's usual depth", "ripped_ha"] == 70.0


def test_ground_in_which_tines_rise_beside_services_is_not_ripped_at_a_uniform_depth_either(made):
    plan = made.plan_of((("deep sand", 50.0, 500), ("deep sand", 30.0, 0), ("buried pipe", 20.0, None)))
    best = made.ledger_of(plan, options=made.options_of()).strategies.set_index("strategy").loc["best uniform"]
    whole = made.ledger_of(made.plan_of(made.PADDOCK), options=made.options_of()).strategies.set_index("strategy")
    assert best["ripped_ha"] == pytest.approx(80.0)
    for name in ("net", "cost", "hours", "fuel_l"):
        assert best[name] == pytest.approx(0.8 * whole.loc["best uniform", name]), name


def test_a_set_up_that_may_rip_nowhere_is_not_what_a_uniform_depth_is_done_with(made):
    options = made.options_of(depths=(0, 300, 500, 500), nets=(0.0, -10.0, 0.0, -30.0))
    options.uniform.ripped_ha[2] = options.uniform.returns[2] = (
        0.0  # forbidden everywhere, it leaves all ground and so loses nothing
    )
    table = made.ledger_of(made.plan_of(made.PADDOCK), options=options).strategies.set_index("strategy")
    usual = table.loc["uniform at the machine's usual depth"]
    assert (usual["ripped_ha"], usual["net"]) == (100.0, pytest.approx(-3000.0))


def test_an_option_that_cannot_be_pulled_is_no_strategy(made):
    options = made.options_of(depths=(0, 300, 400, 500), nets=(0.0, 10.0, 20.0, 90.0))
    options.uniform.ripped_ha[3] = 0.0
    table = made.ledger_of(made.plan_of(made.PADDOCK), options=options).strategies.set_index("strategy")
    assert table.loc["best uniform", "depth_mm"] == 400
    assert table.loc["uniform at the machine's usual depth", "depth_mm"] == 400
