"""Jobs through a runner."""

import pytest

from builders.farm import do, job
from hardpan.farm.serial import Serial
from hardpan.farm.stage import work_through
from hardpan.records.farm import Outcome, Status


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
