"""The plan done by a contractor, from the same draws, and what is said of it."""

import pytest

from hardpan.records.advice import Cheaper


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
