"""Tables in every dialect and state of damage, made from the control table: what each becomes."""

import gzip
import io
import json
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from hardpan.core.errors import AmbiguousInputError, InputError

FOLDER = Path(__file__).with_name("files")
# The control table is 12 probes of 13 depths; its mean at 300 mm is stated as 2588 kPa in EXPECTED.md.


@pytest.fixture(scope="module")
def control() -> str:
    return (FOLDER / "00_control_good.csv").read_text()


@pytest.fixture
def read(pad_a, tmp_path):
    def read(data, name="probes.csv", **settings):
        (tmp_path / name).write_bytes(data.encode() if isinstance(data, str) else data)
        return pad_a.read(probes={"file": tmp_path / name, **settings})

    return read


def rows(control):
    return [line.split(",") for line in control.strip().split("\n")[1:]]


def table(control, names, change, separator=","):
    return "\n".join([separator.join(names), *(separator.join(change(row)) for row in rows(control))])


def wide(control, names, corner="id"):
    cells = rows(control)
    sites = list(dict.fromkeys(row[0] for row in cells))
    place = {row[0]: (row[1], row[2]) for row in cells}
    value = {(row[0], int(row[3])): row[4] for row in cells}
    depths = sorted({depth for _, depth in value})
    head = ",".join([corner, "lat", "lon", *(names.format(depth) for depth in depths)])
    body = [",".join([site, *place[site], *(value[site, depth] for depth in depths)]) for site in sites]
    return "\n".join([head, *body])


def transposed(text):
    return "\n".join(",".join(cells) for cells in zip(*(line.split(",") for line in text.split("\n")), strict=True))


def blocks(control):
    parts = []
    for site in dict.fromkeys(row[0] for row in rows(control)):
        own = [row for row in rows(control) if row[0] == site]
        head = [f"ID: {site}", f"Lat: {own[0][1]}", f"Lon: {own[0][2]}", "Depth (cm),CI (kPa)"]
        parts.append("\n".join([*head, *(f"{row[3]},{row[4]}" for row in own)]))
    return "\n\n".join(parts)


def german(control):
    def change(row):
        return [
            row[0],
            row[1][1:].replace(".", ",") + "° S",
            row[2].replace(".", ",") + "° O".replace("O", "E"),
            row[3],
            str(int(row[4]) / 1000).replace(".", ","),
        ]

    names = ["Punkt", "Breite", "Länge", "Tiefe (cm)", "Eindringwiderstand (MPa)"]
    return table(control, names, change, ";").encode("cp1252")


