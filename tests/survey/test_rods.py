"""The end of the rod and the load limit belong to a file, a date and a device."""

import numpy as np
import pytest

from hardpan.core.errors import HardpanError
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.records.survey import Stop
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from small_paddock import SITES, SOUTH_M, WEST_M, Small

DEPTHS_MM = np.arange(50, 701, 25)
SOFT, HARD = 900.0, 3400.0


def write(folder, tables, probes=""):
    """Survey of probe files: name to rows of site, insertion, device, depth and kPa; no column of empty devices."""
    files = ", ".join(f'"{name}"' for name in tables)
    path = Small(tables={"probes": f"file = [{files}]\n{probes}"}).write(folder)
    for name, rows in tables.items():
        known = any(device for _, _, device, *_ in rows)
        lines = [f"site,insertion,x,y,{'device,' * known}depth_mm,kPa"]
        for number, own, device, depth, kpa in rows:
            east, north = SITES[number]
            place = f"S{number},{own},{WEST_M + east:.2f},{SOUTH_M + north:.2f}"
            lines.append(f"{place},{f'{device},' * known}{depth:g},{kpa:g}")
        (folder / name).write_text("\n".join(lines) + "\n")
    config = read_config(path)
    return read_inputs(config, read_catalog(config))[0]


def insertion(number, name, device, to_mm, *, pan=True, most=np.inf):
    """Rows of one insertion with a pan from 300 mm to beyond the end, or soft ground."""
    return [
        (
            number,
            name,
            device,
            depth,
            min(HARD + 8 * number + depth / 10, most) if pan and depth > 300 else SOFT + number + depth,
        )
        for depth in DEPTHS_MM
        if depth <= to_mm
    ]


def stops(survey):
    readings = survey.profiles.readings
    return {
        str(stop) for stop, end in zip(readings["stop"].values, readings["stop_mm"].values, strict=True) if end == 450.0
    }


def two_devices(first, second):
    """Six sites, each pushed with a rod of 450 mm and with one of 700 mm, half of them soft ground."""
    return [
        row
        for number in range(len(SITES))
        for device, to_mm in ((first, 450), (second, 700))
        for row in insertion(number, device or to_mm, device, to_mm, pan=number % 2 == 0)
    ]


def test_a_column_of_devices_gives_each_its_own_rod(tmp_path):
    survey = write(tmp_path, {"probes.csv": two_devices("A", "B")})
    assert stops(survey) == {Stop.ROD_END}


def test_without_it_the_longer_rod_makes_refusals_of_the_shorter_ones_ends(tmp_path):
    assert Stop.REFUSAL in stops(write(tmp_path, {"probes.csv": two_devices("", "")}))


def test_the_rod_of_a_file_may_be_stated(tmp_path):
    short = [row for number in range(6) for row in insertion(number, 1, "", 450)]
    long = [row for number in range(6) for row in insertion(number, 2, "", 700)]
    tables = {"short.csv": short, "long.csv": long}
    assert stops(write(tmp_path, tables, "depth_limit_mm = 700")) == {Stop.REFUSAL}
    stated = 'depth_limit_mm = 700\n[[probes.rods]]\nof = "short.csv"\ndepth_limit_mm = "45 cm"'
    assert stops(write(tmp_path, tables, stated)) == {Stop.ROD_END}


def test_a_rod_that_ends_above_its_stated_depth_is_found_out(tmp_path):
    """Half the insertions end at 450 mm in soft ground: nothing refused them, so nothing refused the others there."""
    rows = [row for number in range(6) for row in insertion(number, 1, "", 450, pan=number % 2 == 0)]
    survey = write(tmp_path, {"probes.csv": rows}, "depth_limit_mm = 700")
    assert stops(survey) == {Stop.ROD_END}
    told = [issue for issue in survey.issues if issue.code == "shorter-rod"]
    assert len(told) == 1


def test_each_device_has_its_own_load_limit(tmp_path):
    """A pile of readings at 3,300 kPa is the first device's limit though the second reads on beyond."""
    rows = [
        row
        for number in range(6)
        for device, most in (("A", 3300.0), ("B", np.inf))
        for row in insertion(number, device, device, 700, most=most)
    ]
    survey = write(tmp_path, {"probes.csv": rows})
    found = detect_pan(survey.profiles, survey.crs, PanSettings()).insertions
    readings = survey.profiles.readings
    of_first = np.nanmax(readings["cone_index_kpa"], axis=1) <= 3300.0
    np.testing.assert_array_equal(np.asarray(readings["at_least"].any("sample")), of_first)
    assert (found["peak_kind"][of_first] == "right-censored").all()


def test_a_stated_limit_in_another_unit_is_refused_in_its_own_words(tmp_path):
    with pytest.raises(HardpanError, match=r"probes\.rods"):
        write(tmp_path, {"probes.csv": two_devices("A", "B")}, '[[probes.rods]]\nof = "A"\ndepth_limit_mm = "450 kPa"')
