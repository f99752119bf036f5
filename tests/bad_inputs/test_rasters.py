"""Covariate rasters in every orientation and state of damage: what each becomes."""

import warnings

import numpy as np
import pytest
import rasterio
from affine import Affine

from hardpan.core.errors import AmbiguousInputError, InputError

# A plane over pad A whose value is known everywhere: east of the corner + 2 x north of the corner, in m.
PIXEL, WEST_M, NORTH_M, SOUTH_M = 10.0, 499950.0, 6900350.0, 6899950.0
COLUMNS, ROWS = 50, 40


def plane(x, y):
    return (x - 500000.0) + 2.0 * (y - 6900000.0)


def sampled(transform, rows=ROWS, columns=COLUMNS):
    row, column = np.mgrid[0:rows, 0:columns] + 0.5
    x = transform.a * column + transform.b * row + transform.c
    y = transform.d * column + transform.e * row + transform.f
    return plane(x, y)


NORTH_UP = Affine(PIXEL, 0, WEST_M, 0, -PIXEL, NORTH_M)


@pytest.fixture
def read(pad_a, tmp_path):
    def read(values, transform=NORTH_UP, *, crs="EPSG:32751", grid=None, **profile):
        name, driver = "eca.tif", "GTiff"
        bands = values if values.ndim == 3 else values[None]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with rasterio.open(
                tmp_path / name,
                "w",
                driver=driver,
                width=bands.shape[2],
                height=bands.shape[1],
                count=bands.shape[0],
                dtype=bands.dtype,
                crs=crs,
                transform=transform,
                **profile,
            ) as target:
                target.write(bands)
        return pad_a.read(grid={"covariates": (tmp_path / name,), **(grid or {})})

    return read


def codes(survey):
    return {issue.code for issue in survey.issues}


def error_inside(survey):
    values = survey.covariates["eca"]
    x, y = np.meshgrid(values["x"], values["y"])
    inside = (x > 500000) & (x < 500400) & (y > 6900000) & (y < 6900300)
    return np.abs(values.to_numpy() - plane(x, y))[inside].max()


SOUTH_UP = Affine(PIXEL, 0, WEST_M, 0, PIXEL, SOUTH_M)
TURNED = Affine(8.660254, 5.0, 499800.0, 5.0, -8.660254, 6900250.0)


@pytest.mark.parametrize(
    ("transform", "size"),
    [
        (NORTH_UP, (40, 50)),
        (SOUTH_UP, (40, 50)),
        (TURNED, (120, 120)),
        (Affine(1, 0, WEST_M, 0, -1, NORTH_M), (400, 500)),
    ],
    ids=["north up", "south up", "turned by 30 degrees", "finer than the grid"],
)
def test_a_plane_stays_the_plane_in_any_orientation(transform, size, read):
    # a bilinear map, and the mean of one over a cell, reproduce a plane exactly
    survey = read(sampled(transform, *size), transform)
    assert error_inside(survey) < 1e-6
    assert not survey.issues


def test_a_raster_on_gda94_is_moved_by_about_one_and_a_half_metres(read):
    # FORMATS 3.4: GDA94 and GDA2020 lie 1.5 to 1.8 m apart, towards the north-east
    survey = read(sampled(NORTH_UP), crs="EPSG:28351")
    shift = 1.79
    assert 0.5 < error_inside(survey) < 3 * shift
    assert "datum-moved" in codes(survey)


def test_nodata_in_the_settings_is_missing(read):
    values = sampled(NORTH_UP)
    values[:, :20] = 777.0
    survey = read(values, grid={"nodata": 777.0})
    assert np.isnan(float(survey.covariates["eca"].sel(x=500050, y=6900150, method="nearest")))
    assert "raster-coverage" in codes(survey)


def test_declared_nodata_and_scale_are_honoured(read, tmp_path):
    values = np.round(sampled(NORTH_UP)).astype("int16") + 1000
    values[0, 0] = -1
    survey = read(values, nodata=-1)
    assert float(survey.covariates["eca"].min()) > 900
    with rasterio.open(tmp_path / "eca.tif", "r+") as target:
        target.scales, target.offsets = (0.1,), (5.0,)
    assert codes(survey) <= {"raster-coverage"}


