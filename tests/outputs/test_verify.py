"""The files of a pass that was probed, read back by other libraries."""

import json
import re
from dataclasses import replace

import geopandas as gpd
import pandas as pd
import pytest

from builders.after import Pass, simulate
from builders.decision import shipped_catalog
from builders.pages import Seen
from hardpan.core.errors import HardpanError
from hardpan.outputs.verify import headlines, verify_words, write_verify
from hardpan.records.after import Change, Remedy, VerdictSettings, VerifyRun
from hardpan.records.trail import Trail
from hardpan.verify.stage import verify_pass

COLUMNS = [
    "zone", "verdict", "reached_line_mm", "reached_midway_mm", "low", "high", "opened_share", "opened_low",
    "opened_high", "insertions", "advice",
]  # fmt: skip
"""The contract; further columns follow."""


def run_of(seed=1, **about):
    earlier, again = simulate(seed, Pass(**about))
    found = verify_pass(earlier, again, VerdictSettings())
    trail = Trail(
        version="0", versions=pd.Series({"numpy": "2"}), settings={}, settings_digest="ab", inputs=pd.Series(dtype=str),
        seed=0, started="2027-05-20T00:00:00Z", timings_s=pd.Series({"verify": 1.0}),
    )  # fmt: skip
    return VerifyRun(
        earlier=replace(earlier, name="<b>Invented</b>"), found=found, applied=None, catalog=shipped_catalog(),
        trail=trail, issues=found.issues,
    )  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("verify") / "out"
    write_verify(run_of(truth="ridges"), out)
    return out


def test_the_table_has_the_columns_of_the_contract_and_one_row_a_ripped_zone(folder):
    table = pd.read_csv(folder / "verify.csv")
    assert list(table)[: len(COLUMNS)] == COLUMNS
    row = table.iloc[0]
    assert (row["zone"], row["verdict"], row["insertions"]) == (1, "partly", 8)
    assert row["low"] <= row["reached_midway_mm"] <= row["high"]
    assert 0 <= row["opened_low"] <= row["opened_share"] <= row["opened_high"] <= 1
    assert row["expected_midway_mm"] == 375


def test_gdal_reads_the_zones_where_they_lie(folder):
    table = gpd.read_file(folder / "verify.geojson")
    assert table.crs.to_epsg() == 4326
    assert table["verdict"].tolist() == ["partly"]
    assert table.to_crs(32751).area.sum() == pytest.approx(200_000, rel=1e-4)


def test_the_page_stands_alone_and_shows_names_as_text(folder):
    text = (folder / "verify.html").read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=\"(?!#)|url\((?!#)|@import|<script", text)
    assert "<b>Invented" not in text
    seen = Seen(text)
    assert any("Ridges of pan stay between the tines" in piece for piece in seen.pieces)


def test_the_record_names_what_was_written(folder):
    record = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert record["tool"] == "hardpan"
    assert set(record["clock"]["files_sha256"]) == {"verify.csv", "verify.geojson", "verify.html"}


def test_the_same_insertions_give_the_same_tables(folder, tmp_path):
    write_verify(run_of(truth="ridges"), tmp_path / "again")
    for name in ("verify.csv", "verify.geojson"):
        assert (folder / name).read_bytes() == (tmp_path / "again" / name).read_bytes()


def test_a_folder_that_is_not_ours_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(HardpanError):
        write_verify(run_of(truth="ridges"), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_headline_names_every_zone_and_what_comes_first():
    run = run_of(truth="nothing")
    assert headlines(run)[0] == (
        "The pan: not reached in zone 1. First: zone 1, hardly anything was loosened: check depth and points, wait for "
        "moisture, and rip again."
    )


@pytest.mark.parametrize(
    ("remedies", "says"),
    [
        ((Remedy.CLOSER, Remedy.LEADING), "set them closer, fit shallow leading tines or go deeper."),
        ((Remedy.CLOSER,), "set them closer or go deeper."),
        ((), ": go deeper."),
    ],
)
def test_against_ridges_only_what_is_not_fitted_is_advised(remedies, says):
    run = run_of(truth="ridges")
    words, (zone,) = verify_words(run).after, run.found.zones
    assert words.advice(replace(zone, remedies=remedies)).endswith(says)
    planned = words.advice(replace(zone, remedies=remedies, change=Change.PLANNED_RIDGE))
    assert ("shallow leading tines" in planned) == (Remedy.LEADING in remedies)
    assert "wings" not in planned


def test_what_nobody_can_tell_is_an_empty_cell(tmp_path):
    write_verify(run_of(truth="as planned", controls=0), tmp_path / "out")
    row = pd.read_csv(tmp_path / "out" / "verify.csv").iloc[0]
    assert row["verdict"] == "cannot tell"
    assert row[["reached_line_mm", "low", "opened_share"]].isna().all()
