"""The display's shapefile, byte by byte after [shapefile1998] and dBASE, and by other software."""

import shutil
import struct
import subprocess
import zipfile
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pytest

from hardpan.outputs.display import single_parts
from hardpan.outputs.geodesy import to_display
from hardpan.outputs.shapefile import ascii_text, display_depth, write_shapefile

# .prj of WGS 84 as PROJ 9.5.1 writes it (FORMATS section 2.1).
PRJ = (
    'GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],'
    'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]'
)


@pytest.fixture(scope="module", params=["cm", "mm", "in"])
def unit(request):
    return request.param


@pytest.fixture(scope="module")
def members(plan, unit, tmp_path_factory):
    path = tmp_path_factory.mktemp("shapefile") / "prescription_shp.zip"
    write_shapefile(path, single_parts(to_display(plan.zones)[0]), unit)
    with zipfile.ZipFile(path) as archive:
        return {entry.filename: archive.read(entry) for entry in archive.infolist()}


def polygons(shp: bytes) -> list[list[np.ndarray]]:
    """Rings of each record of a polygon shapefile."""
    assert struct.unpack(">i", shp[:4]) == (9994,)
    assert struct.unpack("<ii", shp[28:36]) == (1000, 5)
    found, at = [], 100
    while at < len(shp):
        (words,) = struct.unpack(">i", shp[at + 4 : at + 8])
        body = shp[at + 8 : at + 8 + 2 * words]
        kind, n_parts, n_points = struct.unpack("<i32xii", body[:44])
        assert kind == 5
        starts = [*struct.unpack(f"<{n_parts}i", body[44 : 44 + 4 * n_parts]), n_points]
        points = np.frombuffer(body, "<f8", 2 * n_points, 44 + 4 * n_parts).reshape(-1, 2)
        found.append([points[a:b] for a, b in pairwise(starts)])
        at += 8 + 2 * words
    return found


def fields(dbf: bytes) -> list[tuple[str, str, int, int]]:
    """Name, type, width and decimals of each column of a dBASE table."""
    (header,) = struct.unpack("<H", dbf[8:10])
    descriptors = [dbf[at : at + 32] for at in range(32, header - 1, 32)]
    return [(one[:11].split(b"\0")[0].decode(), chr(one[11]), one[16], one[17]) for one in descriptors]


def rows(dbf: bytes) -> list[list[str]]:
    count, header, length = struct.unpack("<IHH", dbf[4:12])
    widths = [width for _, _, width, _ in fields(dbf)]
    table = []
    for number in range(count):
        record, at, row = dbf[header + number * length : header + (number + 1) * length], 1, []
        for width in widths:
            row.append(record[at : at + width].decode("ascii").strip())
            at += width
        table.append(row)
    return table


def doubled_area(ring: np.ndarray) -> float:
    x, y = (ring - ring[0]).T
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def test_the_members_lie_at_the_root_of_the_zip(members):
    assert sorted(members) == [f"prescription.{end}" for end in ("cpg", "dbf", "prj", "shp", "shx")]


def test_projection_and_encoding_are_stated(members):
    assert members["prescription.prj"].decode("ascii").strip() == PRJ
    assert members["prescription.cpg"].strip() == b"UTF-8"


def test_shells_run_clockwise_and_holes_the_other_way(members):
    for record in polygons(members["prescription.shp"]):
        for place, ring in enumerate(record):
            assert (ring[0] == ring[-1]).all()
            assert (doubled_area(ring) < 0) == (place == 0)


def test_every_record_is_one_part(members):
    records = polygons(members["prescription.shp"])
    assert len(records) == 5
    assert sorted(len(record) for record in records) == [1, 1, 1, 1, 2]


def test_columns_have_the_widths_of_the_schema(members, unit):
    depth = (f"DEPTH_{unit.upper()}", "N", 5, 0) if unit == "mm" else (f"DEPTH_{unit.upper()}", "N", 6, 1)
    assert fields(members["prescription.dbf"]) == [("ZONE", "N", 5, 0), depth, ("SETUP", "C", 20, 0)]


def test_depths_are_written_in_the_unit_of_their_column(members, unit):
    # 300 and 450 mm; an inch is 25.4 mm by definition [nist811].
    said = {"cm": ["30.0", "45.0"], "mm": ["300", "450"], "in": ["11.8", "17.7"]}[unit]
    nothing = "0" if unit == "mm" else "0.0"
    assert [(row[0], row[1]) for row in rows(members["prescription.dbf"])] == [
        ("1", said[0]), ("2", said[1]), ("3", nothing), ("3", nothing), ("4", nothing)
    ]  # fmt: skip


def test_a_reader_finds_no_missing_cell(members, unit, tmp_path):
    for name, content in members.items():
        (tmp_path / name).write_bytes(content)
    table = gpd.read_file(tmp_path / "prescription.shp")
    assert table[f"DEPTH_{unit.upper()}"].notna().all()
    assert table.crs == "EPSG:4326"
    assert table.geometry.is_valid.all()


@pytest.mark.skipif(shutil.which("ogrinfo") is None, reason="gdal-bin is not installed")
def test_the_command_line_tools_open_the_zip(plan, tmp_path):
    path = tmp_path / "prescription_shp.zip"
    write_shapefile(path, single_parts(to_display(plan.zones)[0]), "cm")
    told = subprocess.run(["ogrinfo", "-al", "-so", f"/vsizip/{path}"], capture_output=True, text=True, check=True)
    assert "Geometry: Polygon" in told.stdout
    assert "DEPTH_CM: Real (6.1)" in told.stdout
    assert "Feature Count: 5" in told.stdout


@pytest.mark.parametrize(
    ("text", "written"),
    [("Pflüger mit Flügeln", "Pfluger mit Flugeln"), ("שדה", ""), ("a" * 40, "a" * 20), ("plain\ntines", "plaintines")],
)
def test_text_is_cut_to_plain_letters(text, written):
    assert ascii_text(text, 20) == written


def test_the_same_plan_gives_the_same_zip(plan, tmp_path):
    parts = single_parts(to_display(plan.zones)[0])
    for name in ("a.zip", "b.zip"):
        write_shapefile(tmp_path / name, parts, "cm")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


@pytest.mark.parametrize(("unit", "shown"), [("cm", 37.5), ("mm", 375), ("in", 14.8)])
def test_a_step_of_25_mm_is_told_apart_in_every_unit(unit, shown):
    assert display_depth(375, unit) == shown
    assert display_depth(350, unit) < shown < display_depth(400, unit)
