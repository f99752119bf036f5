"""The plan beside other strategies and done by a contractor, from the same draws, and what is said of it."""

import numpy as np
import pytest

from hardpan.records.advice import Cheaper


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


def priced(made, *, rate, left=0.0, **prices):
    """The ledger of a paddock where a contractor asks `rate` and leaves the share `left` of the fuel to the grower."""
    catalog = made.shipped_catalog(prices={"contractor_per_ha": rate, "contractor_fuel": left, **prices})
    return made.ledger_of(made.plan_of(made.PADDOCK), catalog=catalog, zone_cost=20.0)


def strategy(ledger, name):
    return ledger.strategies.set_index("strategy").loc[name]


def test_a_contractor_brings_the_same_benefit_for_his_rate(made):
    ledger = priced(made, rate=80.0)
    ours, hired = (strategy(ledger, name) for name in ("prescription", "prescription by a contractor"))
    assert hired["benefit"] == pytest.approx(ours["benefit"])
    assert hired["cost"] == pytest.approx(96.0 * 80.0 + 2 * 20.0, abs=0.2)  # rate, two further zones, whole cents
    assert hired["net"] - ours["net"] == pytest.approx(ours["cost"] - hired["cost"])
    assert hired["ripped_ha"] == ours["ripped_ha"]


def test_his_return_is_drawn_with_ours(made):
    fair = strategy(priced(made, rate=1000.0), "prescription by a contractor")
    assert fair["worse_probability"] == 1.0
    assert strategy(priced(made, rate=0.0), "prescription by a contractor")["worse_probability"] == 0.0


def test_fuel_he_leaves_to_the_grower_is_paid_beside_his_rate(made):
    dry, wet = (priced(made, rate=80.0, left=left) for left in (1.0, 0.0))
    total = dry.lines[dry.lines["zone"] == "total"].set_index("item")["amount"]
    more = strategy(dry, "prescription by a contractor")["cost"] - strategy(wet, "prescription by a contractor")["cost"]
    assert more == pytest.approx(total["fuel"] + total["lubricant"], abs=0.2)


def test_a_plan_deeper_than_he_goes_is_not_priced_by_him(made):
    deepest = float(made.plan_of(made.PADDOCK).zones["depth_mm"].max())
    known = {depth: priced(made, rate=80.0, contractor_depth=depth).strategies for depth in (deepest - 25.0, deepest)}
    told = ["prescription by a contractor" in set(table["strategy"]) for table in known.values()]
    assert told == [False, True]


def test_a_contractor_who_is_surely_cheaper_is_a_remark(made):
    ledger = priced(made, rate=10.0)
    assert [issue.code for issue in ledger.issues] == ["contractor-cheaper"]
    assert ledger.hiring.cheaper is Cheaper.CONTRACTOR
    assert ledger.hiring.low > 0
    assert ledger.hiring.hired == pytest.approx(10.0 + 2 * 20.0 / 96.0)
    assert ledger.issues[0].what.startswith("the same work costs about ")
    assert ledger.issues[0].what.endswith("of your own is for owning it, and is paid whether it works here or not")


def test_a_contractor_who_is_surely_dearer_is_no_remark(made):
    ledger = priced(made, rate=1000.0)
    assert (ledger.hiring, ledger.issues) == (None, ())


def test_two_that_cannot_be_told_apart_are_called_so(made):
    own = strategy(priced(made, rate=0.0), "prescription")["cost"] / 96.0
    ledger = priced(made, rate=own)
    assert [issue.code for issue in ledger.issues] == ["contractor-level"]
    assert ledger.hiring.cheaper is Cheaper.LEVEL
    assert ledger.hiring.low < 0 < ledger.hiring.high
    assert "cannot be told (hiring: " in ledger.issues[0].what


def test_a_rate_that_is_no_quote_is_said_to_be_none(made):
    assert not made.ledger_of(made.plan_of(made.PADDOCK)).hiring.quoted
    assert priced(made, rate=10.0).hiring.quoted


def test_nothing_ripped_is_nobodys_work(made):
    ledger = made.ledger_of(made.plan_of([("deep sand", 10.0, 0)]))
    assert ledger.hiring is None
    assert "prescription by a contractor" not in set(ledger.strategies["strategy"])


def test_the_cost_it_is_held_against_is_the_cost_of_the_plan(made):
    ledger = priced(made, rate=10.0)
    assert ledger.hiring.own * 96.0 == pytest.approx(strategy(ledger, "prescription")["cost"], abs=0.2)


def test_what_is_for_owning_is_the_two_lines_of_the_ledger(made):
    ledger = priced(made, rate=10.0)
    total = ledger.lines[ledger.lines["zone"] == "total"].set_index("item")["amount"]
    owning = (total["tractor ownership"] + total["ripper ownership"]) / 96.0
    assert ledger.hiring.owning == pytest.approx(owning, abs=0.01)