KPA, CM = {"resistance_unit": "kPa"}, {"depth_unit": "cm"}
SAME = {
    "UTF-8 with byte order mark": (lambda text: b"\xef\xbb\xbf" + text.encode(), {}),
    "UTF-16 with byte order mark": (lambda text: text.encode("utf-16"), {}),
    "UTF-16 without byte order mark": (lambda text: text.encode("utf-16-le"), {}),
    "UTF-16, big end first": (lambda text: text.encode("utf-16-be"), {}),
    "old line ends": (lambda text: text.replace("\n", "\r"), {}),
    "other line ends": (lambda text: text.replace("\n", "\r\n"), {}),
    "tabs": (lambda text: text.replace(",", "\t"), {}),
    "bars": (lambda text: text.replace(",", "|"), {}),
    "runs of blanks": (lambda text: text.replace(",", "   "), {}),
    "semicolons and decimal commas": (lambda text: text.replace(",", ";").replace(".", ","), {}),
    "quoted cells": (
        lambda text: "\n".join(f'"{line.replace(",", chr(34) + "," + chr(34))}"' for line in text.split()),
        {},
    ),
    "names in German, Windows-1252": (german, {}),
    "units in brackets": (
        lambda text: text.replace("depth_cm", "Depth [cm]").replace("ci_kpa", "Cone index (kPa)"),
        {},
    ),
    "a row of units": (lambda text: text.replace("depth_cm,ci_kpa\n", "depth,ci\n,deg,deg,cm,kPa\n"), {}),
    "units in the settings": (lambda text: text.replace("depth_cm,ci_kpa", "depth,ci"), KPA | CM),
    "depth in millimetres": (
        lambda text: table(text, ["id", "lat", "lon", "depth_mm", "kpa"], lambda r: [*r[:3], r[3] + "0", r[4]]),
        {},
    ),
    "depth in metres": (
        lambda text: table(
            text, ["id", "lat", "lon", "depth (m)", "kpa"], lambda r: [*r[:3], str(int(r[3]) / 100), r[4]]
        ),
        {},
    ),
    "depth negative downward": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:3], f"-{r[3]}", r[4]]),
        {},
    ),
    "bar": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "ci bar"], lambda r: [*r[:4], str(int(r[4]) / 100)]),
        {},
    ),
    "wide, units in headers": (lambda text: wide(text, "{} cm"), KPA),
    "wide, the header twice": (lambda text: "\n".join([wide(text, "{} cm").split("\n")[0], wide(text, "{} cm")]), KPA),
    "wide, everything in headers": (lambda text: wide(text, "CI_{}cm_kPa"), {}),
    "wide, bare numbers": (lambda text: wide(text, "{}"), KPA | CM),
    "wide, short names": (lambda text: wide(text, "d{}"), KPA | CM),
    "wide, a title that names the unit": (lambda text: "Cone index in kPa\n\n" + wide(text, "{} cm"), {}),
    "wide, UTF-16": (lambda text: wide(text, "{} cm").encode("utf-16"), KPA),
    "transposed": (lambda text: transposed(wide(text, "{} cm")), KPA),
    "transposed, depths named in the corner": (lambda text: transposed(wide(text, "{}", corner="Depth (cm)")), KPA),
    "a block for each insertion": (blocks, {}),
    "blocks with runs of blanks": (
        lambda text: blocks(text).replace("Depth (cm),CI (kPa)", "Depth(cm),CI(kPa)").replace(",", "   "),
        {},
    ),
    "blocks of pairs in two cells": (lambda text: blocks(text).replace(": ", ","), {}),
    "gzip": (lambda text: gzip.compress(text.encode()), {}),
}


@pytest.mark.parametrize("dialect", SAME)
def test_every_dialect_reads_like_the_control(dialect, control, read, pad_a):
    write, settings = SAME[dialect]
    found, wanted = (one.profiles.readings for one in (read(write(control), **settings), pad_a.read()))
    assert found["site"].to_numpy().tolist() == wanted["site"].to_numpy().tolist()
    for name in ("depth_mm", "cone_index_kpa", "x_m", "y_m", "stop_mm"):
        np.testing.assert_allclose(found[name].to_numpy(), wanted[name].to_numpy(), rtol=1e-9, atol=1e-6)


def archive(*members, level=zipfile.ZIP_DEFLATED):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", level) as file:
        for name, data in members:
            file.writestr(name, data)
    return out.getvalue()


def link(name, target):
    info = zipfile.ZipInfo(name)
    info.external_attr = 0o120777 << 16
    return archive((info, target))


def workbook(change):
    out = io.BytesIO()
    with zipfile.ZipFile(FOLDER / "80_workbook_title_rows_formula.xlsx") as source, zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            target.writestr(name, change(source.read(name)) if "sheet2" in name else source.read(name))
    return out.getvalue()


