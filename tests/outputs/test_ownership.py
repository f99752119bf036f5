"""Nothing is replaced but a result that nobody changed, of a run or a farm, not even what is put there meanwhile."""

import json
import shutil
from pathlib import Path

import pytest

from builders.results import content, earlier_result, write_again, write_result
from hardpan.core.errors import HardpanError
from hardpan.outputs.folder import check_folder, fresh_files, fresh_folder
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import MANIFEST, REPLACED, check_farm_folder, digests, own_files


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


def write(folder, text, stop_after=None):
    """Write a farm's table and manifest; where `stop_after`, as a run killed after so many files."""
    replaced = {name: digest for name, digest in own_files(folder).items() if name != "run.json"}
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    with fresh_files(folder) as work:
        for name in ("farm.csv", "tallies.csv"):
            (work / name).write_text(text)
        document = {"tool": "hardpan", "kind": "farm", "clock": {REPLACED: replaced}}
        write_document(work / "run.json", document, digests(work))
    for name in [] if stop_after is None else ["run.json", "farm.csv", "tallies.csv"][stop_after:]:
        (folder / name).write_bytes(before[name])


@pytest.mark.parametrize("stop_after", [0, 1, 2, 3])
def test_files_of_a_farm_are_known_after_a_kill_between_any_two_of_them(tmp_path, stop_after):
    write(tmp_path, "old")
    write(tmp_path, "new", stop_after)
    check_farm_folder(tmp_path, ["north"])
    write(tmp_path, "newer", stop_after)
    check_farm_folder(tmp_path, ["north"])


def test_a_file_that_somebody_changed_stops_the_call(tmp_path):
    write(tmp_path, "old")
    (tmp_path / "farm.csv").write_text("mine")
    with pytest.raises(HardpanError, match=r"holds farm\.csv, which hardpan farm did not write or somebody changed"):
        check_farm_folder(tmp_path, ["north"])


def test_a_file_or_folder_of_the_users_in_the_place_of_ours_stops_the_call_one_line_each(tmp_path):
    (tmp_path / "season.html").write_text("mine")
    (tmp_path / "north").mkdir()
    (tmp_path / "north" / "notes.txt").write_text("mine")
    (tmp_path / "south").write_text("mine")
    with pytest.raises(HardpanError) as told:
        check_farm_folder(tmp_path, ["north", "south", "west"])
    assert [line.split("holds ")[1].split(",")[0] for line in str(told.value).splitlines()] == [
        "season.html",
        "north",
        "south",
    ]


def test_anything_else_of_the_users_is_left_as_it_is(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "maps").mkdir()
    check_farm_folder(tmp_path, ["north"])
    write(tmp_path, "new")
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert (tmp_path / "maps").is_dir()


def test_the_result_of_a_single_run_is_not_taken_for_a_farm(tmp_path):
    write_document(tmp_path / "run.json", {"tool": "hardpan", "clock": {}}, {})
    with pytest.raises(HardpanError, match=r"holds run\.json"):
        check_farm_folder(tmp_path, ["north"])


def test_a_changed_manifest_is_not_ours(tmp_path):
    write(tmp_path, "old")
    document = json.loads((tmp_path / "run.json").read_bytes())
    (tmp_path / "run.json").write_text(json.dumps({**document, "version": "2"}))
    assert own_files(tmp_path) == {}


def test_a_file_in_the_place_of_the_folder_is_one_line(tmp_path):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(HardpanError, match="is a file"):
        check_farm_folder(tmp_path / "out", [])
