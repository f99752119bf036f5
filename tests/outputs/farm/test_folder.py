"""What in the folder of a farm may be replaced."""

import json

import pytest

from hardpan.core.errors import HardpanError
from hardpan.outputs.farm.folder import REPLACED, check_farm_folder, own_files
from hardpan.outputs.folder import fresh_files
from hardpan.outputs.manifest import write_document
from hardpan.outputs.ownership import digests


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
