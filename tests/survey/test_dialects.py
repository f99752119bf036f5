"""Files as instruments and trials write them: each gives the profiles that the plain table gives."""

import numpy as np
import pytest
from pyproj import Transformer

from hardpan.core.errors import HardpanError
from hardpan.pan.settings import PanSettings
from hardpan.pan.stage import detect_pan
from hardpan.run.catalog import read_catalog
from hardpan.run.chain import read_inputs
from hardpan.run.config import read_config
from hardpan.spatial.datum import WGS84
from small_paddock import SITES, SOUTH_M, WEST_M, Small

DEPTHS_MM = range(50, 701, 50)
TO_DEGREES = Transformer.from_crs(32751, WGS84, always_xy=True)


def kpa(number, depth_mm):
    return 3400 + 20 * number if 250 < depth_mm < 400 else 900 + 5 * number


def rows(make):
    """A line for each reading, made of the site's number, its place in metres and degrees, depth and kPa."""
    lines = []
    for number, (east, north) in enumerate(SITES, start=1):
        x, y = WEST_M + east, SOUTH_M + north
        lon, lat = TO_DEGREES.transform(x, y)
        place = {"n": number, "x": x, "y": y, "lon": lon, "lat": lat}
        lines.extend(make(**place, depth=depth, kpa=kpa(number, depth)) for depth in DEPTHS_MM)
    return lines


def read(folder, header, make, probes="", **tables):
    """Survey of a paddock whose probe table is this."""
    path = Small(tables={"probes": probes, **tables}).write(folder)
    (folder / "probes.csv").write_text("\n".join([*([header] if header else []), *rows(make)]) + "\n")
    config = read_config(path)
    return read_inputs(config, read_catalog(config))[0]


def plain(**of):
    return "S{n},{x:.2f},{y:.2f},{depth},{kpa}".format(**of)


def check(survey, *, shift_mm=0.0, factor=1.0):
    """Hold the profiles against what was written."""
    readings = survey.profiles.readings
    assert readings.sizes["insertion"] == len(SITES)
    order = np.argsort(readings["x_m"].to_numpy())
    by_east = np.argsort([east for east, _ in SITES])
    for at, number in zip(order, by_east + 1, strict=True):
        np.testing.assert_allclose(readings["depth_mm"][at], np.array(DEPTHS_MM) + shift_mm)
        expected = [factor * kpa(number, depth) for depth in DEPTHS_MM]
        np.testing.assert_allclose(readings["cone_index_kpa"][at], expected, rtol=1e-3)
        east, north = SITES[number - 1]
        assert readings["x_m"][at] == pytest.approx(WEST_M + east, abs=0.1)
        assert readings["y_m"][at] == pytest.approx(SOUTH_M + north, abs=0.1)


def test_an_export_without_a_header_is_read_by_the_names_given(tmp_path):
    names = 'names = ["site", "x", "y", "depth mm", "cone index kPa"]'
    check(read(tmp_path, None, plain, names))


@pytest.mark.parametrize("pair", ['"{lat:.7f}, {lon:.7f}"', "{lat:.7f} {lon:.7f}", "({lat:.7f};{lon:.7f})"])
def test_latitude_and_longitude_in_one_cell_are_parted(tmp_path, pair):
    def make(**of):
        return ("S{n}," + pair + ",{depth},{kpa}").format(**of)

    check(read(tmp_path, "site,GPS position,depth mm,cone index kPa", make, 'crs = "EPSG:4326"'))


@pytest.mark.parametrize(
    ("unit", "kpa_in_one"),
    [("MPascal", 1000.0), ("mega pascals", 1000.0), ("kilopascal", 1.0), ("pounds per square inch", 6.894757)],
)
def test_units_may_be_spelled_out(tmp_path, unit, kpa_in_one):
    def make(**of):
        return "S{n},{x:.2f},{y:.2f},{depth},{value:.5f}".format(value=of["kpa"] / kpa_in_one, **of)

    header = f"site,x,y,depth (millimetres),cone index ({unit})"
    path = Small().write(tmp_path)
    path.write_text(path.read_text().replace('resistance_unit = "kPa"\n', ""))
    (tmp_path / "probes.csv").write_text("\n".join([header, *rows(make)]) + "\n")
    config = read_config(path)
    check(read_inputs(config, read_catalog(config))[0])


@pytest.mark.parametrize("name", ["Sampling date", "measured_on", "Date of measurement", "Messdatum"])
def test_other_names_of_the_date_are_known(tmp_path, name):
    def make(**of):
        return plain(**of) + ",2026-06-01"

    survey = read(tmp_path, f"site,x,y,depth mm,cone index kPa,{name}", make)
    assert set(survey.profiles.readings["date"].to_numpy()) == {"2026-06-01"}


def test_a_site_may_be_named_by_several_columns(tmp_path):
    def make(**of):
        block, treatment = divmod(of["n"], 2)
        return f"B{block},T{treatment}," + "{x:.2f},{y:.2f},{depth},{kpa}".format(**of)

    columns = {"probes.columns": 'site = ["block", "treatment"]'}
    survey = read(tmp_path, "block,treatment,x,y,depth mm,cone index kPa", make, **columns)
    check(survey)
    assert "B1-T0" in survey.profiles.readings["site"].to_numpy()


def test_a_missing_part_of_a_site_is_refused_with_the_columns_there_are(tmp_path):
    columns = {"probes.columns": 'site = ["block", "plot"]'}
    with pytest.raises(HardpanError, match=r"no column 'block \+ plot'.*the table has site, x, y, depth mm"):
        read(tmp_path, "site,x,y,depth mm,cone index kPa", plain, **columns)


def test_a_depth_offset_moves_every_depth(tmp_path):
    check(read(tmp_path, "site,x,y,depth mm,cone index kPa", plain, "depth_offset_mm = 30"), shift_mm=30.0)


def test_another_cone_needs_a_stated_factor_and_is_told(tmp_path):
    header = "site,x,y,depth mm,cone index kPa (60 deg cone)"
    with pytest.raises(HardpanError, match="60 degree cone"):
        read(tmp_path, header, plain)
    survey = read(tmp_path, header, plain, "cone_angle_deg = 60\ncone_factor = 0.9")
    check(survey, factor=0.9)
    assert "probes.cone_factor = 0.9" in {issue.code: issue.done for issue in survey.issues}["other-cone"]


def test_another_cone_without_a_factor_is_refused(tmp_path):
    with pytest.raises(HardpanError, match="cone_factor"):
        read(tmp_path, "site,x,y,depth mm,cone index kPa", plain, "cone_angle_deg = 60")


def test_water_by_mass_becomes_water_by_volume_with_the_bulk_density(tmp_path):
    def make(**of):
        return plain(**of) + ",0.10"

    header = "site,x,y,depth mm,cone index kPa,gravimetric water content"
    with pytest.raises(HardpanError, match="bulk_density"):
        read(tmp_path, header, make)
    survey = read(tmp_path, header, make, 'moisture_basis = "gravimetric"\nbulk_density = 1.5')
    # theta = w rho_b / rho_w: 0.10 x 1.5 (definition of the volumetric water content)
    np.testing.assert_allclose(survey.profiles.readings["theta"], 0.15)
    assert len(detect_pan(survey.profiles, survey.crs, PanSettings()).insertions) == len(SITES)
