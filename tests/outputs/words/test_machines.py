"""What is said of cash cost, contractors and tractors."""

import math

import pytest

from builders.decision import shipped_catalog
from hardpan.outputs.words.english.machines import EnglishMachines
from hardpan.outputs.words.units import Units
from hardpan.records.plan import WaySum
from hardpan.records.reasons import Way


@pytest.fixture(scope="module")
def say():
    return EnglishMachines(Units.of_files("AUD"), shipped_catalog(prices={"contractor_per_ha": 90.0}))


def way(kind, ripped_ha=0.0, net=0.0, power_kw=math.nan):
    depths = (350, 400) if ripped_ha else ()
    return WaySum(
        way=kind, ripped_ha=ripped_ha, depths_mm=depths, cost=100.0 * ripped_ha, net=net, net_low=net, net_high=net,
        loss_probability=0.0, hours=math.nan, fuel_l=math.nan, power_kw=power_kw,
    )  # fmt: skip


NOTHING = way(Way.FULL)


def test_that_nothing_pays_names_what_was_tried(say):
    assert say.tried([NOTHING, way(Way.CASH), way(Way.CONTRACTOR)]) == (
        "Nor would it pay at cash cost, without what owning the machine costs, or by a contractor at about 90 $/ha."
    )


def test_what_would_pay_is_told_with_area_depth_and_return(say):
    told = say.tried([NOTHING, way(Way.CASH, 12.0, 240.0), way(Way.CONTRACTOR, 10.0, 50.0)])
    assert told == (
        "At cash cost, as your machine is paid for anyway, 12.0 ha would pay at 350 to 400 mm and return about 20 "
        "$/ha. By a contractor at about 90 $/ha 10.0 ha would pay at 350 to 400 mm and return about 5 $/ha."
    )


def test_too_small_a_tractor_is_told_with_the_power_that_would_do(say):
    told = say.tried([NOTHING, way(Way.CASH), way(Way.STRONGER, 12.0, 240.0, power_kw=310.0)])
    assert told.startswith("Your tractor is too small: behind one of about 310 kW, at its full cost, 12.0 ha would pay")


def test_a_plan_that_rips_is_followed_by_what_it_returns_at_cash_cost(say):
    told = say.cash([way(Way.FULL, 12.0, 120.0), way(Way.CASH, 15.0, 450.0)])
    assert told.startswith(
        "At cash cost, as your machine is paid for anyway, the depths best for that return 30 $/ha, "
    )
    assert told.endswith("and 3.0 ha more would pay.")
    assert say.cash([NOTHING, way(Way.CASH, 15.0, 450.0)]) == ""


def test_the_table_has_one_row_a_way(say):
    table = say.ways([way(Way.FULL, 12.0, 120.0), way(Way.CASH, 15.0, 450.0)])
    assert table["ripped"].tolist() == ["12.0 ha", "15.0 ha"]
