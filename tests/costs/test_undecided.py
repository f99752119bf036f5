"""Ground where ripping may as well pay as not."""

import numpy as np
import pytest


def test_ground_where_ripping_and_leaving_are_nearly_as_good_is_counted(made):
    close = made.plan_of([("deep sand", 50.0, 400), ("deep sand", 7.0, 400)])
    close.returns[1] -= 7.0 * 58.0  # 2 a ha left, with draws 100 to either side
    assert made.ledger_of(close).open_ha == pytest.approx(7.0)


def test_ground_left_where_ripping_might_well_pay_is_counted_too(made):
    zones = [("deep sand", 50.0, 400), ("deep sand", 9.0, 0), ("deep sand", 30.0, 0)]
    spread = np.linspace(-1.0, 1.0, made.N_DRAWS)
    runner_up = np.stack(
        [0.0 * spread, 9.0 * (spread - 0.1), 30.0 * (spread - 0.5)]
    )  # better in 45 and 25 % of the draws
    plan = made.plan_of(zones, runner_up_returns=runner_up)
    assert made.ledger_of(plan).open_ha == pytest.approx(9.0)


def test_ground_that_surely_loses_is_not_open(made):
    sure = made.plan_of([("deep sand", 50.0, 400)], net_per_ha=-250.0)
    assert made.ledger_of(sure).open_ha == 0.0