ENTITY = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
HOSTILE = {
    "header only": (lambda text: text.split("\n")[0], "no rows"),
    "blank lines": (lambda _: "\n \n\n", "empty"),
    "a NUL in the text": (lambda text: text[:300] + "\0" + text[300:], "NUL"),
    "NULs only": (lambda _: b"\0" * 4096, "NUL"),
    "random bytes": (lambda _: np.random.default_rng(5).bytes(4096), ""),
    "a document": (lambda _: b"%PDF-1.7 ...", "PDF"),
    "a program": (lambda _: b"MZ\x90\x00" + bytes(200), "program"),
    "an old workbook": (lambda _: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old binary format"),
    "a page": (lambda _: "<html><table><tr><td>depth</td></tr></table></html>", "no header"),
    "a cell of a million letters": (lambda text: text + '"' + "x" * 1_000_000 + '"', "field larger"),
    "a quote that never ends": (lambda text: text.replace("P05", '"P05', 1), ""),
    "a header of 100,000 columns": (lambda _: "id,lat,lon," + ",".join(map(str, range(100_000))), "cells in one row"),
    "a cut gzip": (lambda text: gzip.compress(text.encode())[:300], "cut off"),
    "a gzip bomb": (lambda _: gzip.compress(bytes(200_000_000)), "limit"),
    "an empty archive": (lambda _: archive(), "no files"),
    "an archive bomb": (lambda _: archive(("p.csv", bytes(50_000_000))), "inflates"),
    "an archive in an archive": (lambda text: archive(("in.zip", archive(("p.csv", text)))), "archive"),
    "a path upwards": (lambda text: archive(("a/../../p.csv", text)), "unsafe"),
    "a drive's path": (lambda text: archive(("C:/p.csv", text)), "unsafe"),
    "a link": (lambda _: link("p.csv", "/etc/passwd"), "link"),
    "two thousand members": (lambda _: archive(*((f"{at}.csv", "a") for at in range(2000))), "members"),
    "a cut archive": (lambda text: archive(("p.csv", text))[:-40], "archive"),
    "another office format": (lambda _: archive(("mimetype", "x"), ("content.xml", "<a/>")), "office"),
    "entities in a workbook": (lambda _: workbook(lambda xml: ENTITY.encode() + xml.split(b"?>")[-1]), "document type"),
    "entities in UTF-16": (
        lambda _: workbook(lambda xml: (ENTITY + xml.decode().split("?>")[-1]).encode("utf-16")),
        "document type",
    ),
    "a cut sheet": (lambda _: workbook(lambda xml: xml[:400]), "damaged workbook"),
    "names turned into numbers": (lambda text: text.replace("P0", "1.0E+0"), "spreadsheet"),
    "every line too long": (lambda text: text.replace(".", ".,"), "cells"),
    "units mixed in cells": (lambda text: text.replace(",2120\n", ",2.12 MPa\n"), "units"),
    "doubled names": (lambda text: text.replace("probe_id", "ci_kpa"), "doubled"),
    "blows of a hammer": (lambda text: text.replace("ci_kpa", "resistance (blows)"), "dynamic"),
    "a cone of 60 degrees": (lambda text: "cone: 60 deg\n" + text, "60 degree"),
    "metres called degrees": (
        lambda text: text.replace("-28.0", "6900000.").replace("123.0", "500000."),
        "latitude beyond 90",
    ),
    "swapped axes": (lambda text: text.replace("latitude,longitude", "longitude,latitude"), "latitude beyond 90"),
    "names in no language that is known": (
        lambda text: wide(text, "{} cm").replace("id,lat,lon", "点,纬度,经度", 1),
        "no column beside those of depths is known as site, insertion, position or date: 点, 纬度, 经度",
    ),
    "a depth column twice": (
        lambda text: wide(text, "{} cm").replace("10 cm", "5 cm", 1),
        "more than one column is called 5 cm",
    ),
    "no positions": (
        lambda text: table(text, ["id", "depth cm", "kpa"], lambda r: [r[0], *r[3:]]),
        "no columns of position",
    ),
    "depths turned into dates": (
        lambda text: wide(text, "{} cm").replace("5 cm", "5-Oct", 1).replace("10 cm", "10-Dec", 1),
        "dates (5-Oct, 10-Dec)",
    ),
    "layers turned into dates": (
        lambda text: table(
            text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:3], "5-Oct" if r[3] == "5" else r[3], r[4]]
        ),
        "dates (5-Oct)",
    ),
    "readings in percent": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:4], r[4] + "%"]),
        "no numbers, such as '0%'",
    ),
    "depths out of order": (
        lambda text: wide(text, "{} cm").replace(",5 cm,10 cm", ",10 cm,5 cm"),
        "neither rise nor fall",
    ),
    "readings of zero only": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:4], "0"]),
        "0 of 12 insertions can be used",
    ),
    "neither site nor position": (
        lambda text: table(text, ["depth cm", "kpa"], lambda r: r[3:]),
        "no columns of position",
    ),
    "every probe at 0, 0": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [r[0], "0", "0", *r[3:]]),
        "0, 0",
    ),
    "MPa that are kPa": (lambda text: text.replace("ci_kpa", "ci_mpa"), "probes.resistance_unit"),
}
ASKED = {
    "no unit of resistance": (lambda text: text.replace("ci_kpa", "ci"), {}, "probes.resistance_unit"),
    "no unit of depth": (lambda text: text.replace("depth_cm", "depth"), {}, "probes.depth_unit"),
    "header and settings differ": (lambda text: text, {"resistance_unit": "MPa"}, "probes.resistance_unit"),
    "a lost sign": (lambda text: text.replace(",-28", ",28"), {}, "sign"),
    "kPa that are MPa": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:4], str(int(r[4]) / 1000)]),
        {},
        "probes.resistance_unit",
    ),
    "centimetres called millimetres": (lambda text: text.replace("depth_cm", "depth_mm"), {}, "probes.depth_unit"),
    "replicates under one name": (
        lambda text: text + "\n".join(",".join([*row[:4], str(int(row[4]) + 7)]) for row in rows(text)),
        {},
        "probes.columns.insertion",
    ),
    "a unit changed half way down": (
        lambda text: table(
            text,
            ["id", "lat", "lon", "depth cm", "kpa"],
            lambda r: [*r[:4], str(int(r[4]) / 1000) if 20 < int(r[3]) < 50 else r[4]],
        ),
        {},
        "mixes units",
    ),
    "two columns of resistance": (
        lambda text: table(
            text,
            ["id", "lat", "lon", "depth cm", "ci kpa", "resistance kpa"],
            lambda r: [*r, str(1.2 * int(r[4]))],
        ),
        {},
        "probes.columns.resistance",
    ),
    "two columns of depth": (
        lambda text: table(
            text, ["id", "lat", "lon", "depth (cm)", "kpa", "Depth (in)"], lambda r: [*r, str(int(r[3]) / 2)]
        ),
        {},
        "probes.columns.depth",
    ),
    "thousands or decimals": (
        lambda text: table(
            text,
            ["id", "x", "y", "depth cm", "kpa"],
            lambda r: [r[0], "500050", "6900050", r[3], f"{int(r[4]):,}"],
            ";",
        ),
        {"crs": "EPSG:32751"},
        "probes.decimal",
    ),
    "metres without a CRS": (
        lambda text: table(text, ["id", "x", "y", "depth cm", "kpa"], lambda r: [r[0], "500050", "6900050", *r[3:]]),
        {},
        "probes.crs",
    ),
    "percent called a share": (
        lambda text: table(text, ["id", "lat", "lon", "depth cm", "kpa", "theta"], lambda r: [*r, "21"]),
        {},
        "water content",
    ),
    "receiver notation": (lambda text: text.replace("-28.0", "2801.").replace(",123.0", "S,12300."), {}, "receiver"),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_and_damaged_tables_are_refused_in_one_line(kind, control, read):
    damage, word = HOSTILE[kind]
    with pytest.raises(InputError) as caught:
        read(damage(control))
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 1000


