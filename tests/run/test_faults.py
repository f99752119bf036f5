"""Soil maps and numbers that would be taken for something else without a word."""

import geopandas as gpd
import pytest
import shapely

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from small_paddock import SIDE_M, SOUTH_M, WEST_M, Small

HALVES = (
    shapely.box(WEST_M, SOUTH_M, WEST_M + SIDE_M / 2, SOUTH_M + SIDE_M),
    shapely.box(WEST_M + SIDE_M / 2, SOUTH_M, WEST_M + SIDE_M, SOUTH_M + SIDE_M),
)


def read(folder, soil="", columns=None, **tables):
    if columns is not None:
        gpd.GeoDataFrame(columns, geometry=list(HALVES), crs=32751).to_file(folder / "soils.gpkg")
        soil = f'polygons = "soils.gpkg"\n{soil}'
    config = read_config(Small(tables={"soil": soil, **tables}).write(folder))
    return read_inputs(config, read_catalog(config))[0]


def remarks(survey):
    return [f"{issue.file}: {issue.what}; {issue.done}" for issue in survey.issues]


def soils(**more):
    return {"soil_type": ["sand over clay", "deep sand"], **more}


def test_depths_to_clay_that_can_only_be_centimetres_are_asked_about(tmp_path):
    with pytest.raises(
        AmbiguousInputError, match=r"less than 80 mm, such as '55'.*add clay_depth_unit = \"cm\" to \[soil\]"
    ):
        read(tmp_path, columns=soils(clay_depth_mm=[55, 30]))


@pytest.mark.parametrize(("unit", "depths"), [("cm", [55, 30]), ("m", [0.55, 0.3]), ("mm", [55, 30])])
def test_the_unit_of_depths_to_clay_may_be_set(tmp_path, unit, depths):
    survey = read(tmp_path, f'clay_depth_unit = "{unit}"', columns=soils(clay_depth_mm=depths))
    expected = [55.0, 30.0] if unit == "mm" else [550.0, 300.0]
    assert sorted(survey.soils["clay_depth_mm"], reverse=True) == pytest.approx(expected)


def test_a_column_of_clay_depths_under_another_name_is_told_with_the_line_to_add(tmp_path):
    told = remarks(read(tmp_path, columns=soils(depth_clay=[550, 300])))
    assert any('add clay_depth_field = "depth_clay" to [soil]' in remark for remark in told)


@pytest.mark.parametrize(
    ("table", "line", "says"),
    [
        ("season", "moist_depth_mm = 0.7", "season.moist_depth_mm: a depth of 0.7 mm hardly enters the ground"),
        ("probes", "depth_limit_mm = 70", "probes.depth_limit_mm: a depth of 70 mm hardly"),
        ("prescription", "user_uniform_depth_mm = 45", "prescription.user_uniform_depth_mm: a depth of 45 mm hardly"),
        ("machine", 'tractor = { like = "tracked-370kw", engine_power = 370000 }', "370000 kW is outside the usual 15"),
        ("machine", 'tractor = { like = "tracked-370kw", max_speed = 60 }', "speed of 60 km/h is outside the usual"),
        (
            "machine",
            'ripper = { like = "seven-tine-600", spacing = 60 }',
            "tine spacing of 60 mm is outside the usual 150",
        ),
        ("numbers.soils", '"deep sand".first_year_gain = 300', "soil type deep sand: a gain of 300 t/ha is outside"),
        ("prices", "fuel_per_l = 175", "prices: a price of fuel, in grain, of"),
        ("prices", "grain_per_t = 0.33", "kg/L is outside the usual 0.5 to 100 kg/L"),
    ],
)
def test_a_number_in_another_unit_than_its_key_is_questioned(tmp_path, table, line, says):
    assert any(says in remark for remark in remarks(read(tmp_path, **{table: line})))


