"""run.json tells where a result comes from, and keeps the clock apart."""

import hashlib
import json
from dataclasses import replace

import pytest

from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.stage import write_outputs


@pytest.fixture(scope="module")
def folder(run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("manifest") / "out"
    write_outputs(run, OutputSettings(formats=("geojson",)), folder)
    return folder


@pytest.fixture(scope="module")
def manifest(folder):
    def refuse(constant):
        message = f"{constant} is not JSON"
        raise ValueError(message)

    return json.loads((folder / "run.json").read_text(encoding="utf-8"), parse_constant=refuse)


def test_inputs_settings_versions_and_seed_are_there(manifest, run):
    assert manifest["inputs_sha256"] == run.trail.inputs.to_dict()
    assert manifest["settings"] == run.trail.settings
    assert manifest["settings_sha256"] == run.trail.settings_digest
    assert manifest["versions"] == run.trail.versions.to_dict()
    assert manifest["seed"] == 1


def test_the_plan_number_tells_runs_apart_by_what_went_into_them(manifest, run):
    trail = run.trail
    assert manifest["plan"] == trail.plan_number == replace(trail, started="2027-01-01T00:00:00Z").plan_number
    others = (
        replace(trail, settings_digest="ef" * 32),
        replace(trail, version="0.2.0"),
        replace(trail, inputs=trail.inputs.replace("ab" * 32, "ba" * 32)),
    )
    assert len({trail.plan_number, *(other.plan_number for other in others)}) == 4


def test_every_datum_move_is_named_the_last_one_too(manifest):
    moves = {move["file"]: move for move in manifest["datum_moves"]}
    assert set(moves) == {"probes.csv", "(outputs)"}
    assert moves["(outputs)"]["to_crs"] == "EPSG:4326"
    assert "UTM zone 50S" in moves["(outputs)"]["operation"]


def test_only_the_clock_holds_times(manifest):
    clock = dict(manifest["clock"])
    assert set(clock) == {"started", "timings_s", "files_sha256", "seal_sha256"}
    assert clock["started"] == "2026-11-25T08:00:00+00:00"
    assert clock["timings_s"] == {"survey": 1.0}
    rest = {key: value for key, value in manifest.items() if key != "clock"}
    assert "2026-11-25" not in json.dumps(rest)


def test_missing_scores_are_null(manifest):
    assert manifest["cross_validation"][2]["crps"] is None


def test_the_cross_check_of_the_models_is_kept_in_full(manifest, surfaces):
    assert manifest["variograms"] == surfaces.variograms.to_dict("records")


def test_digests_are_those_of_the_files(manifest, folder):
    assert set(manifest["clock"]["files_sha256"]) == {path.name for path in folder.iterdir()} - {"run.json"}
    assert set(manifest["files_sha256"]) == {
        "issues.csv",
        "prescription.geojson",
        "readings.csv",
        "residuals.csv",
        "tallies.csv",
        "zones.csv",
    }
    for name, digest in {**manifest["clock"]["files_sha256"], **manifest["files_sha256"]}.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
