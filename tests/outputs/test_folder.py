"""An earlier result stays whole whatever happens, and nothing else is ever replaced."""

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from hardpan.core.errors import HardpanError
from hardpan.outputs.folder import MANIFEST, check_folder, fresh_folder


def earlier_result(folder: Path) -> Path:
    folder.mkdir()
    (folder / MANIFEST).write_text("{}")
    (folder / "zones.csv").write_text("old")
    return folder


def test_a_new_folder_holds_what_was_written(tmp_path):
    with fresh_folder(tmp_path / "deep" / "out") as work:
        (work / "a.txt").write_text("new")
    assert (tmp_path / "deep" / "out" / "a.txt").read_text() == "new"
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["out"]


def test_an_earlier_result_is_replaced_whole(tmp_path):
    out = earlier_result(tmp_path / "out")
    with fresh_folder(out) as work:
        (work / MANIFEST).write_text("{}")
    assert [path.name for path in out.iterdir()] == [MANIFEST]
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_failure_leaves_the_earlier_result_as_it_was(tmp_path):
    out = earlier_result(tmp_path / "out")

    def fail_half_way():
        with fresh_folder(out) as work:
            (work / "half.csv").write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert (out / "zones.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_earlier_result_comes_back_when_the_last_rename_fails(tmp_path, monkeypatch):
    out = earlier_result(tmp_path / "out")
    rename = Path.rename

    def refuse_the_new(path, target):
        if path.suffix == ".part":
            raise OSError(errno.EIO, "Input/output error")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", refuse_the_new)
    with pytest.raises(HardpanError, match="Input/output error"), fresh_folder(out) as work:
        (work / "zones.csv").write_text("new")
    assert (out / "zones.csv").read_text() == "old"


def test_a_folder_with_other_content_is_refused_before_anything_is_written(tmp_path):
    (tmp_path / "thesis").mkdir()
    (tmp_path / "thesis" / "chapter.txt").write_text("years of work")
    with pytest.raises(HardpanError, match=r"not empty and holds no run\.json"):
        check_folder(tmp_path / "thesis")
    with pytest.raises(HardpanError), fresh_folder(tmp_path / "thesis"):
        pytest.fail("the block must not be entered")
    assert [path.name for path in tmp_path.iterdir()] == ["thesis"]


def test_an_empty_folder_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    with fresh_folder(tmp_path / "out") as work:
        (work / "a").write_text("a")
    assert (tmp_path / "out" / "a").exists()


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(HardpanError, match="is a file; expected a folder"):
        check_folder(tmp_path / "out")


def test_a_place_below_a_file_is_refused(tmp_path):
    (tmp_path / "file").write_text("a file")
    with pytest.raises(HardpanError, match="cannot be written to"):
        check_folder(tmp_path / "file" / "out")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the administrator may write anywhere")
def test_a_folder_without_leave_to_write_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(HardpanError, match="cannot be written to"):
        check_folder(tmp_path / "out")
    tmp_path.chmod(0o700)


def test_a_full_disk_is_one_plain_line(tmp_path):
    with pytest.raises(HardpanError) as told, fresh_folder(tmp_path / "out"):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    assert "No space left on device" in str(told.value)
    assert "\n" not in str(told.value)
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def tiny_disk(tmp_path):
    disk = tmp_path / "tiny"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("no leave to mount a small disk")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_fills_up_leaves_no_part_behind(tiny_disk, run, monkeypatch):
    from hardpan.outputs.settings import OutputSettings
    from hardpan.outputs.stage import write_outputs

    monkeypatch.chdir(tiny_disk)
    with pytest.raises(HardpanError, match="no space left"):
        write_outputs(run, OutputSettings(), tiny_disk / "out")
    assert list(tiny_disk.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="the signal is a POSIX one")
def test_a_killed_run_leaves_the_earlier_result_whole(tmp_path):
    out = earlier_result(tmp_path / "out")
    code = (
        "import os, signal, sys; from pathlib import Path; from hardpan.outputs.folder import fresh_folder\n"
        "with fresh_folder(Path(sys.argv[1])) as work:\n"
        "    (work / 'zones.csv').write_text('half'); os.kill(os.getpid(), signal.SIGKILL)"
    )
    killed = subprocess.run([sys.executable, "-c", code, out], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert (out / "zones.csv").read_text() == "old"
    with fresh_folder(out) as work:
        (work / MANIFEST).write_text("{}")
    assert [path.name for path in out.iterdir()] == [MANIFEST]


@pytest.fixture
def gone():
    """The number of a process that has ended."""
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    return ended.pid


def write_again(out: Path) -> None:
    with fresh_folder(out) as work:
        (work / MANIFEST).write_text("{}")


@pytest.mark.skipif(os.name != "posix", reason="the signal is a POSIX one")
def test_what_a_killed_run_left_is_cleared_by_the_next(tmp_path):
    out = earlier_result(tmp_path / "out")
    code = (
        "import os, signal, sys; from pathlib import Path; from hardpan.outputs.folder import fresh_folder\n"
        "with fresh_folder(Path(sys.argv[1])) as work:\n"
        "    (work / 'half.csv').write_text('half'); os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(out)], check=False)
    assert len(list(tmp_path.iterdir())) == 2
    write_again(out)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.skipif(os.name != "posix", reason="processes cannot be asked for elsewhere")
def test_a_result_moved_aside_when_the_run_was_killed_comes_back_and_is_not_lost(tmp_path, gone):
    earlier_result(tmp_path / f".out.{gone}.old")

    def fail_half_way():
        with fresh_folder(tmp_path / "out"):
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert (tmp_path / "out" / "zones.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.skipif(os.name != "posix", reason="processes cannot be asked for elsewhere")
def test_a_leftover_of_the_same_process_number_is_an_earlier_runs(tmp_path):
    earlier_result(tmp_path / f".out.{os.getpid()}.old")
    write_again(tmp_path / "out")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.skipif(os.name != "posix", reason="processes cannot be asked for elsewhere")
def test_nothing_but_our_own_leftovers_is_touched(tmp_path, gone):
    alive = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
    earlier_result(tmp_path / f".out.{alive.pid}.part")  # a run at work
    earlier_result(tmp_path / f".other.{gone}.part")  # of another result
    earlier_result(tmp_path / f".out.{gone}.partial")
    earlier_result(tmp_path / f".out.0{gone}.old")
    (tmp_path / f".out.{gone}.old").write_text("a file")
    theirs = tmp_path / f".out.{gone}.part"  # named alike, but neither marked nor a result
    theirs.mkdir()
    (theirs / "chapter.txt").write_text("years of work")
    before = sorted(path.name for path in tmp_path.iterdir())
    write_again(tmp_path / "out")
    alive.communicate()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*before, "out"])
    assert (theirs / "chapter.txt").read_text() == "years of work"


@pytest.mark.skipif(os.name != "posix", reason="processes cannot be asked for elsewhere")
def test_a_part_written_on_another_machine_is_left_alone(tmp_path, gone):
    part = tmp_path / f".out.{gone}.part"
    part.mkdir()
    (part / ".hardpan").write_text("another machine")
    write_again(tmp_path / "out")
    assert part.is_dir()


@pytest.mark.skipif(os.name != "posix", reason="processes cannot be asked for elsewhere")
def test_a_link_named_like_a_leftover_is_not_followed(tmp_path, gone):
    precious = earlier_result(tmp_path / "precious")
    (tmp_path / f".out.{gone}.part").symlink_to(precious)
    write_again(tmp_path / "out")
    assert (precious / "zones.csv").read_text() == "old"
