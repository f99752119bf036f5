"""Boundaries, soils and exclusions in every format and state of damage: what each becomes."""

import io
import itertools
import json
import shutil
import zipfile

import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import CRS

from hardpan.core.errors import AmbiguousInputError, InputError

# Pad A of EXPECTED.md: 400 m x 300 m, lower-left corner E 500000, N 6900000 in EPSG:32751, 12.0 ha.
UTM = shapely.box(500000, 6900000, 500400, 6900300)
RING = [list(xy) for xy in gpd.GeoSeries([UTM], crs=32751).to_crs(4326).iloc[0].exterior.coords]
POLYGON = {"type": "Polygon", "coordinates": [RING]}
UTM_POLYGON = {"type": "Polygon", "coordinates": [[list(xy) for xy in UTM.exterior.coords]]}


def collection(*geometries, names=None, **more):
    names = names or [None] * len(geometries)
    features = [
        {"type": "Feature", "properties": {"name": name} if name else {}, "geometry": geometry}
        for geometry, name in zip(geometries, names, strict=True)
    ]
    return {"type": "FeatureCollection", "features": features} | more


def named_crs(name):
    return {"type": "name", "properties": {"name": name}}


def archive(*members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in members:
            file.writestr(name, data)
    return out.getvalue()


KML = (
    '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark>'
    "<Polygon><outerBoundaryIs><LinearRing><coordinates>"
    + " ".join(f"{x},{y},0" for x, y in RING)
    + "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
)


@pytest.fixture
def read(pad_a, tmp_path):
    def read(data, name="boundary.geojson", **settings):
        path = tmp_path / name
        if data is not None:
            blob = data if isinstance(data, bytes) else (data if isinstance(data, str) else json.dumps(data)).encode()
            path.write_bytes(blob)
        return pad_a.read(paddock={"boundary": path, **settings})

    return read


def shapefile(tmp_path, polygon=UTM, crs=32751, driver=None):
    path = tmp_path / "pad.shp"
    gpd.GeoDataFrame({"name": ["pad A"]}, geometry=[polygon], crs=crs).to_file(path, driver=driver)
    return path


GOOD = {
    "a bare geometry": POLYGON,
    "a feature": {"type": "Feature", "properties": {}, "geometry": POLYGON},
    "heights": {"type": "Polygon", "coordinates": [[[*xy, 321.5] for xy in RING]]},
    "a ring the other way round": {"type": "Polygon", "coordinates": [RING[::-1]]},
    "a geometry collection": {
        "type": "GeometryCollection",
        "geometries": [POLYGON, {"type": "Point", "coordinates": RING[0]}],
    },
    "the CRS of RFC 7946 spelt out": collection(POLYGON, crs=named_crs("urn:ogc:def:crs:OGC:1.3:CRS84")),
    "a crs member": collection(UTM_POLYGON, crs=named_crs("urn:ogc:def:crs:EPSG::32751")),
    "two features, one of which is the paddock": collection(POLYGON, POLYGON, names=["pad A", "pad B"]),
    "a link in the crs member": collection(POLYGON, crs={"type": "link", "properties": {"href": "http://x.invalid/"}}),
}


@pytest.mark.parametrize("kind", GOOD)
def test_usual_variants_give_12_ha(kind, read):
    assert read(GOOD[kind]).paddock.area_ha == pytest.approx(12.0, abs=0.01)


@pytest.mark.parametrize("crs", [32751, 4326, 28351, 7851, 3857, 4283, 7844])
def test_any_crs_gives_12_ha_on_its_own_datum(crs, read, tmp_path):
    path = tmp_path / "pad.gpkg"
    gpd.GeoDataFrame(geometry=[UTM], crs=32751).to_crs(crs).to_file(path)
    survey = read(None, "pad.gpkg")
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert survey.crs.geodetic_crs.name == CRS(crs).geodetic_crs.name
    assert survey.crs.name.endswith(("UTM zone 51S", "MGA zone 51"))
    assert survey.profiles.n_insertions == 12


def test_kml_and_its_archive_are_read(read):
    assert read(KML, "pad.kml").paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert read(archive(("doc.kml", KML)), "pad.kmz").paddock.area_ha == pytest.approx(12.0, abs=0.01)


@pytest.mark.parametrize("missing", [".shx", ".dbf", ".cpg"])
def test_a_shapefile_without_a_side_file_is_read_and_nothing_is_written(missing, read, tmp_path):
    shapefile(tmp_path).with_suffix(missing).unlink()
    before = sorted(path.name for path in tmp_path.iterdir())
    survey = read(None, "pad.shp")
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert missing == ".cpg" or f"no-{missing[1:]}" in {issue.code for issue in survey.issues}


def test_a_zipped_shapefile_is_read(read, tmp_path):
    path = shapefile(tmp_path)
    packed = archive(*((part.name, part.read_bytes()) for part in tmp_path.glob("pad.*")))
    assert path.is_file()
    assert read(packed, "pad.zip").paddock.area_ha == pytest.approx(12.0, abs=0.01)


def test_rings_wound_either_way_in_a_shapefile_keep_the_hole(read, tmp_path):
    # the table of FORMATS 2.2: a shapefile is read by the winding of its rings unless they are reorganised
    hole = shapely.box(500150, 6900100, 500170, 6900120)
    path = shapefile(tmp_path, UTM.difference(hole))
    blob = bytearray(path.read_bytes())
    parts = int.from_bytes(blob[144:148], "little")
    count = int.from_bytes(blob[148:152], "little")
    start = 152 + 4 * parts
    starts = [int.from_bytes(blob[152 + 4 * at : 156 + 4 * at], "little") for at in range(parts)] + [count]
    for first, last in itertools.pairwise(starts):
        ring = np.frombuffer(bytes(blob[start + 16 * first : start + 16 * last]), dtype="<f8").reshape(-1, 2)
        blob[start + 16 * first : start + 16 * last] = ring[::-1].tobytes()
    path.write_bytes(bytes(blob))
    assert read(None, "pad.shp").paddock.boundary.area.iloc[0] == pytest.approx(120000 - 400, rel=1e-9)


def test_heights_and_unclosed_tails_of_a_walked_line_are_no_trouble(read):
    survey = read({"type": "LineString", "coordinates": RING})
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert "line-closed" in {issue.code for issue in survey.issues}


_VERTICES = np.random.default_rng(2).uniform([123.0, -28.025], [123.004, -28.022], (500, 2)).tolist()
TANGLE = [*_VERTICES, _VERTICES[0]]
REFUSED = {
    "no features": (collection(), "no features"),
    "a null geometry": (collection(None), "no geometry"),
    "a table": ("name,area\nnorth,12\n", "is in no format of shapes that can be read; expected GeoJSON"),
    "a longitude beyond 180": (
        json.dumps(
            {"type": "Polygon", "coordinates": [[[179.998, -17], [180.002, -17], [180.002, -17.003], [179.998, -17]]]}
        ),
        "longitude 180.002 in a file that counts as degrees",
    ),
    "degrees called metres": (
        collection(POLYGON, crs=named_crs("urn:ogc:def:crs:EPSG::32751")),
        "fit degrees, but its CRS is WGS 84 / UTM zone 51S",
    ),
    "points": ({"type": "Point", "coordinates": RING[0]}, "points"),
    "no area": ({"type": "Polygon", "coordinates": [[RING[0], RING[1], RING[0], RING[0]]]}, "no area"),
    "a coordinate that is no number": (
        json.dumps({"type": "Polygon", "coordinates": [[[float("nan"), -28.0], *RING]]}),
        "not a number",
    ),
    "an endless number": (json.dumps(POLYGON).replace("123.004", "1e999", 1), ""),
    "deep nesting": ('{"type":"Polygon","coordinates":' + "[" * 100_000 + "]" * 100_000 + "}", ""),
    "deep objects": ('{"a":' * 100_000 + "1" + "}" * 100_000, ""),
    "a cut file": (json.dumps(collection(POLYGON))[:150], ""),
    "metres without a CRS": (UTM_POLYGON, "longitude 5"),
    "across the 180th meridian": (
        {
            "type": "Polygon",
            "coordinates": [[[179.99, -28], [-179.99, -28], [-179.99, -28.01], [179.99, -28.01], [179.99, -28]]],
        },
        "180th",
    ),
    "half a continent": (
        {"type": "Polygon", "coordinates": [[[120, -28], [130, -28], [130, -20], [120, -28]]]},
        "degrees",
    ),
    "plain text": ("hello", ""),
    "a page": ("<html></html>", "XML"),
    "a pointer to another file": (
        "<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>/etc/passwd</SrcDataSource></OGRVRTLayer>"
        "</OGRVRTDataSource>",
        "XML",
    ),
    "an outside entity": (KML.replace("<kml", '<!DOCTYPE kml SYSTEM "http://x.invalid/x.dtd"><kml'), "document type"),
    "a link to another host": (
        KML.replace(
            "<Placemark>", "<NetworkLink><Link><href>http://x.invalid/a</href></Link></NetworkLink><Placemark>"
        ),
        "another host",
    ),
    "XML in UTF-16": (KML.encode("utf-16"), "UTF-16"),
    "a damaged database": (b"SQLite format 3\x00" + bytes(4000), ""),
    "random bytes": (np.random.default_rng(3).bytes(3000), ""),
    "a tangle of 500 vertices": (
        {"type": "Polygon", "coordinates": [TANGLE]},
        "crosses itself more than 200 times",
    ),
    "an endless coordinate": (
        {"type": "Polygon", "coordinates": [[[1e300, 0], [1e300, 1], [2e300, 1], [1e300, 0]]]},
        "longitude 1e+300",
    ),
    "a paddock somewhere else": ({"type": "Polygon", "coordinates": [[[x + 1, y] for x, y in RING]]}, "no probe lies"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_damaged_and_hostile_boundaries_are_refused_in_one_line(kind, read, tmp_path):
    data, word = REFUSED[kind]
    with pytest.raises(InputError) as caught:
        read(data)
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "vsimem" not in str(caught.value)
    assert len(str(caught.value)) < 400
    assert [path.name for path in tmp_path.iterdir()] == ["boundary.geojson"]


def test_a_folder_in_place_of_a_file_is_told(read, tmp_path):
    (tmp_path / "boundary").mkdir()
    with pytest.raises(InputError, match="is a folder, not a file for the boundary"):
        read(None, name="boundary")


def test_lines_are_no_soil_map(pad_a, tmp_path):
    gpd.GeoDataFrame({"soil_type": ["deep sand"]}, geometry=[UTM.boundary], crs=32751).to_file(tmp_path / "soils.gpkg")
    with pytest.raises(InputError, match=r"soils\.gpkg: holds no polygons; expected polygons of soil types"):
        pad_a.read(soil={"polygons": tmp_path / "soils.gpkg"})


ASKED = {
    "two fields": (collection(POLYGON, POLYGON, names=["north", "south"]), {}, "paddock.boundary_feature"),
    "the file and the settings differ": (
        collection(UTM_POLYGON, crs=named_crs("urn:ogc:def:crs:EPSG::32751")),
        {"boundary_crs": "EPSG:32750"},
        "paddock.boundary_crs",
    ),
}


@pytest.mark.parametrize("kind", ASKED)
def test_what_can_be_read_two_ways_is_asked(kind, read):
    data, settings, word = ASKED[kind]
    with pytest.raises(AmbiguousInputError) as caught:
        read(data, **settings)
    assert word in str(caught.value)


def test_the_feature_asked_for_is_taken(read):
    half = shapely.box(500000, 6900000, 500200, 6900300)
    ring = [list(xy) for xy in gpd.GeoSeries([half], crs=32751).to_crs(4326).iloc[0].exterior.coords]
    data = collection(POLYGON, {"type": "Polygon", "coordinates": [ring]}, names=["all", "west"])
    assert read(data, boundary_feature="west").paddock.area_ha == pytest.approx(6.0, abs=0.01)


def test_named_parts_of_one_paddock_are_taken_together_when_asked_for(read):
    """Two halves under names of their own, as programs name the features of a KML file."""
    west, east = shapely.box(500000, 6900000, 500200, 6900300), shapely.box(500300, 6900000, 500500, 6900300)
    rings = [[list(xy) for xy in one.exterior.coords] for one in gpd.GeoSeries([west, east], crs=32751).to_crs(4326)]
    halves = [{"type": "Polygon", "coordinates": [ring]} for ring in rings]
    data = collection(*halves, names=["part.1", "part.2"])
    with pytest.raises(AmbiguousInputError, match='set it to "all" to take them together'):
        read(data)
    survey = read(data, boundary_feature="all")
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.02)
    assert "several-features" in {issue.code for issue in survey.issues}


POINT = {"type": "Point", "coordinates": RING[0]}


@pytest.mark.parametrize(("other", "code"), [(None, "no-geometry"), (POINT, "not-ground")])
def test_a_feature_without_ground_leaves_the_polygon_beside_it(other, code, read):
    survey = read(collection(other, POLYGON))
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert code in {issue.code for issue in survey.issues}


def test_the_one_layer_that_can_be_ground_is_taken_and_told(read, tmp_path):
    path = tmp_path / "pad.gpkg"
    gpd.GeoDataFrame(geometry=[UTM.centroid], crs=32751).to_file(path, layer="probes", driver="GPKG")
    gpd.GeoDataFrame(geometry=[UTM], crs=32751).to_file(path, layer="paddock", driver="GPKG")
    survey = read(None, "pad.gpkg")
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)
    assert "layers-passed-over" in {issue.code for issue in survey.issues}


def test_a_walked_track_is_a_boundary(read):
    track = "".join(f'<trkpt lat="{y}" lon="{x}"/>' for x, y in RING)
    gpx = (
        '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>'
    )
    survey = read(gpx.format(track), "walk.gpx")
    assert survey.paddock.area_ha == pytest.approx(12.0, abs=0.01)


def test_a_picture_beside_the_polygons_in_an_archive_is_passed_over(read):
    assert read(archive(("doc.kml", KML), ("files/icon.png", b"x")), "pad.kmz").paddock.area_ha == pytest.approx(
        12.0, abs=0.01
    )


def test_several_shapefiles_in_an_archive_are_asked_for(read, tmp_path):
    path = shapefile(tmp_path)
    parts = [(part.suffix, part.read_bytes()) for part in tmp_path.glob("pad.*")]
    shutil.rmtree(tmp_path / "none", ignore_errors=True)
    packed = archive(*((f"{name}{suffix}", blob) for name in ("a", "b") for suffix, blob in parts))
    assert path.is_file()
    with pytest.raises(AmbiguousInputError, match="boundary_layer"):
        read(packed, "two.zip")
    assert read(packed, "two.zip", boundary_layer="b").paddock.area_ha == pytest.approx(12.0, abs=0.01)


# Exclusions


def exclusions(pad_a, tmp_path, *features, kinds=None, **paddock):
    path = tmp_path / "exclusions.gpkg"
    told = {} if kinds is None else {"kind": kinds}
    gpd.GeoDataFrame(
        {"name": [name for name, _, _ in features], "buffer_m": [width for _, width, _ in features], **told},
        geometry=[shape for _, _, shape in features],
        crs=32751,
    ).to_file(path)
    return pad_a.read(paddock={"exclusions": path, **paddock})


@pytest.mark.parametrize(
    ("kind", "buried"),
    [
        *[(kind, True) for kind in ("buried service", "gas", "", None, "rocky pipe", "tree root")],
        *[(kind, False) for kind in ("rock", " Rock Outcrop ", "TREE", "waterway")],
    ],
)
def test_an_exclusion_that_is_not_known_to_be_seen_counts_as_buried(kind, buried, pad_a, tmp_path):
    survey = exclusions(pad_a, tmp_path, ("it", 5.0, UTM.centroid), kinds=[kind])
    assert survey.paddock.exclusions["buried"].tolist() == [buried]


def test_without_a_kind_all_exclusions_count_as_buried(pad_a, tmp_path):
    assert exclusions(pad_a, tmp_path, ("it", 5.0, UTM.centroid)).paddock.exclusions["buried"].all()


def test_what_is_seen_from_the_cab_is_a_setting(pad_a, tmp_path):
    survey = exclusions(pad_a, tmp_path, ("it", 5.0, UTM.centroid), kinds=["hay stack"], visible_kinds=["Hay stack"])
    assert not survey.paddock.exclusions["buried"].any()


def test_exclusions_are_buffered_clipped_and_disjoint(pad_a, tmp_path):
    pipe = shapely.LineString([(499900, 6900150), (500500, 6900150)])
    rock = shapely.box(500100, 6900100, 500200, 6900200)
    away = shapely.box(500500, 6900500, 500600, 6900600)
    survey = exclusions(pad_a, tmp_path, ("pipe", 5.0, pipe), ("rock", 0.0, rock), ("shed", 0.0, away))
    table = survey.paddock.exclusions
    assert table["name"].tolist() == ["pipe", "rock"]
    assert table.area.to_numpy() == pytest.approx([400 * 10, 100 * 100 - 100 * 10], rel=1e-6)
    assert "exclusion-outside" in {issue.code for issue in survey.issues}


def test_a_line_without_a_buffer_is_asked_for(pad_a, tmp_path):
    pipe = shapely.LineString([(499900, 6900150), (500500, 6900150)])
    with pytest.raises(AmbiguousInputError, match="buffer_m"):
        exclusions(pad_a, tmp_path, ("pipe", 0.0, pipe))


@pytest.mark.parametrize("width", ["wide", "-5 m", "5 kg"])
def test_a_buffer_that_is_no_length_is_refused_also_of_a_polygon(width, pad_a, tmp_path):
    with pytest.raises(InputError, match="buffer_m"):
        exclusions(pad_a, tmp_path, ("rock", width, UTM.centroid.buffer(30)))


def test_a_buffer_may_name_its_unit(pad_a, tmp_path):
    survey = exclusions(pad_a, tmp_path, ("bore", "5 m", UTM.centroid))
    assert survey.paddock.exclusions.area.sum() == pytest.approx(np.pi * 25, rel=0.02)


def test_a_file_without_exclusions_excludes_nothing_and_is_told(pad_a, tmp_path):
    path = tmp_path / "none.geojson"
    path.write_text(json.dumps(collection()))
    survey = pad_a.read(paddock={"exclusions": path})
    assert survey.paddock.exclusions.empty
    assert "no-exclusions" in {issue.code for issue in survey.issues}


def test_the_ground_beside_a_long_line_does_not_depend_on_the_pieces_it_is_buffered_in(pad_a, tmp_path):
    line = shapely.LineString(np.random.default_rng(7).uniform([500000, 6900000], [500400, 6900300], (40, 2)))
    survey = exclusions(pad_a, tmp_path, ("drain", 3.0, line))
    whole = shapely.intersection(shapely.buffer(line, 3.0), UTM)
    assert survey.paddock.exclusions.union_all().area == pytest.approx(whole.area, rel=1e-4)


def test_a_negative_buffer_is_refused(pad_a, tmp_path):
    with pytest.raises(InputError, match="buffer_m"):
        exclusions(pad_a, tmp_path, ("rock", -5.0, shapely.box(500100, 6900100, 500200, 6900200)))


# Soils


def soils(pad_a, tmp_path, *features, **settings):
    path = tmp_path / "soils.gpkg"
    gpd.GeoDataFrame(
        {"soil": [label for label, _ in features]}, geometry=[shape for _, shape in features], crs=32751
    ).to_file(path)
    return pad_a.read(soil={"polygons": path, "type_field": "soil", **settings})


def hectares(survey):
    return (survey.soils.area / 1e4).groupby(survey.soils["soil_type"]).sum().to_dict()


WEST, EAST = shapely.box(499000, 6899000, 500200, 6901000), shapely.box(500200, 6899000, 501000, 6901000)


def test_soils_are_clipped_to_the_boundary(pad_a, tmp_path):
    survey = soils(pad_a, tmp_path, ("Deep_Sand", WEST), ("loam", EAST))
    assert hectares(survey) == pytest.approx({"deep sand": 6.0, "loam": 6.0})
    assert not survey.issues


def test_labels_go_through_the_mapping_of_the_settings(pad_a, tmp_path):
    survey = soils(pad_a, tmp_path, ("Tf3", WEST), ("loam", EAST), mapping={"tf3": "sandy loam"})
    assert hectares(survey) == pytest.approx({"sandy loam": 6.0, "loam": 6.0})


def test_the_smaller_of_overlapping_polygons_keeps_the_ground(pad_a, tmp_path):
    spot = shapely.box(500100, 6900100, 500200, 6900200)
    survey = soils(pad_a, tmp_path, ("loam", WEST.union(EAST)), ("sand", spot))
    assert hectares(survey) == pytest.approx({"loam": 11.0, "deep sand": 1.0})
    assert any("1.00 ha" in issue.what for issue in survey.issues if issue.code == "soil-overlap")


def test_ground_without_polygon_is_told_in_hectares(pad_a, tmp_path):
    survey = soils(pad_a, tmp_path, ("sand", WEST), default_type="loam")
    assert hectares(survey) == pytest.approx({"deep sand": 6.0, "loam": 6.0})
    assert any("6.00 ha" in issue.what for issue in survey.issues if issue.code == "soil-gap")


def test_strips_of_digitising_fall_to_their_neighbour(pad_a, tmp_path):
    survey = soils(pad_a, tmp_path, ("sand", shapely.box(499000, 6899000, 500199, 6901000)), ("loam", EAST))
    assert set(hectares(survey)) == {"deep sand", "loam"}
    assert sum(hectares(survey).values()) == pytest.approx(12.0)
    assert "soil-sliver" in {issue.code for issue in survey.issues}


def test_labels_of_which_none_is_known_are_asked_for(pad_a, tmp_path):
    with pytest.raises(AmbiguousInputError, match=r"soil\.mapping"):
        soils(pad_a, tmp_path, ("Tf3", WEST), ("Tf4", EAST), default_type=None)


def test_without_polygons_and_default_the_ground_is_unmapped_and_told(pad_a):
    survey = pad_a.read(soil={"default_type": None})
    assert set(survey.soils["soil_type"]) == {"unmapped"}
    assert any("soil" in str(issue.what) for issue in survey.issues)


def test_a_missing_attribute_lists_what_is_there(pad_a, tmp_path):
    path = tmp_path / "soils.gpkg"
    gpd.GeoDataFrame({"unit_code": [1]}, geometry=[WEST], crs=32751).to_file(path)
    with pytest.raises(InputError, match="unit_code"):
        pad_a.read(soil={"polygons": path})


@pytest.mark.parametrize(("stated", "kept_mm"), [("350 mm", 350.0), ("35 cm", 350.0), ("-9999", None), ("none", None)])
def test_a_depth_to_clay_is_read_with_its_unit_or_told(stated, kept_mm, pad_a, tmp_path):
    path = tmp_path / "soils.gpkg"
    table = gpd.GeoDataFrame({"soil_type": ["deep sand"], "clay_depth_mm": [stated]}, geometry=[UTM], crs=32751)
    table.to_file(path)
    survey = pad_a.read(soil={"polygons": path})
    found = survey.soils["clay_depth_mm"].iloc[0]
    assert found == kept_mm if kept_mm else np.isnan(found)
    assert ("clay-depth-unread" in {issue.code for issue in survey.issues}) == (kept_mm is None)


def test_a_tangled_soil_polygon_is_refused_by_number(pad_a, tmp_path):
    tangle = shapely.Polygon(np.random.default_rng(3).uniform([500000, 6900000], [500400, 6900300], (400, 2)))
    with pytest.raises(InputError, match="feature 2: crosses itself"):
        soils(pad_a, tmp_path, ("deep sand", UTM), ("deep sand", tangle))


def test_soils_elsewhere_are_refused(pad_a, tmp_path):
    with pytest.raises(InputError, match="meets the paddock"):
        soils(pad_a, tmp_path, ("sand", shapely.box(510000, 6900000, 510100, 6900100)))


def test_soil_features_without_ground_are_left_out_and_told(pad_a, tmp_path):
    survey = soils(pad_a, tmp_path, ("sand", WEST), ("loam", EAST), ("clay", shapely.Point(500100, 6900100)))
    assert set(hectares(survey)) == {"deep sand", "loam"}
    assert "no-geometry" in {issue.code for issue in survey.issues}