@pytest.mark.parametrize("kind", ASKED)
def test_what_can_be_read_two_ways_is_asked(kind, control, read):
    damage, settings, word = ASKED[kind]
    with pytest.raises(AmbiguousInputError) as caught:
        read(damage(control), **settings)
    assert word in str(caught.value)


def codes(survey):
    return {issue.code for issue in survey.issues}


BESIDE = {
    "rain in a column that starts with a number": lambda text: "\n".join(
        line + (",65 May rain" if line.startswith("id") else ",3000") for line in wide(text, "{} cm kPa").split("\n")
    ),
    "water contents in columns with depths": lambda text: "\n".join(
        line + (",65 cm vwc,70 cm vwc" if line.startswith("id") else ",20,21")
        for line in wide(text, "{} cm kPa").split("\n")
    ),
    "one resistance in two units": lambda text: table(
        text,
        ["id", "lat", "lon", "depth cm", "ci kpa", "ci mpa"],
        lambda r: [*r, f"{int(r[4]) / 1000:.1f}"],
    ),
    "a unit whose 2 is no depth": lambda text: table(
        text, ["id", "lat", "lon", "depth_cm", "ci_kgf_cm2"], lambda r: [*r[:4], repr(int(r[4]) / 98.0665)]
    ),
}


@pytest.mark.parametrize("kind", BESIDE)
def test_columns_of_other_things_change_no_reading(kind, control, read, pad_a):
    here, there = read(BESIDE[kind](control)).profiles.readings, pad_a.read().profiles.readings
    np.testing.assert_allclose(here["depth_mm"], there["depth_mm"])
    np.testing.assert_allclose(here["cone_index_kpa"], there["cone_index_kpa"], rtol=1e-9)


