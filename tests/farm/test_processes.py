"""Several processes of this machine."""

import sys

import pytest

from builders.farm import die_or_do, do, job
from hardpan.farm.processes import Processes, _calm
from hardpan.records.farm import Allotment, Status

PART = Allotment(free_bytes=1e9, threads=1)


def test_every_job_has_one_outcome_and_libraries_keep_to_one_thread():
    jobs = [job(name) for name in "abcde"]
    found = list(Processes(workers=2, allotment=PART).run(do, jobs))
    assert sorted(one.slug for one in found) == ["a", "b", "c", "d", "e"]
    assert {(one.status, one.reason) for one in found} == {(Status.DONE, "1")}


def test_a_number_of_threads_that_somebody_chose_stands():
    environ = {"OMP_NUM_THREADS": "3"}
    _calm(environ)
    assert (environ["OMP_NUM_THREADS"], environ["OPENBLAS_NUM_THREADS"]) == ("3", "1")


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_a_job_that_ends_its_process_fails_alone():
    jobs = [job(name) for name in ("a", "dies", "b", "c")]
    found = {one.slug: one for one in Processes(workers=2, allotment=PART).run(die_or_do, jobs)}
    assert {name for name, one in found.items() if one.status is Status.FAILED} == {"dies"}
    assert found.keys() == {"a", "dies", "b", "c"}
    assert "killed, or out of memory" in found["dies"].reason
