"""Jobs through a runner."""

import numpy as np
import pytest

from builders.farm import do, job
from hardpan.farm.runners import Serial
from hardpan.farm.stage import combine_totals, draws_of_sum, work_through
from hardpan.records.farm import Outcome, Status
from hardpan.records.ledger import ALL_PADDOCKS, Total, Totals

DRAWS = 20_000
PRICE = np.random.default_rng(1).standard_normal(DRAWS)


class Backwards:
    """Runner whose outcomes come last first."""

    def run(self, work, jobs):
        return map(work, reversed(list(jobs)))


@pytest.mark.parametrize("runner", [Serial(), Backwards()])
def test_outcomes_stand_in_the_order_of_the_list_whatever_the_order_of_work(runner):
    jobs = [job(name) for name in "abc"]
    assert [one.slug for one in work_through(jobs, do, runner)] == ["a", "b", "c"]


def test_time_left_counts_what_is_worked_out_and_not_what_is_kept():
    def work(asked):
        return Outcome(slug=asked.slug, status=Status.KEPT if asked.slug in "ab" else Status.DONE)

    told, shares, seconds = [], [], iter(range(0, 100, 10))
    jobs = [job(name) for name in "abcde"]
    work_through(
        jobs, work, Serial(), tell=lambda *far: told.append(far), progress=shares.append, clock=lambda: next(seconds)
    )
    # 10 s a job: after the third, of which one was worked out in 30 s, two are left
    assert told == [(1, 5, None), (2, 5, None), (3, 5, 60.0), (4, 5, 20.0), (5, 5, 0.0)]
    assert shares == [0.2, 0.4, 0.6, 0.8, 1.0]


def test_a_list_without_jobs_has_no_outcome():
    assert work_through([], do, Serial()) == ()


def paddock(shared_sd=0.0, own_sd=0.0, *, amount=100.0, seed=1, currency="AUD", draws=DRAWS):
    # All paddocks draw their own part from the same random numbers, as runs with one seed do.
    own = own_sd * np.random.default_rng(7).standard_normal(draws)
    shared = amount + shared_sd * PRICE[:draws]
    low, high = np.quantile(shared + own, [0.05, 0.95])
    total = Total(quantity=10.0, unit="ha", amount=amount, low=low, high=high, shared=shared, own=own)
    return Totals(items={"net return": total}, currency=currency, seed=seed)


def summed(**paddocks):
    table = combine_totals(paddocks).set_index("paddock")
    return table.loc[ALL_PADDOCKS]


def test_what_paddocks_share_adds_up_and_what_is_their_own_evens_out():
    # standard deviations: n s for the shared part, sqrt(n) s for independent ones
    many = {f"p{k}": paddock(shared_sd=3.0) for k in range(9)}
    assert draws_of_sum("net return", many).std() == pytest.approx(9 * 3.0, rel=0.02)
    many = {f"p{k}": paddock(own_sd=3.0) for k in range(9)}
    assert draws_of_sum("net return", many).std() == pytest.approx(3 * 3.0, rel=0.03)
    many = {f"p{k}": paddock(shared_sd=1.0, own_sd=3.0) for k in range(9)}
    assert draws_of_sum("net return", many).std() == pytest.approx(np.hypot(9 * 1.0, 3 * 3.0), rel=0.03)


def test_amounts_and_quantities_add_up_and_the_range_holds_the_amount():
    row = summed(north=paddock(5.0, 5.0), south=paddock(2.0, 1.0, amount=-30.0))
    assert (row["quantity"], row["amount"]) == (20.0, 70.0)
    assert row["low"] < 70.0 < row["high"]
    # 5 and 95 % points of a normal distribution with that standard deviation
    assert row["high"] - row["low"] == pytest.approx(2 * 1.645 * np.sqrt(7.0**2 + 5.0**2 + 1.0), rel=0.03)


def test_the_sum_does_not_hang_on_the_order_of_the_list():
    north, south = paddock(5.0, 5.0), paddock(2.0, 1.0)
    one, two = summed(north=north, south=south), summed(south=south, north=north)
    assert one.equals(two)


@pytest.mark.parametrize("other", [{"seed": 2}, {"draws": 100}])
def test_a_sum_of_paddocks_that_share_no_draws_has_no_range(other):
    row = summed(north=paddock(5.0), south=paddock(5.0, **other))
    assert row["amount"] == 200.0
    assert np.isnan(row["low"])
    assert np.isnan(row["high"])


def test_money_of_different_currencies_is_not_added():
    row = summed(north=paddock(5.0), south=paddock(5.0, currency="EUR"))
    assert row["quantity"] == 20.0
    assert np.isnan(row["amount"])


def test_no_paddock_gives_an_empty_table():
    assert combine_totals({}).empty