@pytest.mark.parametrize("mark", [3e38, -3.4e38, 1e20, 9999.0, 65535.0])
def test_a_mark_that_nobody_declared_is_missing_and_told(mark, read):
    values = sampled(NORTH_UP).astype("float32") / 10
    values[10:14, 20:30] = mark
    survey = read(values)
    found = survey.covariates["eca"].to_numpy()
    assert np.nanmax(np.abs(found)) < 200
    assert "raster-nodata" in codes(survey)


@pytest.mark.parametrize(("kind", "mark"), [("uint8", 255), ("int8", -128)])
def test_the_last_value_a_small_whole_number_can_hold_is_missing_where_it_stands_alone(kind, mark, read):
    rows, columns = sampled(NORTH_UP).shape
    values = (np.add.outer(np.arange(rows), np.arange(columns)) * 60 // (rows + columns)).astype(kind)
    values[10:14, 20:30] = mark
    survey = read(values)
    assert 0 <= float(survey.covariates["eca"].min()) <= float(survey.covariates["eca"].max()) < 100
    assert "raster-nodata" in codes(survey)


def test_a_covariate_far_from_zero_has_no_marks(read):
    assert "raster-nodata" not in codes(read(sampled(NORTH_UP) + 1e6))


def test_a_collar_of_zeros_is_missing(read):
    values = sampled(NORTH_UP) + 5000
    values[:12] = values[-12:] = 0
    values[:, :12] = values[:, -12:] = 0
    survey = read(values)
    assert {"raster-collar", "raster-coverage"} <= codes(survey)
    assert float(survey.covariates["eca"].min()) > 1000


def test_infinite_cells_are_missing(read):
    values = sampled(NORTH_UP)
    values[10:15, 10:15] = np.inf
    survey = read(values)
    assert "raster-infinite" in codes(survey)
    assert np.isfinite(survey.covariates["eca"].max())


def test_a_constant_raster_is_left_out(read):
    survey = read(np.full((ROWS, COLUMNS), 5.0))
    assert "raster-constant" in codes(survey)
    assert not list(survey.covariates)


def test_only_the_first_of_several_bands_is_used_and_told(read):
    survey = read(np.stack([sampled(NORTH_UP)] * 3))
    assert "raster-bands" in codes(survey)
    assert error_inside(survey) < 1e-6


@pytest.mark.parametrize(
    ("values", "more", "word"),
    [
        (sampled(NORTH_UP), {"transform": Affine.identity()}, "no position"),
        (sampled(NORTH_UP).astype("complex64"), {}, "complex"),
        (np.full((ROWS, COLUMNS), -9999.0), {"nodata": -9999.0}, "no cell with a value"),
        (np.full((ROWS, COLUMNS), np.nan), {}, "no cell with a value"),
        (sampled(NORTH_UP), {"transform": Affine(10, 0, 0, 0, -10, 0)}, "does not cover"),
    ],
    ids=["no position", "complex numbers", "nodata only", "NaN only", "elsewhere"],
)
def test_rasters_that_say_nothing_are_refused(values, more, word, read):
    with pytest.raises(InputError) as caught:
        read(values, **more)
    assert word in str(caught.value)
    assert "eca.tif" in str(caught.value)


def test_a_raster_without_crs_is_asked_for_and_then_read(read):
    with pytest.raises(AmbiguousInputError, match=r"surfaces\.covariates_crs"):
        read(sampled(NORTH_UP), crs=None)
    assert error_inside(read(sampled(NORTH_UP), crs=None, grid={"crs": "EPSG:32751"})) < 1e-6


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"hello",
        b"II*\x00" + bytes(100),
        b'<VRTDataset rasterXSize="1" rasterYSize="1"><VRTRasterBand dataType="Byte" band="1"><SimpleSource>'
        b"<SourceFilename>/etc/passwd</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>",
        np.random.default_rng(2).bytes(2000),
    ],
    ids=["nothing", "text", "a cut header", "a pointer to another file", "random bytes"],
)
def test_what_is_no_raster_is_refused_in_one_line(data, pad_a, tmp_path):
    (tmp_path / "eca.tif").write_bytes(data)
    with pytest.raises(InputError) as caught:
        pad_a.read(grid={"covariates": (tmp_path / "eca.tif",)})
    assert "\n" not in str(caught.value)
    assert [path.name for path in tmp_path.iterdir()] == ["eca.tif"]
