"""What the C library's allocator is asked, and that every runner's process asks it."""

import subprocess
import sys
from dataclasses import replace

import pytest

from builders.farm import job, work_and_count_mapped
from hardpan.core.allocator import give_back
from hardpan.farm.cluster import connect
from hardpan.farm.runners import Processes, Serial
from hardpan.records.farm import Allotment
from hardpan.run.free_memory import held_bytes

MB = 1e6
PART = Allotment(free_bytes=4e9, threads=1)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the C library is not asked")


def test_what_was_freed_between_things_that_are_kept_goes_back_to_the_system():
    blocks = [bytes(2000) for _ in range(50_000)]
    held, kept = held_bytes(), blocks[-1]
    del blocks
    give_back()
    assert held - held_bytes() > 50 * MB
    assert len(kept) == 2000


_FAULTS = """
import resource
import numpy as np
from hardpan.core.allocator import map_large_blocks
map_large_blocks()
np.ones(1 << 18)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(100):
    np.ones(1 << 18)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def test_arrays_of_two_megabytes_made_again_and_again_lie_where_the_last_one_lay():
    told = subprocess.run([sys.executable, "-c", _FAULTS], capture_output=True, text=True, check=True).stdout
    pages_of_one = (1 << 21) // 4096
    assert int(told) < 2 * pages_of_one


@pytest.mark.parametrize("runner", [Serial(), Processes(workers=1, allotment=PART)], ids=["serial", "processes"])
def test_large_blocks_are_mapped_by_themselves_in_every_process_that_worked_out_a_paddock(runner, tmp_path):
    (told,) = runner.run(work_and_count_mapped, [replace(job("a", tmp_path), config=tmp_path / "missing.toml")])
    assert told.reason in {"mapped", "not told"}


@pytest.mark.slow
def test_large_blocks_are_mapped_by_themselves_in_the_workers_of_a_cluster(tmp_path):
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    with connect(None, 1, PART, job("a").version) as runner:
        (told,) = runner.run(work_and_count_mapped, [replace(job("a", tmp_path), config=tmp_path / "missing.toml")])
    assert told.reason in {"mapped", "not told"}