def test_a_column_that_only_starts_like_a_depth_is_told(control, read):
    survey = read(BESIDE["rain in a column that starts with a number"](control))
    assert "column-not-used" in codes(survey)


def test_depths_given_as_layers_down_a_column_are_their_means(control, read):
    survey = read(
        table(control, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:3], f"{r[3]}-{int(r[3]) + 5}", r[4]])
    )
    assert set(survey.profiles.readings["thickness_mm"].to_numpy().ravel()) == {50.0}
    assert survey.profiles.readings["depth_mm"].to_numpy()[0, :2].tolist() == [25.0, 75.0]
    assert "layer-means" in codes(survey)


def test_blank_readings_are_counted(control, read):
    # rows 3 and 30 of the control: P01 at 5 cm and P03 at 10 cm
    lines = control.split("\n")
    for at in (2, 29):
        lines[at] = lines[at].rpartition(",")[0] + ","
    survey = read("\n".join(lines))
    told = next(issue for issue in survey.issues if issue.code == "missing-reading")
    assert told.what.startswith("2 readings of 156 in 2 insertions")


def test_control_characters_in_names_are_replaced(control, read):
    survey = read(control.replace("P01", "P\x0701").replace("P02", "P\x7f02"))
    names = set(survey.profiles.readings["site"].values.tolist())
    assert {"P\ufffd01", "P\ufffd02"} <= names


@pytest.mark.parametrize("step_kpa", [100, 250, 500])
def test_peaks_shared_because_the_display_is_coarse_are_no_limit_of_the_device(step_kpa, control, read):
    coarse = read(
        table(
            control,
            ["id", "lat", "lon", "depth cm", "kpa"],
            lambda r: [*r[:4], str(step_kpa * round(int(r[4]) / step_kpa))],
        )
    )
    assert "device-limit" not in codes(coarse)


def test_an_insertion_written_twice_makes_no_limit_of_the_device(control, read):
    flat = table(
        control,
        ["id", "lat", "lon", "depth cm", "kpa"],
        lambda r: [*r[:4], "3500" if r[0] in {"P10", "P11"} and r[3] in {"25", "30", "35"} else r[4]],
    )
    again = "\n".join(line.replace(",", "a,", 1) for line in flat.split("\n") if line.startswith(("P10", "P11")))
    assert not read(flat + "\n" + again).profiles.readings["at_least"].any()


def test_a_worn_cone_is_corrected_by_area(control, read, pad_a):
    # usfs0524: cone index is force over base area, 3 % of diameter is 5.9 % of area
    worn = read(control, worn_diameter_mm=20.27 * 0.97)
    ratio = worn.profiles.readings["cone_index_kpa"] / pad_a.read().profiles.readings["cone_index_kpa"]
    assert float(ratio.max()) == pytest.approx(1 / 0.97**2, rel=1e-9)
    assert "worn-cone" in codes(worn)


