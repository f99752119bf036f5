"""An earlier result stays whole whatever happens, and nothing else is ever replaced."""

import errno
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from builders.results import content, earlier_result, write_again, write_result
from hardpan.core.errors import HardpanError, ReadBackError
from hardpan.outputs.folder import check_folder, clear_leftovers, fresh_folder
from hardpan.records.trail import MANIFEST


def test_a_new_folder_holds_what_was_written(tmp_path):
    with fresh_folder(tmp_path / "deep" / "out") as work:
        (work / "a.txt").write_text("new")
    assert (tmp_path / "deep" / "out" / "a.txt").read_text() == "new"
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["out"]


def test_an_earlier_result_is_replaced_whole(tmp_path):
    out = earlier_result(tmp_path / "out")
    (out / "zones.csv").unlink()
    with fresh_folder(out) as work:
        (work / "a.csv").write_text("a")
    assert [path.name for path in out.iterdir()] == ["a.csv"]
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


def fail_the_read_back(out: Path, *, keep: bool) -> None:
    with fresh_folder(out, keep=keep) as work:
        (work / "prescription.gpkg").write_text("wrong")
        raise ReadBackError(found="zone 3 has 76 ha", where="prescription.gpkg", planned="58 ha", why="rings do that")


def test_files_read_back_wrong_are_left_unchecked_only_where_that_is_asked_for(tmp_path):
    out = earlier_result(tmp_path / "out")
    before = content(out)
    with pytest.raises(ReadBackError, match="nothing was written: run again with --keep"):
        fail_the_read_back(out, keep=False)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    for name in ("out.unchecked", "out.unchecked-2"):
        with pytest.raises(ReadBackError, match=rf"the files are left in \S+{name}, unchecked") as told:
            fail_the_read_back(out, keep=True)
        assert "--keep" not in str(told.value)
        kept = content(tmp_path / name)
        assert sorted(kept) == ["UNCHECKED.txt", "prescription.gpkg"]
        assert b"zone 3 has 76 ha; expected 58 ha" in kept["UNCHECKED.txt"]
    assert content(out) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "out.unchecked", "out.unchecked-2"]


def test_unchecked_files_are_no_result_and_never_replaced(tmp_path):
    with pytest.raises(ReadBackError):
        fail_the_read_back(tmp_path / "out", keep=True)
    with pytest.raises(HardpanError, match=r"run\.json"):
        check_folder(tmp_path / "out.unchecked")


def test_another_fault_leaves_nothing_even_where_unchecked_files_are_to_be_kept(tmp_path):
    with pytest.raises(ZeroDivisionError), fresh_folder(tmp_path / "out", keep=True) as work:
        (work / "a.txt").write_text(str(1 / 0))
    assert list(tmp_path.iterdir()) == []


def test_an_earlier_result_comes_back_when_the_last_rename_fails(tmp_path, monkeypatch):
    out = earlier_result(tmp_path / "out")
    rename = Path.rename

    def refuse_the_new(path, target):
        if path.name == "new":
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
    with pytest.raises(HardpanError, match="is a file; expected a new or empty folder"):
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
    with pytest.raises(HardpanError, match=r"(?i)no space left"):
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
    write_again(out)
    assert (out / "zones.csv").read_text() == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


KILLED = """
import os, signal, sys, pathlib
from pathlib import Path
from hardpan.outputs.folder import fresh_folder
rename = Path.rename
def killed(path, target):
    rename(path, target)
    if path.name == "out": os.kill(os.getpid(), signal.SIGKILL)
if sys.argv[2] == "renaming": Path.rename = killed
with fresh_folder(Path(sys.argv[1])) as work:
    (work / "half.csv").write_text("half")
    if sys.argv[2] == "writing": os.kill(os.getpid(), signal.SIGKILL)
"""


def kill_a_run(out: Path, while_: str) -> Path:
    """The part that a run leaves which is killed while it is writing, or between its two renames."""
    before = set(out.parent.glob(".*.part"))
    killed = subprocess.run([sys.executable, "-c", KILLED, str(out), while_], check=False)
    assert killed.returncode == -signal.SIGKILL
    (part,) = set(out.parent.glob(".*.part")) - before
    return part


posix = pytest.mark.skipif(os.name != "posix", reason="there are no such locks elsewhere")


@posix
def test_a_killed_run_is_cleared_by_a_run_to_another_place_beside_it(tmp_path):
    earlier_result(tmp_path / "out")
    kill_a_run(tmp_path / "out", "writing")
    with fresh_folder(tmp_path / "other") as work:
        write_result(work, "new")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other", "out"]
    assert (tmp_path / "out" / "zones.csv").read_text() == "old"


