"""Small changes of lists of paddocks."""

import pytest

from builders.seasons import large_season
from hardpan.season import rounds
from hardpan.season.accounts import walkers_of
from hardpan.season.rounds import Round, best_found
from hardpan.season.search import can_compile, improve, settle
from hardpan.season.walk import neighbours_of


@pytest.fixture(scope="module")
def begun():
    """A season of 20 paddocks, whose paddocks are dealt out in turn."""
    jobs, rigs, _ = large_season(3, paddocks=20, machines=2, n_days=20, alike=False)
    walkers = walkers_of(jobs, rigs)
    return walkers, settle(walkers, [range(0, 20, 2), range(1, 20, 2)], 20), neighbours_of(jobs)


def test_a_search_loses_nothing_and_puts_every_paddock_into_one_list_or_none(begun):
    walkers, lists, beside = begun
    found = improve(walkers, lists, beside, trials=3_000, seed=1)
    assert found.worth > lists.worth
    assert sorted([*found.orders[0], *found.orders[1], *found.left]) == list(range(20))
    for walker, order, worth in zip(walkers, found.orders, found.worths, strict=True):
        assert walker.finished(order, found.patient) == (order, worth)


def test_a_search_without_a_change_to_make_is_what_it_began_with(begun):
    walkers, lists, beside = begun
    assert improve(walkers, lists, beside, trials=0, seed=1) == lists


@pytest.mark.parametrize("seed", [1, 2])
def test_compiled_and_plain_loops_find_the_same_lists(begun, seed):
    pytest.importorskip("numba", reason="the compiled loops need the extra 'dense'")
    walkers, lists, beside = begun
    plain, compiled = (
        improve(walkers, lists, beside, trials=2_000, seed=seed, compiled=fast) for fast in (False, True)
    )
    assert compiled == plain


def test_no_round_of_searches_loses_what_was_found_before_and_threads_do_not_matter(monkeypatch):
    jobs, rigs, _ = large_season(3, paddocks=12, machines=2, n_days=14, alike=False)
    walkers = walkers_of(jobs, rigs)
    begun = [settle(walkers, orders, 12) for orders in ([range(0, 12, 2), range(1, 12, 2)], [range(12), []])]
    monkeypatch.setattr(rounds, "ROUNDS", (Round(5, 2, 1), Round(3, 4, 1), Round(2, 1, 1)))
    for length in ("TRIALS_PER_JOB", "COMPILED_TRIALS_PER_JOB"):
        monkeypatch.setattr(rounds, length, 20)
    found = best_found(jobs, rigs, begun, 1, compiled=False)
    assert found.worth >= max(lists.worth for lists in begun)
    assert settle(walkers, found.orders, 12, patient=found.patient).worth == found.worth
    if can_compile():
        alone, together = (best_found(jobs, rigs, begun, 1, compiled=True, threads=number) for number in (1, 3))
        assert alone == together == found
    monkeypatch.setattr(rounds, "ROUNDS", rounds.ROUNDS[:1])
    assert best_found(jobs, rigs, begun, 1, compiled=False).worth <= found.worth
