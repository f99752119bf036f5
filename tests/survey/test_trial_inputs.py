"""Strips and harvest as files: units, columns, places, and what is refused."""

import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from builders.trials import points, strips, write
from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.run.followup import read_trial_settings
from hardpan.survey.inputs.harvest import bushels_to_t_per_ha, yield_unit
from hardpan.survey.stage import read_trial


def read(path, bushel_lb=None):
    settings = read_trial_settings(path)
    return read_trial(settings, settings.strips, bushel_lb=bushel_lb)


def test_strips_and_points_are_read_as_they_stand(tmp_path):
    table = strips(zones=2)
    rows = points(table)
    found = read(write(tmp_path, table, rows))
    assert found.harvest.points[["x_m", "y_m", "value"]].to_numpy() == pytest.approx(
        rows[["x_m", "y_m", "value"]].to_numpy()
    )
    assert found.strips.table[["treatment", "pair", "zone"]].equals(table[["treatment", "pair", "zone"]])
    assert set(found.digests.index) == {"strips.geojson", "yield.csv"}


@pytest.mark.parametrize(
    ("unit", "t_per_ha"),
    [
        ("t/ha", 1.0),
        ("kg/ha", 0.001),
        ("q/ha", 0.1),
        ("lb/ac", 0.45359237 / 404.68564224),
        ("bu/ac", 60 * 0.45359237 / 0.40468564224e3),
    ],
)
def test_a_yield_comes_to_tonnes_per_hectare(tmp_path, unit, t_per_ha):
    """A bushel of wheat of 60 lb (common practice); pound and acre by definition (NIST SP 811)."""
    table = strips()
    found = read(write(tmp_path, table, points(table).assign(value=30.0), yield_unit=unit), bushel_lb=60.0)
    assert found.harvest.unit == "t/ha"
    assert found.harvest.points["value"].to_numpy() == pytest.approx(30.0 * t_per_ha)


def test_a_yield_no_crop_gives_is_in_another_unit(tmp_path):
    """Kilograms read as tonnes; of numbers as given nobody knows."""
    table = strips()
    rows = points(table).assign(value=2800.0)
    with pytest.raises(InputError, match=r"half of the yields are above 300 t/ha.*trial\.yield_unit"):
        read(write(tmp_path, table, rows, yield_unit="t/ha"))
    assert read(write(tmp_path, table, rows, yield_unit="as given")).harvest.unit == "as given"


def test_a_yield_of_less_than_the_seed_is_in_another_unit(tmp_path):
    """Tonnes read as kilograms; ground that yields nothing is another matter."""
    table = strips()
    rows = points(table).assign(value=2.8)
    with pytest.raises(InputError, match=r"half of the yields are below 0\.02 t/ha; check the unit"):
        read(write(tmp_path, table, rows, yield_unit="kg/ha"))
    rows.loc[3:, "value"] = 0.0
    assert read(write(tmp_path, table, rows, yield_unit="t/ha")).harvest.unit == "t/ha"


def test_a_yield_as_given_is_left_alone(tmp_path):
    table = strips()
    found = read(write(tmp_path, table, points(table), yield_unit="as given"))
    assert found.harvest.unit == "as given"


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("Yield (t/ha)", "t/ha"),
        ("yield_kg_ha", "kg/ha"),
        ("Yld bu/ac", "bu/ac"),
        ("Yld Mass(Dry)(lb/ac)", "lb/ac"),
        ("Ertrag dt/ha", "q/ha"),
        ("Yield", None),
    ],
)
def test_the_header_may_state_the_unit(header, unit):
    assert yield_unit(header) == unit


@pytest.mark.parametrize("header", ["yield t/ha", "Yield (t/ha)", "yield_t_ha", "Dry Yield [t/ha]", "Yld t/ha"])
def test_a_yield_is_known_whatever_way_its_unit_stands_in_the_header(tmp_path, header):
    table = strips()
    path = write(tmp_path, table, points(table), yield_unit=None)
    file = tmp_path / "yield.csv"
    file.write_text(file.read_text().replace("yield", header, 1))
    assert read(path).harvest.unit == "t/ha"


def test_a_yield_without_a_unit_is_asked_for(tmp_path):
    table = strips()
    path = write(tmp_path, table, points(table), yield_unit=None)
    with pytest.raises(AmbiguousInputError, match=r"names no unit.*trial\.yield_unit"):
        read(path)


def test_bushels_of_an_unknown_grain_are_refused(tmp_path):
    table = strips()
    with pytest.raises(InputError, match=r"name it in trial\.crop"):
        read(write(tmp_path, table, points(table), yield_unit="bu/ac"))
    assert bushels_to_t_per_ha(56.0) == pytest.approx(0.0627676, abs=1e-7)  # maize, from the definitions


