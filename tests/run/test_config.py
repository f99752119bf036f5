from pathlib import Path

import pytest

from hardpan.core.errors import InputError, SettingsError
from hardpan.run.config import change, read_config

DEMO = Path(__file__).parents[2] / "data" / "demo" / "demo.toml"
LEAST = """
[paddock]
name = "north"
boundary = "boundary.geojson"
[probes]
file = "probes.csv"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "paddock.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_least_configuration_fills_in_every_table(tmp_path):
    config = read_config(write(tmp_path, LEAST))
    assert config.pan.critical_kpa == 2500
    assert config.prescription.rule == "return"


def test_paths_resolve_against_the_folder_of_the_configuration(tmp_path):
    config = read_config(write(tmp_path, LEAST))
    assert config.paddock.boundary == tmp_path / "boundary.geojson"
    assert config.probes.file == tmp_path / "probes.csv"


def test_every_file_the_run_reads_is_known(tmp_path):
    more = LEAST.replace('"probes.csv"', '["a.csv", "b.csv"]\n[surfaces]\ncovariates = ["eca.tif"]')
    config = read_config(write(tmp_path, more))
    assert {path.name for path in config.inputs} == {"boundary.geojson", "a.csv", "b.csv", "eca.tif"}
    assert all(path.parent == tmp_path for path in config.inputs)


def test_a_changed_key_leaves_all_others_as_the_file_gave_them():
    config = read_config(DEMO)
    assert change(config) == config
    changed = change(config, pan={"critical_kpa": 1800}, surfaces={"priors": {"thickness_mm": 120}})
    assert (changed.pan.critical_kpa, changed.surfaces.priors.thickness_mm) == (1800, 120)
    assert changed.prescription == config.prescription
    assert changed.surfaces.priors.noise_mm == config.surfaces.priors.noise_mm
    assert config.pan.critical_kpa != 1800


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"pan": {"critical_kp": 2000}}, "unknown key 'pan.critical_kp'"),
        ({"pan": {"critical_kpa": -1}}, "pan.critical_kpa = -1 cannot be used"),
        ({"zones": {"min_width_m": float("inf")}}, "zones.min_width_m is infinite"),
    ],
)
def test_a_change_is_checked_as_a_file_is(tables, says):
    with pytest.raises(SettingsError, match=says):
        change(read_config(DEMO), **tables)


def test_an_absolute_path_stays_as_it_is(tmp_path):
    elsewhere = tmp_path / "elsewhere" / "b.geojson"
    config = read_config(write(tmp_path, LEAST.replace("boundary.geojson", elsewhere.as_posix())))
    assert config.paddock.boundary == elsewhere


@pytest.mark.parametrize(
    ("wrong", "key", "right"),
    [
        ('[probes.columns]\nsiet = "a"', "probes.columns.siet", "'site'"),
        ("[pan]\ncritical_kp = 2000", "pan.critical_kp", "'critical_kpa'"),
        ("[prescriptions]\nstep_mm = 25", "prescriptions", "'prescription'"),
        ("[surfaces]\ncell = 5", "surfaces.cell", "'cell_m'"),
    ],
)
def test_an_unknown_key_is_named_with_the_nearest_valid_one(tmp_path, wrong, key, right):
    with pytest.raises(SettingsError) as caught:
        read_config(write(tmp_path, LEAST + wrong))
    assert f"unknown key '{key}'" in str(caught.value)
    assert f"did you mean {right}" in str(caught.value)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ("[pan]\ncritical_kpa = true", "pan.critical_kpa = true cannot be used; expected a number, not true or false"),
        ('[surfaces]\ncovariates = "em.tif"', "covariates = 'em.tif' cannot be used; expected a list in brackets"),
        ("[soil]\ncrs = 4326", "soil.crs = 4326 cannot be used; expected a text in quotes"),
        (
            '[season]\nday = "12/05/2026"',
            "season.day = '12/05/2026' cannot be used; expected a date such as 2026-05-12",
        ),
        ('[pan]\ncritical_kpa = "2,5 MPa"', "cannot be used; expected a number with a decimal point"),
        (
            '[[alternatives]]\nname = "offer"\nrate_per_ha = 95\ndeepest = "55"',
            "expected a number, a text with its unit, or",
        ),
        (
            '[[alternatives]]\nname = "a"\n[[alternatives]]\nname = "offer"\nwaiting = -1',
            "alternatives 2 (offer).waiting = -1 cannot be used",
        ),
        ("[[alternatives]]\nname = 'a'\n[[alternatives]]\nwaiting = 1", "key 'alternatives 2.name' is missing"),
        (
            '[alternatives]\nname = "offer"',
            "expected a list of tables: write [[alternatives]] in place of [alternatives]",
        ),
        (
            "[strips]\nwidth_m = 4",
            "strips = { width_m = 4 } cannot be used; expected width_m that holds the harvester, 12 m",
        ),
        ("[strips]\nlength_m = 50", "expected length_m no shorter than least_length_m, 60 m; give that too"),
        ("[sites]\ngate = [117.6]", "key 'sites.gate 2' is missing"),
        ('[outputs]\nformats = ["geojson", "shp"]', "outputs.formats 2 = 'shp' cannot be used"),
        (
            "[season]\ncrop = ['wheat', 2027-04-20, true]",
            "season.crop = ['wheat', 2027-04-20, true] cannot be used; expected a text in quotes or a table",
        ),
        ("[surfaces]\ndraws = 50.5", "surfaces.draws = 50.5 cannot be used; expected a whole number"),
        ("[probes.columns]\nsite = 0", "probes.columns.site = 0 cannot be used; expected a text in quotes or a list"),
        ('[soil]\ncores = "data\\bores.csv"', "soil.cores holds a control character; expected plain text; write paths"),
    ],
)
def test_a_value_of_another_kind_is_told_in_words_of_the_file(tmp_path, wrong, says):
    with pytest.raises(SettingsError) as caught:
        read_config(write(tmp_path, LEAST + wrong))
    assert says in str(caught.value).splitlines()[0]


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_a_file_in_another_encoding_is_refused_with_the_row(tmp_path, encoding):
    path = tmp_path / "paddock.toml"
    path.write_bytes(LEAST.replace('name = "', 'name = "Größe ').encode(encoding))
    with pytest.raises(SettingsError, match=r"paddock\.toml row \d: not valid TOML: not UTF-8 text; save it"):
        read_config(path)


@pytest.mark.parametrize(
    ("wrong", "key"),
    [
        ("[pan]\ncritical_kpa = -5", "pan.critical_kpa"),
        ('[prescription]\nrule = "deepest"', "prescription.rule"),
        ("[pan]\ncritical_kpa = inf", "pan.critical_kpa"),
        ("[pan]\nhysteresis_kpa = nan", "pan.hysteresis_kpa"),
        ('[[probes.layers]]\ncolumn = "a"\ntop = 20\nbottom = 10', "probes.layers"),
        (
            '[[probes.layers]]\ncolumn = "a"\ntop = 0\nbottom = 20\n'
            '[[probes.layers]]\ncolumn = "b"\ntop = 10\nbottom = 30',
            "probes.layers",
        ),
        ("[surfaces]\ndraws = 3", "surfaces.draws"),
        ('[surfaces]\ncell_m = "wide"', "surfaces.cell_m"),
    ],
)
def test_a_wrong_value_is_named_by_its_key(tmp_path, wrong, key):
    with pytest.raises(SettingsError, match=key):
        read_config(write(tmp_path, LEAST + wrong))


def test_an_empty_list_of_files_is_refused(tmp_path):
    with pytest.raises(SettingsError, match=r"probes\.file"):
        read_config(write(tmp_path, LEAST.replace('"probes.csv"', "[]")))


def test_a_name_with_a_control_character_is_refused(tmp_path):
    with pytest.raises(SettingsError, match=r"paddock\.name holds a control character"):
        read_config(write(tmp_path, LEAST.replace('"north"', '"no\\u0000rth"')))


def test_a_missing_key_is_named(tmp_path):
    with pytest.raises(SettingsError, match=r"'paddock\.boundary' is missing"):
        read_config(write(tmp_path, LEAST.replace('boundary = "boundary.geojson"', "")))


def test_a_missing_file_is_said_in_one_line(tmp_path):
    with pytest.raises(InputError, match="no such file") as caught:
        read_config(tmp_path / "nowhere.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("content", [b"[paddock\n", b"\xff\xfe\x00", b"a = 1\na = 2"])
def test_what_is_not_toml_is_refused(tmp_path, content):
    path = tmp_path / "paddock.toml"
    path.write_bytes(content)
    with pytest.raises(SettingsError, match="not valid TOML"):
        read_config(path)


@pytest.mark.parametrize(
    ("table", "key", "given", "value"),
    [
        # factors by definition: NIST SP 811, appendix B.8
        ("pan", "critical_kpa", '"350 psi"', 350 * 6.894757293168),
        ("pan", "critical_kpa", '"2.5 MPa"', 2500.0),
        ("pan", "critical_kpa", '{ value = 350, unit = "psi", source = "user" }', 350 * 6.894757293168),
        ("prescription", "step_mm", '"1 in"', 25.4),
        ("surfaces", "cell_m", '"16 ft"', 16 * 0.3048),
        ("zones", "min_area_ha", '"2 ac"', 2 * 0.40468564224),
        ("machine", "observed_fuel_l_per_ha", '"2.5 gal/ac"', 2.5 * 3.785411784 / 0.40468564224),
        ("machine", "observed_speed_kmh", '"4 mph"', 4 * 1.609344),
    ],
)
def test_a_number_may_be_given_with_its_unit_or_as_a_table(tmp_path, table, key, given, value):
    config = read_config(write(tmp_path, f"{LEAST}[{table}]\n{key} = {given}\n"))
    assert getattr(getattr(config, table), key) == pytest.approx(value)


@pytest.mark.parametrize("given", ['"350 mm"', '"350 USD"', "{ value = 2500, low = 2000, high = 3000 }", '"350 psii"'])
def test_a_number_that_cannot_be_brought_to_the_unit_is_refused_by_its_key(tmp_path, given):
    with pytest.raises(SettingsError, match=r"pan\.critical_kpa = .* cannot be used; expected"):
        read_config(write(tmp_path, f"{LEAST}[pan]\ncritical_kpa = {given}\n"))


def test_the_depth_step_of_us_units_is_an_inch_unless_another_is_asked_for(tmp_path):
    us = f'{LEAST}[outputs]\nunits = "us"\n'
    assert read_config(write(tmp_path, us)).decision.prescription.step_mm == 25.4
    assert read_config(write(tmp_path, f"{us}[prescription]\nstep_mm = 50\n")).decision.prescription.step_mm == 50
