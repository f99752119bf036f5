"""What `hardpan run` refuses before it maps anything, `hardpan check` refuses with the same words."""

import importlib.util

import pytest
from typer.testing import CliRunner

import hardpan.run.chain
from hardpan.cli import app
from small_paddock import SIDE_M, SITES, Small, rectangle

TRACTOR = 'tractor = { like = "tracked-370kw", %s }'
RIPPER = 'ripper = { like = "seven-tine-600", %s }'
OVER = SIDE_M + 20

REFUSED = {
    "all probes at one spot": (Small(sites=[(100, 100)] * 6), "1 probe sites can be used"),
    "ground softer than the threshold, read to a third of it": (
        Small(seen_to_mm=300, threshold_kpa=9000, tables={"probes": "depth_limit_mm = 700"}),
        "no insertion shows a pan at the threshold of pan.critical_kpa, and only 0 of 6 sites",
    ),
    "sites within half a metre": (Small(sites=[(100, 100), (100.2, 100), (50, 50)]), "lie at 2 places"),
    "two sites": (Small(sites=SITES[:2]), "2 of 2 insertions can be used"),
    "exclusions cover everything": (Small(exclusion=rectangle(-10, -10, OVER, OVER)), "cover the whole paddock"),
    "what is kept clear covers everything": (
        Small(exclusion=rectangle(1, 1, SIDE_M - 2, SIDE_M - 2)),
        "cover the whole paddock",
    ),
    "exclusions leave less than a cell": (
        Small(exclusion=rectangle(2.63, -10, OVER, OVER), tables={"zones": "gps_error_m = 0.5"}),
        "of the paddock",
    ),
    "position error covers everything": (
        Small(exclusion=rectangle(50, 50, 9, 9), tables={"zones": "gps_error_m = 5000"}),
        "zones.gps_error_m",
    ),
    "the projection of web maps": (Small(tables={"paddock": 'crs = "EPSG:3857"'}), "100 m on this ground is 116 m"),
    "a zone far away": (Small(tables={"paddock": 'crs = "EPSG:32756"'}), "100 m on this ground is 111 m"),
    "a CRS in degrees": (Small(tables={"paddock": 'crs = "EPSG:4326"'}), "not projected in metres"),
    "cells larger than the paddock": (Small(tables={"surfaces": "cell_m = 5000"}), "no cells of 5000 m"),
    "hardly a cell": (Small(tables={"surfaces": "cell_m = 150"}), "2 cells of 150 m"),
    "a sliver": (
        Small(ring=rectangle(100, 0, 0.4, SIDE_M), tables={"probes": "outside_tolerance_m = 500"}),
        "no cells of 5 m",
    ),
    "a width no piece can have": (Small(tables={"zones": "min_width_m = 5000"}), "wider than the paddock"),
    "a tractor of no class": (Small(tables={"machine": TRACTOR % "engine_power = 5"}), "no remaining value is known"),
    "tines that bear nothing": (
        Small(tables={"machine": RIPPER % "breakout_rating = 0.1"}),
        "beyond the break-out rating of a tine",
    ),
    "fuel and slip": (
        Small(tables={"machine": "observed_fuel_l_per_ha = 30\nobserved_slip = 0.1"}),
        "are both given",
    ),
    "less fuel than idling": (Small(tables={"machine": "observed_fuel_l_per_ha = 0.5"}), "burns idling"),
    "depths that cross": (Small(tables={"machine": RIPPER % "min_depth = 900"}), "deeper than the deepest"),
    "no step between the depths": (
        Small(tables={"machine": RIPPER % "min_depth = 410, max_depth = 420", "prescription": "step_mm = 200"}),
        "no depth on steps of 200 mm",
    ),
    "an unknown set-up": (Small(tables={"machine": 'setup = "plough"'}), "'plough' is not known"),
    "an unknown crop": (Small(tables={"season": 'crop = "nothing"'}), "'nothing' is not known"),
    "a price below nothing": (Small(tables={"prices": "fuel_per_l = -1"}), "fuel_per_l = -1"),
    "another currency without a rate": (Small(tables={"prices": 'currency = "USD"'}), "prices.currency is USD"),
    "an own number of no table": (Small(tables={"numbers.effort.slip": "trak = 0.05"}), "did you mean 'track'?"),
    "an own number of another unit": (Small(tables={"numbers.effort": 'wear_depth = "9 kPa"'}), "brought to mm"),
    "a file that is not there": (Small(tables={"soil": 'cores = "no.csv"'}), "no such file for the lab cores"),
    "an unknown format": (Small(tables={"outputs": 'formats = ["paper"]'}), "outputs.formats"),
}


@pytest.mark.parametrize(("small", "words"), REFUSED.values(), ids=REFUSED)
def test_check_and_run_refuse_alike_before_anything_is_mapped(small, words, tmp_path, monkeypatch):
    monkeypatch.setattr(hardpan.run.chain, "map_pan", lambda *_, **__: pytest.fail("mapped"))
    check, run = both(small, tmp_path)
    assert (check.exit_code, check.stderr) == (run.exit_code, run.stderr)
    assert check.exit_code == 2
    assert words in check.stderr
    assert len(check.stderr.splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["in"]


def test_check_and_run_refuse_a_format_whose_library_is_missing(tmp_path, monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr("hardpan.outputs.display.find_spec", lambda name: None if name == "pyarrow" else found(name))
    check, run = both(Small(tables={"outputs": 'formats = ["geoparquet"]'}), tmp_path)
    assert check.stderr == run.stderr == (
        "hardpan: outputs.formats: geoparquet needs pyarrow; install the extra hardpan[parquet]\n"
    )  # fmt: skip
    assert (check.exit_code, run.exit_code) == (2, 2)


def test_a_good_paddock_is_ready_to_run(tmp_path):
    told = CliRunner().invoke(app, ["check", str(Small().write(tmp_path / "in"))])
    assert (told.exit_code, told.stderr) == (0, "")
    assert "6 insertions at 6 sites, 4.0 ha" in told.stdout
    assert "ready to run." in told.stdout


def test_check_counts_the_cells_of_a_narrow_paddock_before_it_says_ready(tmp_path):
    narrow = Small(ring=rectangle(98, 0, 6, SIDE_M), tables={"probes": "outside_tolerance_m = 500"})
    told = CliRunner().invoke(app, ["check", str(narrow.write(tmp_path / "in"))])
    assert told.exit_code == 0


@pytest.mark.parametrize("zone", ["EPSG:32750", "EPSG:28351", "EPSG:3577"])
def test_a_working_crs_true_to_two_percent_is_taken(zone, tmp_path):
    # the neighbouring UTM zone, a national grid, and a national equal-area projection at 123 degrees east, 31 south
    told = CliRunner().invoke(app, ["check", str(Small(tables={"paddock": f'crs = "{zone}"'}).write(tmp_path / "in"))])
    assert told.exit_code == 0, told.stderr


def both(small, folder):
    """Results of check and run on the same files."""
    config = str(small.write(folder / "in"))
    runner = CliRunner()
    return runner.invoke(app, ["check", config]), runner.invoke(app, ["run", config, "--out", str(folder / "out")])