@posix
def test_a_result_moved_aside_when_the_run_was_killed_comes_back(tmp_path):
    before = content(earlier_result(tmp_path / "out"))
    kill_a_run(tmp_path / "out", "renaming")
    assert not (tmp_path / "out").exists()
    clear_leftovers(tmp_path)
    assert content(tmp_path / "out") == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@posix
def test_a_result_moved_aside_is_kept_where_its_place_is_taken_and_it_was_changed(tmp_path):
    earlier_result(tmp_path / "out")
    part = kill_a_run(tmp_path / "out", "renaming")
    (part / "old" / "notes.txt").write_text("mine")
    earlier_result(tmp_path / "out")
    clear_leftovers(tmp_path)
    assert (part / "old" / "notes.txt").read_text() == "mine"


@posix
def test_the_part_of_a_run_at_work_is_left_alone_whatever_number_its_name_bears(tmp_path):
    code = (
        "import sys; from pathlib import Path; from hardpan.outputs.folder import fresh_folder\n"
        "with fresh_folder(Path(sys.argv[1])) as work:\n"
        "    print('at work', flush=True); input(); (work / 'zones.csv').write_text('new')"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "out")]
    alive = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert alive.stdout.readline() == "at work\n"
    (part,) = tmp_path.glob(".*.part")
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    clear_leftovers(tmp_path)
    with fresh_folder(tmp_path / "other") as work:
        write_result(work, "other")
    assert part.is_dir()
    alive.communicate("\n")
    assert alive.returncode == 0
    assert (tmp_path / "out" / "zones.csv").read_text() == "new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other", "out"]


@posix
def test_a_part_is_cleared_though_its_process_number_is_in_use_again(tmp_path):
    part = kill_a_run(tmp_path / "out", "writing")
    part.rename(tmp_path / f".out.{os.getpid()}.again.part")
    clear_leftovers(tmp_path)
    assert list(tmp_path.iterdir()) == []


@posix
def test_a_part_written_on_another_machine_is_left_alone(tmp_path):
    part = kill_a_run(tmp_path / "out", "writing")
    told = (part / ".hardpan").read_text()
    (part / ".hardpan").write_text(told.replace(socket.gethostname(), "another-machine"))
    clear_leftovers(tmp_path)
    assert part.is_dir()


@posix
def test_nothing_but_marked_parts_is_touched(tmp_path):
    part = kill_a_run(tmp_path / "out", "writing")
    precious = part.rename(tmp_path / "precious")  # marked, but not named so
    (tmp_path / ".out.1.a.part").symlink_to(precious)  # a link named so
    (tmp_path / ".out.1.b.part").write_text("a file")
    for name, mark in {"c": None, "d": "", "e": "[]", "f": '{"host": "x"}'}.items():
        theirs = tmp_path / f".out.1.{name}.part"
        theirs.mkdir()
        (theirs / "chapter.txt").write_text("years of work")
        if mark is not None:
            (theirs / ".hardpan").write_text(mark)
    before = content(tmp_path)
    clear_leftovers(tmp_path)
    assert content(tmp_path) == before


@posix
def test_a_run_killed_before_it_could_mark_its_part_leaves_nothing_either(tmp_path):
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    for number, name in ((gone.pid, "a"), (gone.pid, "b"), (os.getpid(), "c")):
        (tmp_path / f".out.{number}.{name}.part").mkdir()
    (tmp_path / f".out.{gone.pid}.b.part" / "mark").write_text("")
    clear_leftovers(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [f".out.{os.getpid()}.c.part"]


def test_a_place_that_is_not_there_has_no_leftovers(tmp_path):
    (tmp_path / "file").write_text("a file")
    (tmp_path / "loop").symlink_to("loop")
    clear_leftovers(tmp_path / "none", tmp_path / "file", tmp_path / "loop")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "loop"]


def put_notes(out: Path) -> None:
    (out / "notes.txt").write_text("mine")


