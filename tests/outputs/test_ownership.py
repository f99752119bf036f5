"""Nothing is replaced but a result that nobody changed, not even what is put there while a run is at work."""

import json
import shutil
from pathlib import Path

import pytest

from builders.results import content, earlier_result, write_again, write_result
from hardpan.core.errors import HardpanError
from hardpan.outputs.folder import check_folder, fresh_folder
from hardpan.outputs.ownership import MANIFEST, digests


def put_notes(out: Path) -> None:
    (out / "notes.txt").write_text("mine")


def put_folder(out: Path) -> None:
    (out / "photos").mkdir()


def put_notes_deep(out: Path) -> None:
    (out / "photos" / "deep").mkdir(parents=True)
    (out / "photos" / "deep" / "paddock.jpg").write_text("mine")


def put_link(out: Path) -> None:
    (out / "archive").symlink_to(out.parent)


def put_dead_link(out: Path) -> None:
    (out / "archive").symlink_to("nowhere")


def link_listed(out: Path) -> None:
    (out / "zones.csv").rename(out.parent / "zones.csv")
    (out / "zones.csv").symlink_to(out.parent / "zones.csv")


def edit(out: Path) -> None:
    (out / "zones.csv").write_text("mine")


def edit_manifest(out: Path) -> None:
    told = json.loads((out / MANIFEST).read_text())
    (out / MANIFEST).write_text(json.dumps({**told, "note": "mine"}))


def another_tools(out: Path) -> None:
    (out / MANIFEST).write_text('{"tool": "another", "clock": {}}')


def no_json(out: Path) -> None:
    (out / MANIFEST).write_text("not JSON")


def deep_json(out: Path) -> None:
    (out / MANIFEST).write_text("[" * 100_000)


def no_record(out: Path) -> None:
    (out / MANIFEST).write_text("[1, 2]")


def no_manifest(out: Path) -> None:
    (out / MANIFEST).unlink()


def linked_manifest(out: Path) -> None:
    (out / MANIFEST).rename(out.parent / MANIFEST)
    (out / MANIFEST).symlink_to(out.parent / MANIFEST)


def of_an_older_version(out: Path) -> None:
    listed = {"zones.csv": digests(out)["zones.csv"]}
    told = {"tool": "hardpan", "version": "0.1.0", "files_sha256": listed, "clock": {"started": "", "timings_s": {}}}
    (out / MANIFEST).write_text(json.dumps(told))


THEIRS = {
    put_notes: "holds notes.txt, which is not part",
    put_folder: "holds the folder photos, which is not part",
    put_notes_deep: "holds the folder photos, which is not part",
    put_link: "holds the link archive, which is not part",
    put_dead_link: "holds the link archive, which is not part",
    link_listed: "holds the link zones.csv, which is not part",
    edit: "zones.csv was changed",
    edit_manifest: "run.json was changed",
    another_tools: "holds a run.json that this tool did not write",
    no_json: "holds a run.json that this tool did not write",
    deep_json: "holds a run.json that this tool did not write",
    no_record: "holds a run.json that this tool did not write",
    no_manifest: "holds no run.json",
    linked_manifest: "holds no run.json",
    of_an_older_version: "lists no files [(]older versions wrote none[)]",
}


@pytest.mark.parametrize("change", THEIRS, ids=lambda change: change.__name__)
def test_what_is_not_an_unchanged_result_is_never_replaced(tmp_path, change):
    out = earlier_result(tmp_path / "out")
    change(out)
    before = content(tmp_path)
    with pytest.raises(HardpanError, match=THEIRS[change]) as told:
        check_folder(out)
    assert "\n" not in str(told.value)
    with pytest.raises(HardpanError), fresh_folder(out):
        pytest.fail("the block must not be entered")
    assert content(tmp_path) == before


@pytest.mark.parametrize("change", THEIRS, ids=lambda change: change.__name__)
def test_what_is_put_there_while_a_run_is_at_work_is_not_lost(tmp_path, change):
    (tmp_path / "expected").mkdir()
    change(earlier_result(tmp_path / "expected" / "out"))
    earlier_result(tmp_path / "out")
    with pytest.raises(HardpanError, match=f"{THEIRS[change]}.*while this run was at work"):
        write_again(tmp_path / "out", change)
    assert content(tmp_path / "out").keys() == content(tmp_path / "expected" / "out").keys()
    assert not list(tmp_path.glob(".*"))


def test_a_result_of_which_files_were_taken_away_is_replaced(tmp_path):
    out = earlier_result(tmp_path / "out")
    (out / "report.html").unlink()
    write_again(out)
    assert (out / "zones.csv").read_text() == "new"


def test_a_result_copied_elsewhere_is_a_result_still(tmp_path):
    shutil.copytree(earlier_result(tmp_path / "out"), tmp_path / "copy")
    write_again(tmp_path / "copy")
    assert (tmp_path / "copy" / "zones.csv").read_text() == "new"


def test_a_result_in_folders_is_replaced_with_them(tmp_path):
    with fresh_folder(tmp_path / "out") as work:
        (work / "paddock").mkdir()
        (work / "paddock" / "a.csv").write_text("a")
        write_result(work, "old")
    write_again(tmp_path / "out")
    assert sorted(content(tmp_path / "out")) == ["report.html", MANIFEST, "zones.csv"]
