"""Task data that two general libraries, written apart, read to the same depths and cells."""

import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from defusedxml.ElementTree import fromstring

from builders.node import run_script, with_library
from hardpan.core.errors import InputError
from hardpan.outputs.display import single_parts
from hardpan.outputs.geodesy import degrees_per_metre, to_display
from hardpan.outputs.guidance import guidance_lines
from hardpan.outputs.isoxml import lime_rates, lime_task, rip_task, write_taskdata
from hardpan.outputs.isoxml_reader import read_taskdata
from hardpan.outputs.settings import OutputSettings
from hardpan.outputs.task_grid import zone_grid

SHAPES = ["grid2", "grid1", "polygons"]
VERSIONS = ["3.3", "4"]
DEPTHS = {1: 300, 2: 450, 3: 0, 4: 0}
READER = """
const { readFileSync } = require("fs");
const { ISOXMLManager } = require("isoxml");
const manager = new ISOXMLManager();
manager.parseISOXMLFile(new Uint8Array(readFileSync(process.argv[2])), "application/zip").then(() => {
  const tasks = manager.rootElement.attributes.Task.map((task) => {
    const { Grid: [grid] = [], TreatmentZone: zones } = task.attributes;
    return {
      default: task.attributes.DefaultTreatmentZoneCode,
      lost: task.attributes.PositionLostTreatmentZoneCode,
      outside: task.attributes.OutOfFieldTreatmentZoneCode,
      zones: zones.map((zone) => ({
        code: zone.attributes.TreatmentZoneCode,
        ddi: zone.attributes.ProcessDataVariable[0].attributes.ProcessDataDDI,
        value: zone.attributes.ProcessDataVariable[0].attributes.ProcessDataValue,
        shape: (zone.attributes.PolygonTreatmentZoneonly || []).map((polygon) => polygon.toGeoJSON
          ? polygon.toGeoJSON() : null),
      })),
      grid: grid && { ...grid.attributes, bytes: Array.from(grid.binaryData) },
    };
  });
  console.log(JSON.stringify({ warnings: manager.getWarnings().map(String), tasks }));
});
"""


def write(
    path: Path,
    plan,
    *,
    shape: str = "grid2",
    version: str = "3.3",
    unit: str = "cm",
    name: str = "P",
    lime=None,
    lost_mm: int = 0,
    lines=(),
):
    settings = OutputSettings(isoxml_shape=shape, isoxml_version=version)
    shown, _, _ = to_display(plan.zones)
    grid, _ = zone_grid(shown, degrees_per_metre(-33.0), settings, 4.2)
    tasks = (rip_task(shown, unit, lost_mm=lost_mm), *((lime_task(lime, settings),) if lime else ()))
    write_taskdata(
        path, tasks=tasks, parts=single_parts(shown), grid=None if shape == "polygons" else grid,
        boundary=shapely.union_all(shown.geometry.array), identity=(name, "0.1.0", 240_000.0), settings=settings,
        lines=lines,
    )  # fmt: skip
    return shown


@pytest.fixture(params=[(shape, version) for shape in SHAPES for version in VERSIONS], ids="-".join)
def written(request, plan, tmp_path):
    shape, version = request.param
    path = tmp_path / "taskdata.zip"
    shown = write(path, plan, shape=shape, version=version, lime={1: 1500.0, 2: 0.0, 3: 0.0, 4: 0.0})
    return path, shown, shape, version


def xml_of(path: Path):
    with zipfile.ZipFile(path) as archive:
        return fromstring(archive.read("TASKDATA/TASKDATA.XML"))