def test_newtons_become_kpa_over_the_base_area(control, read):
    # By hand, force over base area: 2.0 MPa is 645 N on the cone of 20.27 mm and 259 N on that of 12.83 mm
    for newtons, diameter in ((645.4, 20.27), (258.6, 12.83)):
        text = table(
            control, ["id", "lat", "lon", "depth cm", "force (N)"], lambda r, n=newtons: [*r[:4], str(n + int(r[3]))]
        )
        kpa = read(text, cone_diameter_mm=diameter).profiles.readings["cone_index_kpa"].to_numpy()
        assert kpa[0, 0] == pytest.approx(2000, rel=1e-3)


def test_readings_that_pile_up_at_the_top_are_at_least_so_much(control, read):
    survey = read(
        table(control, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:4], str(min(int(r[4]), 2000))])
    )
    table_ = survey.profiles.readings
    assert "device-limit" in codes(survey)
    assert (table_["at_least"] == (table_["cone_index_kpa"] == 2000)).all()


def test_cells_that_say_more_than_are_lower_bounds(control, read):
    survey = read(control.replace(",3140\n", ",>3140\n"))
    assert float(survey.profiles.readings["cone_index_kpa"].where(survey.profiles.readings["at_least"]).max()) == 3140


def test_a_stuck_sensor_is_dropped(control, read):
    survey = read(
        table(control, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [*r[:4], "1234" if r[0] == "P05" else r[4]])
    )
    assert "stuck-sensor" in codes(survey)
    assert "P05" not in set(survey.profiles.readings["site"].to_numpy())


def test_a_single_stone_is_missing_and_told(control, read):
    survey = read(
        table(
            control,
            ["id", "lat", "lon", "depth cm", "kpa"],
            lambda r: [*r[:4], "9000" if r[0] == "P07" and r[3] == "45" else r[4]],
        )
    )
    assert "spike" in codes(survey)
    assert float(survey.profiles.readings["cone_index_kpa"].max()) < 9000


def test_a_position_logged_anew_with_every_reading_stays_one_insertion(control, read):
    names = ["id", "lat", "lon", "depth cm", "kpa"]
    survey = read(table(control, names, lambda r: [r[0], f"{float(r[1]) + int(r[3]) % 7 * 1e-6:.7f}", *r[2:]]))
    assert survey.profiles.n_insertions == 12
    assert "several-fixes" in codes(survey)


def test_layers_in_headers_are_means(control, read):
    names = [f"{depth}-{depth + 5} cm" for depth in range(0, 65, 5)]
    text = wide(control, "{}")
    head = text.split("\n")[0].split(",")[:3] + names
    survey = read("\n".join([",".join(head), *text.split("\n")[1:]]), resistance_unit="kPa")
    table_ = survey.profiles.readings
    assert float(table_["thickness_mm"].max()) == 50.0
    assert table_["depth_mm"].to_numpy()[0, :2].tolist() == [25.0, 75.0]
    assert float(table_["stop_mm"].max()) == 650.0
    assert "layer-means" in codes(survey)


def test_dates_are_iso_or_not_used(control, read):
    names = ["date", "id", "lat", "lon", "depth cm", "kpa"]
    both_ways = read(table(control, names, lambda r: ["03/04/2026", *r]))
    assert "date" in codes(both_ways)
    assert set(both_ways.profiles.readings["date"].to_numpy()) == {""}
    for written in ("2026-04-13", "13/04/2026 10:15", "13.04.2026", "04/13/2026"):
        survey = read(table(control, names, lambda r, day=written: [day, *r]))
        assert set(survey.profiles.readings["date"].to_numpy()) == {"2026-04-13"}