def test_a_note_put_there_at_the_last_moment_is_not_lost(tmp_path, monkeypatch):
    out = earlier_result(tmp_path / "out")
    before = content(out)
    rename = Path.rename

    def note_then_rename(path, target):
        if path == out and not (out / "notes.txt").exists():
            put_notes(out)
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", note_then_rename)
    with pytest.raises(HardpanError, match=r"holds notes\.txt.*while this run was at work"):
        write_again(out)
    assert content(tmp_path / "out") == {**before, "notes.txt": b"mine"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@posix
@pytest.mark.parametrize("seed", range(12))
def test_a_run_killed_at_a_random_moment_harms_nothing_and_leaves_nothing_after_the_next(tmp_path, seed):
    code = (
        "import sys; from pathlib import Path; from builders.results import write_again\n"
        "print('go', flush=True)\n"
        "while True: write_again(Path(sys.argv[1]))"
    )
    out = earlier_result(tmp_path / "out")
    command = [sys.executable, "-c", code, str(out)]
    folders = os.pathsep.join([str(Path(__file__).parents[1]), *sys.path])
    killed = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": folders})
    assert killed.stdout.readline() == "go\n"
    time.sleep(np.random.default_rng(seed).uniform(0.0, 0.05))
    killed.kill()
    killed.communicate()
    clear_leftovers(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    check_folder(out)
    assert sorted(content(out)) == ["report.html", MANIFEST, "zones.csv"]


def test_files_put_where_there_was_no_folder_at_the_start_are_not_lost(tmp_path):
    def put_notes_in_a_new_folder(out: Path) -> None:
        out.mkdir()
        put_notes(out)

    with pytest.raises(HardpanError, match="while this run was at work"):
        write_again(tmp_path / "out", put_notes_in_a_new_folder)
    assert content(tmp_path) == {"out/notes.txt": b"mine"}


@pytest.mark.parametrize("name", ["Süd-Koppel №7 畑", "-rf", "with space ", "a" * 255, "ü" * 127])
def test_any_name_a_folder_can_bear_will_do(tmp_path, name):
    write_again(tmp_path / name)
    write_again(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_name_too_long_is_told_at_once(tmp_path):
    with pytest.raises(HardpanError, match="cannot be used: File name too long"):
        check_folder(tmp_path / ("a" * 256))


def test_a_slash_at_the_end_changes_nothing(tmp_path):
    write_again(Path(f"{tmp_path}/out/"))
    write_again(Path(f"{tmp_path}/out/."))
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_link_to_a_folder_stands_for_the_folder(tmp_path):
    (tmp_path / "disk").mkdir()
    earlier_result(tmp_path / "disk" / "results")
    (tmp_path / "out").symlink_to(tmp_path / "disk" / "results")
    write_again(tmp_path / "out")
    assert (tmp_path / "out").is_symlink()
    assert (tmp_path / "disk" / "results" / "zones.csv").read_text() == "new"
    put_notes(tmp_path / "disk" / "results")
    with pytest.raises(HardpanError, match=r"holds notes\.txt"):
        check_folder(tmp_path / "out")


def test_a_link_that_leads_in_a_circle_is_refused(tmp_path):
    (tmp_path / "out").symlink_to("out")
    with pytest.raises(HardpanError, match="cannot be used"):
        check_folder(tmp_path / "out")


def test_the_current_folder_those_above_it_and_home_are_refused(tmp_path, monkeypatch):
    here, home = tmp_path / "work" / "here", tmp_path / "people" / "home"
    here.mkdir(parents=True)
    home.mkdir(parents=True)
    monkeypatch.chdir(here)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("USERPROFILE", str(home))
    for place in (Path(), Path(".."), here, tmp_path, Path("/")):
        with pytest.raises(HardpanError, match="the folder this command runs in, or above it"):
            check_folder(place)
    for place in (home, home.parent):
        with pytest.raises(HardpanError, match="the home folder, or above it"):
            check_folder(place)


def test_a_folder_that_holds_an_input_is_refused_even_where_it_is_an_earlier_result(tmp_path):
    out = earlier_result(tmp_path / "out")
    check_folder(out)
    with pytest.raises(HardpanError, match=r"holds zones\.csv, which this run reads"):
        check_folder(out, [tmp_path / "out" / "zones.csv"])
    with pytest.raises(HardpanError, match=r"holds zones\.csv, which this run reads"):
        check_folder(tmp_path, [tmp_path / "out" / ".." / "out" / "zones.csv"])


def test_a_mount_point_is_refused_before_any_work(tiny_disk):
    with pytest.raises(HardpanError, match="is a mount point"):
        check_folder(tiny_disk)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the administrator may write anywhere")
def test_an_earlier_result_that_may_not_be_written_is_refused(tmp_path):
    out = earlier_result(tmp_path / "out")
    out.chmod(0o500)
    with pytest.raises(HardpanError, match="cannot be written to"):
        check_folder(out)
    out.chmod(0o700)


def test_folders_made_on_the_way_to_a_result_that_failed_are_gone(tmp_path):
    def fail_half_way():
        with fresh_folder(tmp_path / "a" / "b" / "out"):
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert list(tmp_path.iterdir()) == []
