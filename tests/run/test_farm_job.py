"""One paddock of many."""

import shutil
import weakref
from dataclasses import replace

import pytest

from builders.farm import NOW, job
from hardpan.records.farm import Allotment, Status
from hardpan.run import chain, farm_job
from hardpan.run.config import read_config
from hardpan.run.farm_job import is_current, work_paddock
from hardpan.run.manifest import Clock
from small_paddock import Small

FORMATS = {"outputs": {"formats": ["geojson"]}}


@pytest.fixture(scope="module")
def worked(tmp_path_factory):
    """A paddock, worked out."""
    folder = tmp_path_factory.mktemp("paddock")
    asked = job("north", folder / "out", config=Small().write(folder / "in"), defaults=FORMATS)
    assert work_paddock(asked).status is Status.DONE
    return asked


@pytest.fixture
def copy(worked, tmp_path):
    """The same, to be spoilt."""
    shutil.copytree(worked.config.parent, tmp_path / "in")
    shutil.copytree(worked.folder, tmp_path / "out" / "north")
    return replace(worked, config=tmp_path / "in" / worked.config.name, folder=tmp_path / "out" / "north")


def current(asked):
    return is_current(asked.folder, read_config(asked.config, asked.defaults))


def test_a_result_is_that_of_a_run_with_the_same_settings_whatever_it_may_take_of_the_machine(worked):
    config = read_config(worked.config, FORMATS)
    part = Allotment(free_bytes=4e9, threads=1)
    with_part, alone = (chain.run_paddock(config, Clock(now=NOW), **given) for given in ({"allotment": part}, {}))
    assert with_part.trail.plan_number == alone.trail.plan_number
    assert with_part.surfaces.draws.equals(alone.surfaces.draws)
    assert with_part.plan.zones.equals(alone.plan.zones)


def test_nothing_of_a_paddock_is_held_once_it_is_worked_out(worked, monkeypatch):
    held = []

    def watched(*given, **asked):
        result = chain.run_paddock(*given, **asked)
        held.extend(map(weakref.ref, (result.surfaces.draws, result.pan.insertions, result.options.table)))
        return result

    monkeypatch.setattr(farm_job, "run_paddock", watched)
    assert work_paddock(replace(worked, earlier=False)).status is Status.DONE
    assert len(held) == 3
    assert not any(one() is not None for one in held)


def test_a_result_is_kept_where_nothing_changed(worked):
    again = work_paddock(worked)
    assert (again.status, again.reason) == (Status.KEPT, "")


def spoil_input(asked):
    path = asked.config.parent / "probes.csv"
    path.write_text(path.read_text().replace("3420", "3421"))


def spoil_setting(asked):
    asked.config.write_text(asked.config.read_text().replace("draws = 20", "draws = 21"))


def lose_a_file(asked):
    (asked.folder / "zones.csv").unlink()


def lose_the_record(asked):
    (asked.folder / "run.json").unlink()


@pytest.mark.parametrize("spoil", [spoil_input, spoil_setting, lose_a_file, lose_the_record])
def test_a_result_is_not_current_once_anything_changed(copy, spoil):
    assert current(copy)
    spoil(copy)
    assert not current(copy)


def test_a_result_that_could_not_be_read_is_worked_out_anew(copy):
    assert work_paddock(replace(copy, earlier=False)).status is Status.DONE


def test_a_result_of_another_version_is_not_current(copy, monkeypatch):
    monkeypatch.setattr(farm_job.hardpan, "__version__", "0.0.1")
    assert not current(copy)


def test_a_changed_default_is_a_changed_setting(worked):
    changed = {"outputs": {"formats": ["geojson"]}, "season": {"crop": "canola"}}
    assert not is_current(worked.folder, read_config(worked.config, changed))


def edit_a_file(asked):
    path = asked.folder / "zones.csv"
    path.write_text(path.read_text() + "\n")


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda asked: asked.config.write_text("[paddock"), "not valid TOML"),
        (lambda asked: asked.config.write_text(asked.config.read_text() + "\nwidth = 3"), "unknown key"),
        (lambda asked: (asked.config.parent / "probes.csv").unlink(), "no such file"),
        (edit_a_file, "zones.csv was changed"),
    ],
)
def test_a_paddock_that_fails_says_so_in_one_line_and_leaves_its_folder_as_it_was(copy, spoil, told):
    spoil(copy)
    before = {path.name: path.read_bytes() for path in copy.folder.iterdir()}
    found = work_paddock(copy)
    assert found.status is Status.FAILED
    assert told in found.reason
    assert len(found.reason.splitlines()) == 1
    assert {path.name: path.read_bytes() for path in copy.folder.iterdir()} == before


def test_another_version_is_one_line(worked):
    found = work_paddock(replace(worked, version="0.0.1"))
    assert found.status is Status.FAILED
    assert found.reason.startswith("the worker has hardpan ")
    assert "expected 0.0.1" in found.reason


def test_a_fault_of_ours_fails_its_paddock_only(copy, monkeypatch):
    spoil_setting(copy)
    monkeypatch.setattr(farm_job, "run_paddock", lambda *_, **__: 1 / 0)
    found = work_paddock(copy)
    assert found.status is Status.FAILED
    assert "unexpected fault (ZeroDivisionError: division by zero)" in found.reason


def test_a_paddock_that_cannot_fit_its_part_of_the_machine_is_refused_with_both_figures(copy):
    copy.config.write_text(copy.config.read_text() + "\n[memory]\nalways_gb = 0\n")
    found = work_paddock(replace(copy, allotment=Allotment(free_bytes=5e8, threads=1)))
    assert found.status is Status.FAILED
    assert "would take about" in found.reason
    assert "expected at most 0.4 GB, 80 % (memory.share) of the 0.5 GB for each run at a time" in found.reason


def test_a_dry_run_projects_memory_and_writes_nothing(copy):
    spoil_setting(copy)
    before = {path.name: path.read_bytes() for path in copy.folder.iterdir()}
    found = work_paddock(replace(copy, dry=True))
    assert found.status is Status.ASKED
    assert found.projected_bytes is not None
    assert {path.name: path.read_bytes() for path in copy.folder.iterdir()} == before


def test_the_peak_of_a_run_stays_under_what_was_projected(copy):
    spoil_setting(copy)
    projected = work_paddock(replace(copy, dry=True)).projected_bytes
    found = work_paddock(copy)
    if found.peak_bytes is None:
        pytest.skip("this system does not tell the peak of a process")
    assert found.status is Status.DONE
    assert 0.0 < found.peak_bytes <= projected