def test_positions_can_come_from_a_second_file(control, read, tmp_path, pad_a):
    places = {row[0]: row[1:3] for row in rows(control)}
    text = table(control, ["id", "depth cm", "kpa"], lambda r: [r[0], *r[3:]])
    second = tmp_path / "places.csv"
    second.write_text("Point;Latitude;Longitude\n" + "\n".join(f"{k.lower()};{v[0]};{v[1]}" for k, v in places.items()))
    found = read(text, positions=second).profiles.readings
    np.testing.assert_allclose(found["x_m"].to_numpy(), pad_a.read().profiles.readings["x_m"].to_numpy())


def test_sites_without_a_position_in_the_second_file_are_dropped_and_told(control, read, tmp_path):
    text = table(control, ["id", "depth cm", "kpa"], lambda r: [r[0], *r[3:]])
    second = tmp_path / "places.csv"
    lines = [f"{row[0]},{row[1]},{row[2]}" for row in rows(control) if row[0] not in {"P03", "P04"}]
    second.write_text("\n".join(["site,lat,lon", *dict.fromkeys(lines)]))
    survey = read(text, positions=second)
    told = next(issue for issue in survey.issues if issue.code == "no-position")
    assert "P03" in told.place
    assert survey.profiles.n_insertions == 10


WAYPOINTS = (
    '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{}'
    '<trk><trkseg><trkpt lat="-28.0" lon="123.0"/><trkpt lat="-28.1" lon="123.0"/></trkseg></trk></gpx>'
)


def places_of(control):
    return {row[0]: (row[1], row[2]) for row in rows(control)}


def without_places(control):
    return table(control, ["id", "depth cm", "kpa"], lambda r: [r[0], *r[3:]])


def features(control, names):
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {
                    "type": "Feature",
                    "properties": {"name": name} if name else {},
                    "geometry": {"type": "Point", "coordinates": [float(x), float(y)]},
                }
                for name, (y, x) in zip(names, places_of(control).values(), strict=True)
            ],
        }
    )


def test_waypoints_of_a_receiver_are_positions_though_it_kept_a_track(control, read, tmp_path, pad_a):
    points = "".join(
        f'<wpt lat="{y}" lon="{x}"><name>{name}</name></wpt>' for name, (y, x) in places_of(control).items()
    )
    (tmp_path / "sites.gpx").write_text(WAYPOINTS.format(points))
    survey = read(without_places(control), positions=tmp_path / "sites.gpx")
    np.testing.assert_allclose(survey.profiles.readings["x_m"], pad_a.read().profiles.readings["x_m"], atol=0.01)
    assert "layers-passed-over" in codes(survey)


def test_points_without_a_name_are_left_out_and_told(control, read, tmp_path):
    names = [name if at % 3 else None for at, name in enumerate(places_of(control))]
    (tmp_path / "sites.geojson").write_text(features(control, names))
    survey = read(without_places(control), positions=tmp_path / "sites.geojson")
    assert survey.profiles.n_insertions == 8
    assert {"no-name", "no-position"} <= codes(survey)


def test_points_of_which_none_has_a_name_are_refused(control, read, tmp_path):
    (tmp_path / "sites.geojson").write_text(features(control, [None] * 12))
    with pytest.raises(InputError, match=r"no attribute names the site .* probes\.columns\.site"):
        read(without_places(control), positions=tmp_path / "sites.geojson")


def test_a_layer_of_positions_is_asked_for_by_a_setting_that_exists(control, read, tmp_path, pad_a):
    path = tmp_path / "sites.gpkg"
    names, places = zip(*places_of(control).items(), strict=True)
    sites = gpd.GeoDataFrame(
        {"site": names}, geometry=gpd.points_from_xy([x for _, x in places], [y for y, _ in places]), crs=4326
    )
    sites.to_file(path, layer="may", driver="GPKG")
    sites.to_file(path, layer="july", driver="GPKG")
    with pytest.raises(AmbiguousInputError, match=r"probes\.positions_layer"):
        read(without_places(control), positions=path)
    survey = read(without_places(control), positions=path, positions_layer="july")
    np.testing.assert_allclose(survey.profiles.readings["x_m"], pad_a.read().profiles.readings["x_m"], atol=0.01)