def test_degrees_are_brought_to_metres_of_the_strips(tmp_path):
    table = strips()
    rows = points(table)
    degree_m = 111_320.0
    on_map = rows.assign(
        x_m=118.0 + rows["x_m"] / degree_m / np.cos(np.deg2rad(30.5)), y_m=-30.5 + rows["y_m"] / degree_m
    )
    path = write(tmp_path, table, on_map, crs="EPSG:4326")
    features = json.loads((tmp_path / "strips.geojson").read_text())
    for feature in features["features"]:
        ring = np.array(feature["geometry"]["coordinates"][0])
        ring = np.column_stack(
            [118.0 + ring[:, 0] / degree_m / np.cos(np.deg2rad(30.5)), -30.5 + ring[:, 1] / degree_m]
        )
        feature["geometry"]["coordinates"] = [ring.tolist()]
    (tmp_path / "strips.geojson").write_text(json.dumps(features))
    found = read(path)
    assert found.strips.crs.to_epsg() == 32750
    apart = found.harvest.points[["x_m", "y_m"]].diff().dropna().to_numpy()
    wanted = rows[["x_m", "y_m"]].diff().dropna().to_numpy()
    assert np.hypot(*apart.T) == pytest.approx(np.hypot(*wanted.T), rel=5e-3)  # a sphere of one radius is that near


def test_a_harvest_that_states_another_crs_than_the_settings_is_asked_about(tmp_path):
    table = strips()
    rows = points(table)
    path = write(tmp_path, table, rows, crs="EPSG:32750")
    path.write_text(path.read_text().replace(".geojson", ".gpkg").replace("yield.csv", "yield.gpkg"))
    laid = gpd.GeoSeries(list(table["geometry"])).translate(5e5, 66e5)
    gpd.GeoDataFrame(table[["treatment", "pair"]], geometry=laid, crs=32750).to_file(tmp_path / "strips.gpkg")
    places = gpd.points_from_xy(rows["x_m"] + 5e5, rows["y_m"] + 66e5)
    gpd.GeoDataFrame({"yield": rows["value"]}, geometry=places, crs=32751).to_file(tmp_path / "yield.gpkg")
    path.write_text(path.read_text().partition("[trial.columns]")[0])
    with pytest.raises(AmbiguousInputError, match=r"zone 51S but trial\.crs says .*zone 50S; take out trial\.crs"):
        read(path)


def test_one_season_of_a_file_of_several_can_be_chosen(tmp_path):
    table = strips()
    path = write(tmp_path, table, points(table))
    rows = pd.read_csv(tmp_path / "yield.csv")
    both = pd.concat([rows.assign(year=2026), rows.assign(year=2027)])
    both.to_csv(tmp_path / "yield.csv", index=False)
    path.write_text(path.read_text().replace("[trial.columns]", "[trial.only]\nyear = 2027\n[trial.columns]"))
    assert len(read(path).harvest.points) == len(rows)
    path.write_text(path.read_text().replace("year = 2027", "year = 1999"))
    with pytest.raises(InputError, match="no row has year = 1999"):
        read(path)


def spoil(tmp_path, **properties):
    table = strips()
    path = write(tmp_path, table, points(table))
    features = json.loads((tmp_path / "strips.geojson").read_text())
    for feature in features["features"]:
        feature["properties"] |= properties
    (tmp_path / "strips.geojson").write_text(json.dumps(features))
    return path


@pytest.mark.parametrize(
    ("properties", "says"),
    [
        ({"treatment": "burnt"}, "treatment burnt is not known"),
        ({"treatment": "ripped"}, "no strip is unripped"),
        ({"pair": 1.5}, "pair is no whole number"),
        ({"zone": "north"}, "zone is north"),
    ],
)
def test_strips_that_say_nothing_usable_are_refused(tmp_path, properties, says):
    with pytest.raises(InputError, match=says):
        read(spoil(tmp_path, **properties))


@pytest.mark.parametrize(
    ("row", "says"), [(",,3", "no row has a place"), ("-30.5,118,3", "seem swapped; swap the names of the two columns")]
)
def test_rows_without_a_place_or_with_axes_swapped_are_refused(tmp_path, row, says):
    table = strips()
    path = write(tmp_path, table, points(table), crs="EPSG:4326")
    features = json.loads((tmp_path / "strips.geojson").read_text())
    for feature in features["features"]:
        feature["geometry"]["coordinates"] = [[[118, -30.5], [118.01, -30.5], [118.01, -30.51], [118, -30.5]]]
    (tmp_path / "strips.geojson").write_text(json.dumps(features))
    (tmp_path / "yield.csv").write_text(f"x_m,y_m,yield t/ha\n{row}\n{row.replace('118', '118.5')}\n")
    with pytest.raises(InputError, match=says):
        read(path)


def test_a_table_without_a_yield_is_refused(tmp_path):
    table = strips()
    path = write(tmp_path, table, points(table))
    text = (tmp_path / "yield.csv").read_text()
    (tmp_path / "yield.csv").write_text(text.replace("yield", "colour", 1))
    with pytest.raises(InputError, match="no header with a place and a yield"):
        read(path)