def places(shown, per_zone: int = 25) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude of points at least 5 m inside the zones, and the depths there."""
    rng = np.random.default_rng(11)
    points, depths = [], []
    for zone in shown.itertuples():
        inner = zone.geometry.buffer(-0.00005)
        west, south, east, north = inner.bounds
        tried = rng.uniform((west, south), (east, north), (40 * per_zone, 2))
        kept = tried[shapely.contains_xy(inner, tried)][:per_zone]
        points.append(kept)
        depths += [zone.depth_mm] * len(kept)
    return np.concatenate(points), np.array(depths, dtype=float)


def test_names_and_folder_are_those_of_the_standard(written):
    path, _, shape, _ = written
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
    grids = [] if shape == "polygons" else ["TASKDATA/GRD00001.bin", "TASKDATA/GRD00002.bin"]
    assert names == ["TASKDATA/TASKDATA.XML", *grids]


def test_the_head_states_version_and_origin(written):
    path, _, _, version = written
    root = xml_of(path)
    major = version[0]
    assert root.tag == "ISO11783_TaskData"
    assert root.attrib["VersionMajor"] == major
    assert root.attrib["VersionMinor"] == "3"
    assert root.attrib["DataTransferOrigin"] == "1"
    assert all(len(value) <= 32 for value in root.attrib.values())


def test_every_reference_resolves_and_every_code_is_unique(written):
    root = xml_of(written[0])
    known = {element.attrib["A"] for tag in ("PFD", "VPN", "TSK") for element in root.iter(tag)}
    for task in root.iter("TSK"):
        codes = [int(zone.attrib["A"]) for zone in task.findall("TZN")]
        assert len(set(codes)) == len(codes)
        assert all(0 <= code <= 254 for code in codes)
        assert {int(task.attrib[letter]) for letter in "HIJ"} <= set(codes)
        assert task.attrib["E"] in known
        assert {value.attrib["E"] for value in task.iter("PDV")} <= known


def test_a_task_has_one_shape(written):
    path, _, shape, _ = written
    for task in xml_of(path).iter("TSK"):
        assert len(task.findall("GRD")) == (0 if shape == "polygons" else 1)
        assert bool(task.findall("TZN/PLN")) == (shape == "polygons")


def test_depth_is_entry_51_in_mm_and_lime_entry_6(written):
    rip, lime = xml_of(written[0]).iter("TSK")
    assert {value.attrib["A"] for value in rip.iter("PDV")} == {"0033"}
    assert {value.attrib["A"] for value in lime.iter("PDV")} == {"0006"}


def test_without_a_position_the_tines_are_lifted_and_lime_is_spread_least(written):
    rip, lime = read_taskdata(written[0])
    assert (rip.default, rip.lost, rip.outside) == (0, 0, 0)
    assert (lime.default, lime.lost, lime.outside) == (150_000, 150_000, 0)
    rip_names, lime_names = (
        {zone.attrib["A"]: zone.attrib["B"] for zone in task.findall("TZN")} for task in xml_of(written[0]).iter("TSK")
    )
    assert rip_names["1"] == "start or signal lost: lifted"
    assert lime_names["1"] == "start or signal lost: 1500 kg/ha"


def test_a_depth_without_a_position_is_written_where_asked_for(plan, tmp_path):
    write(tmp_path / "t.zip", plan, lost_mm=300)
    rip = read_taskdata(tmp_path / "t.zip")[0]
    assert (rip.default, rip.lost, rip.outside) == (300, 300, 0)
    names = {zone.attrib["A"]: zone.attrib["B"] for zone in xml_of(tmp_path / "t.zip").iter("TZN")}
    assert names["1"] == "start or signal lost: 30 cm"


def value_at(task, points):
    """Value at (longitude, latitude), shape (n, 2); the out-of-field value elsewhere."""
    out = np.full(len(points), float(task.outside))
    if task.cells is not None:
        row = np.floor((points[:, 1] - task.south) / task.cell_lat).astype(int)
        col = np.floor((points[:, 0] - task.west) / task.cell_lon).astype(int)
        n_rows, n_cols = task.cells.shape
        inside = (row >= 0) & (row < n_rows) & (col >= 0) & (col < n_cols)
        out[inside] = task.cells[row[inside], col[inside]]
        return out
    for polygon, value in task.polygons:
        out[shapely.contains_xy(polygon, points)] = value
    return out


def test_every_place_reads_the_planned_depth(written):
    path, shown, _, _ = written
    points, depths = places(shown)
    rip, lime = read_taskdata(path)
    assert len(points) >= 90
    assert np.array_equal(value_at(rip, points), depths)
    # 1 kg/ha is 100 mg/m2 (FORMATS section 1.7).
    assert np.array_equal(value_at(lime, points), np.where(depths == 300, 150_000.0, 0.0))
    assert value_at(rip, np.array([[116.0, -33.0]])) == [0.0]


def test_the_first_cell_is_in_the_south_west(plan, tmp_path):
    write(tmp_path / "t.zip", plan)
    rip = read_taskdata(tmp_path / "t.zip")[0]
    # Zone 3, left alone, lies in the south-west corner, zone 2 in the south-east, zone 3 again in the north-east.
    south, north = rip.cells[1], rip.cells[-4]
    assert south[2] == 0
    assert south[-3] == 450
    assert north[3] == 300
    assert north[-3] == 0


def test_a_ring_is_closed_and_a_hole_is_marked(plan, tmp_path):
    write(tmp_path / "t.zip", plan, shape="polygons")
    lines = list(xml_of(tmp_path / "t.zip").iter("LSG"))
    assert sum(line.attrib["A"] == "2" for line in lines) == 1
    for line in lines:
        first, *_, last = line.findall("PNT")
        assert first.attrib == last.attrib
        assert abs(float(first.attrib["C"])) < 90
        assert len(first.attrib["C"].split(".")[1]) <= 9


@pytest.mark.parametrize(
    ("unit", "scale", "decimals"), [("cm", "0.1", "1"), ("mm", "1", "0"), ("in", "0.03937007874", "1")]
)
def test_depth_is_shown_in_the_display_unit(plan, tmp_path, unit, scale, decimals):
    write(tmp_path / "t.zip", plan, unit=unit)
    shown = next(xml_of(tmp_path / "t.zip").iter("VPN")).attrib
    assert (shown["B"], shown["D"], shown["E"]) == ("0", decimals, unit)
    assert float(shown["C"]) == pytest.approx(float(scale), rel=1e-9)
    assert "e" not in shown["C"]


def test_a_wild_name_is_cut_to_what_the_standard_carries(plan, tmp_path, survey):
    write(tmp_path / "t.zip", plan, name=survey.paddock.name + "\x07\n")
    root = xml_of(tmp_path / "t.zip")
    said = [
        element.attrib[letter]
        for tag, letter in (("PFD", "C"), ("TSK", "B"), ("TZN", "B"))
        for element in root.iter(tag)
    ]
    assert said
    assert all(0 < len(text) <= 32 for text in said)


def test_many_pieces_share_codes_by_depth(plan, tmp_path):
    shown, _, _ = to_display(plan.zones)
    squares = shapely.box(117.2 + 1e-4 * np.arange(300), -33.0, 117.2 + 1e-4 * np.arange(1, 301), -32.999)
    many = shown.iloc[np.arange(300) % 2].set_geometry(squares, crs="EPSG:4326").reset_index(drop=True)
    settings = OutputSettings(isoxml_shape="polygons")
    write_taskdata(
        tmp_path / "t.zip", tasks=(rip_task(shown, "cm"),), parts=many, grid=None,
        boundary=shapely.box(117.2, -33.0, 117.23, -32.999), identity=("P", "0", 1.0), settings=settings,
    )  # fmt: skip
    rip = read_taskdata(tmp_path / "t.zip")[0]
    assert len(rip.polygons) == 300
    middles = np.column_stack([117.2 + 1e-4 * (np.arange(300) + 0.5), np.full(300, -32.9995)])
    assert np.array_equal(value_at(rip, middles), many["depth_mm"])


def test_the_same_plan_gives_the_same_bytes(plan, tmp_path):
    for name in ("a.zip", "b.zip"):
        write(tmp_path / name, plan)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_lime_is_spread_only_where_the_ledger_holds_it():
    area = [(str(zone), "area", hectares, "ha") for zone, hectares in ((1, 8.0), (2, 4.0))]
    columns = ["zone", "item", "quantity", "unit"]
    assert lime_rates(pd.DataFrame(area, columns=columns)) == {}
    limed = pd.DataFrame([*area, ("2", "lime", 6.0, "t"), ("total", "lime", 6.0, "t")], columns=columns)
    assert lime_rates(limed) == {1: 0.0, 2: 1500.0}


def rewritten(path: Path, **members: bytes | None) -> Path:
    """The same zip with members replaced, or left out where None."""
    with zipfile.ZipFile(path) as archive:
        content = {name: archive.read(name) for name in archive.namelist()}
    content |= {f"TASKDATA/{name.replace('_', '.')}": value for name, value in members.items()}
    out = path.with_name("damaged.zip")
    with zipfile.ZipFile(out, "w") as archive:
        for name, value in content.items():
            if value is not None:
                archive.writestr(name, value)
    return out


def test_damaged_task_data_is_refused(plan, tmp_path):
    path = tmp_path / "t.zip"
    write(path, plan)
    with zipfile.ZipFile(path) as archive:
        xml, cells = archive.read("TASKDATA/TASKDATA.XML"), archive.read("TASKDATA/GRD00001.bin")
    damaged = {
        "short grid": rewritten(path, GRD00001_bin=cells[:-4]),
        "no grid": rewritten(path, GRD00001_bin=None),
        "cut xml": rewritten(path, TASKDATA_XML=xml[: len(xml) // 2]),
        "dead reference": rewritten(path, TASKDATA_XML=xml.replace(b'E="VPN1"', b'E="VPN9"', 1)),
        "doubled code": rewritten(path, TASKDATA_XML=xml.replace(b'TZN A="1"', b'TZN A="0"', 1)),
        "unknown fallback": rewritten(path, TASKDATA_XML=xml.replace(b'H="1"', b'H="77"', 1)),
        "entities": rewritten(
            path, TASKDATA_XML=b'<!DOCTYPE a [<!ENTITY b "b">]><ISO11783_TaskData>&b;</ISO11783_TaskData>'
        ),
        "another root": rewritten(path, TASKDATA_XML=b"<kml/>"),
    }
    (tmp_path / "no.zip").write_bytes(b"not a zip")
    for broken in (*damaged.values(), tmp_path / "no.zip"):
        with pytest.raises(InputError):
            read_taskdata(broken)


def test_each_damage_is_its_own(plan, tmp_path):
    path = tmp_path / "t.zip"
    write(path, plan)
    with pytest.raises(InputError, match="the grid holds"):
        read_taskdata(rewritten(path, GRD00001_bin=b"\0" * 8))
    with pytest.raises(InputError, match="version 3 or 4"):
        read_taskdata(rewritten(path, TASKDATA_XML=b"<kml/>"))


def test_the_python_library_reads_the_same(written, tmp_path):
    isoxml = pytest.importorskip("isoxml.util.isoxml_io", reason="the PyPI package isoxml is not installed")
    path, shown, shape, _ = written
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "x")
    data, binaries = isoxml.isoxml_from_path(tmp_path / "x" / "TASKDATA")
    ours = read_taskdata(path)
    assert [task.designator[:3] for task in data.tasks] == ["Rip", "Lim"]
    for number, (theirs, mine) in enumerate(zip(data.tasks, ours, strict=True), 1):
        value = {zone.code: zone.process_data_variables[0].process_data_value for zone in theirs.treatment_zones}
        assert value[theirs.out_of_field_treatment_zone_code] == mine.outside
        assert value[theirs.position_lost_treatment_zone_code] == mine.lost
        if shape == "polygons":
            got = sorted(value[zone.code] for zone in theirs.treatment_zones for _ in zone.polygons)
            assert got == sorted(depth for _, depth in mine.polygons)
            continue
        from isoxml.converter.np_grid import to_numpy_array

        cells = to_numpy_array(binaries[f"GRD{number:05d}"], theirs.grids[0])
        if shape == "grid1":
            cells = np.vectorize(value.get)(cells)
        assert np.array_equal(cells, mine.cells)
        assert float(theirs.grids[0].minimum_north_position) == pytest.approx(shown.total_bounds[1], abs=1e-9)


@pytest.mark.parametrize("version", VERSIONS)
def test_the_python_library_reads_the_lines_to_steer_by(plan, zones, tmp_path, version):
    """Version 4 has guidance groups, patterns and the points A and B; before it there is a line string of type 5."""
    isoxml = pytest.importorskip("isoxml.util.isoxml_io", reason="the PyPI package isoxml is not installed")
    lines = guidance_lines(plan.zones, zones.table, width_m=4.2)
    write(tmp_path / "t.zip", plan, version=version, lines=lines)
    with zipfile.ZipFile(tmp_path / "t.zip") as archive:
        archive.extractall(tmp_path / "x")
    data, _ = isoxml.isoxml_from_path(tmp_path / "x" / "TASKDATA")
    (field,) = data.partfields
    if version == "4":
        (group,) = field.guidance_groups
        patterns = group.guidance_patterns
        assert {pattern.type.name for pattern in patterns} == {"AB"}
        read = [string for pattern in patterns for string in pattern.line_strings]
        assert [[point.type.value for point in string.points] for string in read] == [["6", "7"]] * len(lines)
    else:
        read = field.line_strings
    assert len(read) == len(lines) > 0
    for string, line in zip(read, lines, strict=True):
        assert string.type.value == "5"
        assert string.width == 4200
        told = [(float(point.east), float(point.north)) for point in string.points]
        assert np.asarray(told) == pytest.approx(line.ends, abs=1e-7)


@pytest.fixture(scope="session")
def node_reader(tmp_path_factory):
    folder = with_library(tmp_path_factory.mktemp("node"))
    (folder / "read.js").write_text(READER)
    return folder / "read.js"


@pytest.mark.slow
def test_the_javascript_library_reads_the_same(written, node_reader):
    path, _, shape, _ = written
    read = run_script(node_reader, path)
    assert read["warnings"] == []
    for theirs, mine in zip(read["tasks"], read_taskdata(path), strict=True):
        value = {zone["code"]: zone["value"] for zone in theirs["zones"]}
        assert (value[theirs["default"]], value[theirs["lost"]], value[theirs["outside"]]) == (
            mine.default, mine.lost, mine.outside
        )  # fmt: skip
        assert {zone["ddi"] for zone in theirs["zones"]} == {mine.ddi}
        if shape == "polygons":
            assert sorted(zone["value"] for zone in theirs["zones"] if zone["shape"]) == sorted(
                depth for _, depth in mine.polygons
            )
            continue
        grid = theirs["grid"]
        raw = np.array(grid["bytes"], dtype="u1")
        rows, cols = grid["GridMaximumRow"], grid["GridMaximumColumn"]
        cells = raw.reshape(rows, cols) if shape == "grid1" else raw.view("<i4").reshape(rows, cols)
        if shape == "grid1":
            cells = np.vectorize(value.get)(cells)
        assert np.array_equal(cells, mine.cells)
        assert grid["GridMinimumNorthPosition"] == pytest.approx(mine.south, abs=1e-9)
        assert grid["GridCellNorthSize"] == pytest.approx(mine.cell_lat, rel=1e-9)