def test_several_positions_of_one_site_are_asked_about(control, read, tmp_path):
    places = "".join(f"{name},{x},{y}\n" for name, (y, x) in places_of(control).items())
    (tmp_path / "sites.csv").write_text("site,longitude,latitude\n" + places + "P01,123.0035,-28.0248\n")
    with pytest.raises(AmbiguousInputError, match=r"several positions of one site, up to 29. m apart: P01"):
        read(without_places(control), positions=tmp_path / "sites.csv")


def test_moisture_in_percent_becomes_a_fraction(control, read):
    survey = read(table(control, ["id", "lat", "lon", "depth cm", "kpa", "vwc (%)"], lambda r: [*r, "21.5"]))
    assert float(survey.profiles.readings["theta"].mean()) == pytest.approx(0.215)


def test_coarse_positions_are_told(control, read):
    survey = read(table(control, ["id", "lat", "lon", "depth cm", "kpa"], lambda r: [r[0], r[1][:8], r[2][:8], *r[3:]]))
    assert "coarse-positions" in codes(survey)


def test_rows_in_any_order_give_the_same_profiles(control, read, pad_a):
    head, *lines = control.strip().split("\n")
    order = np.random.default_rng(11).permutation(len(lines))
    found = read("\n".join([head, *(lines[at] for at in order)])).profiles.readings.drop_vars("source_row")
    wanted = pad_a.read().profiles.readings.drop_vars("source_row")
    for name in ("source_file",):
        found, wanted = found.drop_vars(name), wanted.drop_vars(name)
    assert found.identical(wanted)


def test_several_files_are_one_survey(control, pad_a, tmp_path):
    head, *lines = control.strip().split("\n")
    halves = []
    for name, keep in (("west.csv", "P0"), ("east.csv", "P1")):
        (tmp_path / name).write_text("\n".join([head, *(line for line in lines if line.startswith(keep))]))
        halves.append(tmp_path / name)
    found, wanted = (one.profiles.readings for one in (pad_a.read(probes={"file": tuple(halves)}), pad_a.read()))
    np.testing.assert_array_equal(found["cone_index_kpa"].to_numpy(), wanted["cone_index_kpa"].to_numpy())
    assert set(found["source_file"].to_numpy()) == {"west.csv", "east.csv"}


def test_degrees_and_metres_in_one_column_are_refused(control, read):
    text = table(
        control,
        ["id", "x", "y", "depth cm", "kpa"],
        lambda r: [r[0], "500050", "6900050", *r[3:]] if r[0] == "P03" else [r[0], r[2], r[1], *r[3:]],
    )
    with pytest.raises(InputError, match="one CRS"):
        read(text, crs="EPSG:4326")


def test_a_table_of_a_hundred_megabytes_is_refused_before_it_fills_the_memory(control, read):
    with pytest.raises(InputError, match="larger than"):
        read(b"1\n" * 60_000_000)
    with pytest.raises(InputError, match="cells"):
        read(control.encode() + b"P1,1,1,1,1\n" * 3_000_000)


def test_a_named_column_that_is_not_there_is_refused_with_the_closest(control, read):
    with pytest.raises(InputError, match=r"did you mean 'probe_id'"):
        read(control, columns={"site": "probeid"})


def test_a_named_column_is_taken_over_what_would_be_recognised(control, read):
    names = ["id", "paddock point", "lat", "lon", "depth cm", "kpa"]
    survey = read(table(control, names, lambda r: ["x", *r]), columns={"site": "paddock point"})
    assert set(survey.profiles.readings["site"].to_numpy()) == {row[0] for row in rows(control)}


def test_a_second_file_without_rows_is_refused(control, read, tmp_path):
    (tmp_path / "places.csv").write_text("site,lat,lon\n")
    with pytest.raises(InputError, match="no rows"):
        read(table(control, ["id", "depth cm", "kpa"], lambda r: [r[0], *r[3:]]), positions=tmp_path / "places.csv")
