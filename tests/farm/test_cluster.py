"""Workers of a scheduler: real processes on the loopback interface."""

import signal
import socket
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

import hardpan
from builders.clusters import cluster
from builders.farm import die_or_do, do, job, wait_or_do
from hardpan.core.errors import SettingsError
from hardpan.farm.cluster import connect
from hardpan.records.farm import Allotment, Status

PART = Allotment(free_bytes=4e9, threads=1)
pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="sends signals")]


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    with cluster(tmp_path_factory.mktemp("cluster")) as running:
        running.add_worker("one")
        yield running


def test_every_job_has_one_outcome_even_where_they_outnumber_what_is_handed_over(started, monkeypatch):
    monkeypatch.setattr("hardpan.farm.cluster._LEAST_AHEAD", 3)
    jobs = [job(str(number)) for number in range(20)]
    with connect(started.address, 1, PART, hardpan.__version__) as runner:
        found = list(runner.run(do, jobs))
    assert sorted(int(one.slug) for one in found) == list(range(20))
    assert {one.status for one in found} == {Status.DONE}


def test_a_worker_with_another_version_is_one_line_before_anything_is_handed_over(started, tmp_path):
    (tmp_path / "hardpan").mkdir()
    (tmp_path / "hardpan" / "__init__.py").write_text('__version__ = "0.0.1"\n')
    other = started.add_worker("other", {"PYTHONPATH": str(tmp_path)})
    try:
        from distributed import Client

        with Client(started.address) as client:
            client.wait_for_workers(2)
        with (
            pytest.raises(SettingsError, match=r"^worker tcp://[\d.:]+: has hardpan 0\.0\.1; expected") as told,
            connect(started.address, 1, PART, hardpan.__version__),
        ):
            pass
        assert len(str(told.value).splitlines()) == 1
    finally:
        other.send_signal(signal.SIGKILL)
        other.wait()


def test_a_job_that_ends_every_worker_it_meets_fails_alone(started):
    # it is given up after four; what the last of them had in hand needs a fifth
    for name in ("two", "three", "four", "five"):
        started.add_worker(name)
    jobs = [job(name) for name in ("a", "dies", "b")]
    with connect(started.address, 1, PART, hardpan.__version__) as runner:
        runner.client.wait_for_workers(5)
        coming = runner.run(die_or_do, jobs)
        first = [next(coming) for _ in range(2)]
        assert {one.slug for one in first} == {"a", "b"}
        found = next(coming)
    assert (found.slug, found.status) == ("dies", Status.FAILED)
    assert len(found.reason.splitlines()) == 1


def test_a_lost_scheduler_ends_what_is_not_worked_out_and_says_to_go_on(tmp_path):
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    with cluster(tmp_path) as own:
        own.add_worker("one")
        with connect(own.address, 1, PART, hardpan.__version__) as runner:
            coming = runner.run(wait_or_do, [job(name) for name in ("a", "waits", "b")])
            found = [next(coming)]
            own.running[0].send_signal(signal.SIGKILL)
            found += list(coming)
    assert {one.slug for one in found} == {"a", "waits", "b"}
    assert {one.reason.split(";")[0] for one in found if one.slug != "a"} == {
        "the scheduler was lost before it was worked out"
    }


def test_an_unreachable_scheduler_is_one_line(monkeypatch):
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    monkeypatch.setattr("hardpan.farm.cluster._PATIENCE_S", 0.5)
    with (
        pytest.raises(SettingsError, match=r"^--scheduler tcp://127\.0\.0\.1:1: no scheduler with a worker") as told,
        connect("tcp://127.0.0.1:1", 1, PART, hardpan.__version__),
    ):
        pass
    assert len(str(told.value).splitlines()) == 1


def test_without_the_library_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SettingsError, match="extra `farm`"), connect(None, 1, PART, hardpan.__version__):
        pass


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the C library is not asked")
def test_workers_of_this_machine_begin_with_one_heap_and_keep_no_samples_of_what_they_ran():
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    with connect(None, 1, PART, hardpan.__version__) as runner:
        runner.client.submit(time.sleep, 0.5).result()
        assert runner.client.profile()["count"] == 0
        (begun_with,) = runner.client.run(Path("/proc/self/environ").read_text).values()
    assert "MALLOC_ARENA_MAX=1" in begun_with.split("\0")


def test_a_cluster_on_this_machine_leaves_the_port_that_another_one_took():
    pytest.importorskip("distributed", reason="needs dask.distributed, the extra `farm`")
    with socket.socket() as taken:
        with suppress(OSError):  # another has it already
            taken.bind(("127.0.0.1", 8787))
            taken.listen()
        with connect(None, 1, PART, hardpan.__version__) as runner:
            assert [one.slug for one in runner.run(do, [job("a")])] == ["a"]