@pytest.mark.parametrize(("unit", "times"), [("psi", 1.0), ("kPa", -1.0)])
def test_readings_whose_pan_would_be_left_out_as_implausible_are_refused(tmp_path, unit, times):
    """Readings of 2,300 kPa taken for psi are above any plausible one, those of a pan alone negative."""
    path = Small().write(tmp_path)
    header, *rows = (tmp_path / "probes.csv").read_text().splitlines()
    cells = [
        [times * float(cell) if float(cell) > 2200 else float(cell) for cell in row.split(",")[3:]] for row in rows
    ]
    spoilt = [[*row.split(",")[:3], *map(str, own)] for row, own in zip(rows, cells, strict=True)]
    (tmp_path / "probes.csv").write_text("\n".join([header, *map(",".join, spoilt)]))
    path.write_text(path.read_text().replace('resistance_unit = "kPa"', f'resistance_unit = "{unit}"'))
    config = read_config(path)
    with pytest.raises(
        InputError, match="in 100 % of the insertions more than 10 % of them, are negative or exceed 15000"
    ):
        read_inputs(config, read_catalog(config))


def test_an_unknown_label_is_told_with_the_names_known_and_the_line_to_add(tmp_path):
    told = remarks(read(tmp_path, columns={"soil_type": ["sandy duplexx", "deep sand"]}))
    assert any('add "sandy duplexx" = "sand over clay" to [soil.mapping]' in remark for remark in told)
    assert any("gravelly sand" in remark for remark in told)


@pytest.mark.parametrize("columns", [None, {"soil_type": ["Pd1", "deep sand"]}])
def test_a_label_mapped_to_no_soil_type_is_refused_with_the_nearest(tmp_path, columns):
    with pytest.raises(InputError, match=r"'Pd1' is mapped to 'deap sand'.*write \"Pd1\" = \"deep sand\""):
        read(tmp_path, 'mapping = { Pd1 = "deap sand" }', columns=columns)


def test_without_any_soil_the_run_goes_on_with_a_general_type_and_says_so(tmp_path):
    path = Small().write(tmp_path)
    path.write_text(path.read_text().replace('default_type = "deep sand"', ""))
    config = read_config(path)
    survey = read_inputs(config, catalog := read_catalog(config))[0]
    assert survey.soil_types == ("unmapped",)
    low, value, high = catalog.soils["unmapped"].first_year_gain.ends
    assert high - low > 2 * value
    assert any("neither soil polygons nor a soil type are given" in remark for remark in remarks(survey))


def test_depth_to_clay_of_unmapped_ground_is_as_uncertain_as_that_of_all_soil_types_together(tmp_path):
    """A type without a depth to clay counts as ground that has none, which nobody knows of unmapped ground."""
    soils = read_catalog(read_config(Small().write(tmp_path))).soils
    ends = [kind.clay_depth.span for kind in soils.values() if kind.clay_depth is not None]
    assert soils["unmapped"].clay_depth.span == (min(low for low, _ in ends), max(high for _, high in ends))


def test_what_is_questioned_can_be_set(tmp_path):
    tables = {"prescription": "user_uniform_depth_mm = 4500"}
    assert any(
        "deeper than rippers go" in one for one in remarks(read(tmp_path, 'default_type = "deep sand"', **tables))
    )
    tables["numbers.usual"] = "deepest_ripping = 5000"
    silent = remarks(read(tmp_path / "own", 'default_type = "deep sand"', **tables))
    assert not any("deeper than rippers go" in one for one in silent)


@pytest.mark.parametrize(
    ("table", "line", "says"),
    [
        ("pan", "critical_kpa = 300", "pan.critical_kpa: a threshold of 300 kPa is outside the usual"),
        ("prescription", "user_uniform_depth_mm = 4500", "a working depth of 4500 mm is deeper than rippers go"),
    ],
)
def test_a_number_that_is_likely_in_another_unit_is_questioned(tmp_path, table, line, says):
    told = remarks(read(tmp_path, 'default_type = "deep sand"', **{table: line}))
    assert any(says in remark for remark in told)
    assert len(told) == len(remarks(read(tmp_path, 'default_type = "deep sand"'))) + 1


def test_readings_far_below_any_rod_are_questioned(tmp_path):
    path = Small().write(tmp_path)
    probes = tmp_path / "probes.csv"
    head, *rows = probes.read_text().splitlines()
    names = head.split(",")
    inches = [f"{float(name.split()[0]) / 10:g} in" if name.endswith(" mm") else name for name in names]
    probes.write_text("\n".join([",".join(inches), *rows]))
    config = read_config(path)
    assert any("readings go to 1778 mm" in remark for remark in remarks(read_inputs(config, read_catalog(config))[0]))
