"""KML for looking: well-formed, longitude first, every zone titled and coloured."""

import geopandas as gpd
import pytest
from defusedxml.ElementTree import parse

from hardpan.outputs.geodesy import to_display
from hardpan.outputs.kml_gpx import write_kml

NS = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture(scope="module")
def path(told, tmp_path_factory):
    path = tmp_path_factory.mktemp("kml") / "prescription.kml"
    says = {1: "1: <30> cm & \x07", 2: "2: 45 cm", 3: "3: leave", 4: "4: keep out"}
    write_kml(path, to_display(told)[0], says, {0: "#e4e1d8", 300: "#112233", 450: "#abcdef"}, title="Plan")
    return path


def test_every_zone_is_a_titled_placemark(path):
    marks = list(parse(path).getroot().iter(f"{NS}Placemark"))
    assert [mark.findtext(f"{NS}name") for mark in marks] == ["1: <30> cm &  ", "2: 45 cm", "3: leave", "4: keep out"]


def test_colours_stand_in_the_order_of_the_format(path):
    # KML writes opacity, blue, green, red (from memory).
    styles = {style.get("id"): style for style in parse(path).getroot().iter(f"{NS}Style")}
    assert styles["depth-300"].findtext(f"{NS}PolyStyle/{NS}color").endswith("332211")


def test_other_software_reads_the_zones(path, told):
    table = gpd.read_file(path)
    assert len(table) == 4
    assert table.to_crs(told.crs).area.to_numpy() == pytest.approx(told.area.to_numpy(), rel=1e-3)
