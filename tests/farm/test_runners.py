"""Several processes of this machine."""

import os
import subprocess
import sys
import time

import psutil
import pytest

from builders.farm import die_or_do, do, job
from hardpan.farm.runners import Processes, _calm
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


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_processes_end_with_the_one_that_began_them(tmp_path):
    code = (
        "from pathlib import Path\nfrom builders.farm import job, tell_and_wait\n"
        "from hardpan.farm.runners import Processes\nfrom hardpan.records.farm import Allotment\n"
        "if __name__ == '__main__':\n"
        f"    jobs = [job('a', Path({str(tmp_path)!r}))]\n"
        "    list(Processes(workers=1, allotment=Allotment()).run(tell_and_wait, jobs))\n"
    )
    script = tmp_path / "begin.py"
    script.write_text(code)
    begun = subprocess.Popen([sys.executable, str(script)], env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)})
    while not (tmp_path / "pid").exists() and begun.poll() is None:
        time.sleep(0.02)
    worker = psutil.Process(int((tmp_path / "pid").read_text()))
    begun.kill()
    begun.wait()
    worker.wait(timeout=60)
