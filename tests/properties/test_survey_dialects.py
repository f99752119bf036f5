"""Profiles written in any supported dialect come back equal; any bytes give a survey or one plain line."""

import contextlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from hardpan.core.errors import HardpanError
from hardpan.core.units import KPA_PER, MM_PER
from hardpan.run.catalog import read_catalog
from hardpan.run.config import read_config
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.survey.stage import read_survey

ROOT = Path(__file__).parents[2]
SOILS = read_catalog(read_config(ROOT / "data" / "demo" / "demo.toml")).soils
SQUARE = (
    '{"type": "Polygon", "coordinates": [[[122.99, -28.03], [123.01, -28.03], [123.01, -28.01], [122.99, -28.01], '
    "[122.99, -28.03]]]}"
)
TO_UTM = pyproj.Transformer.from_crs(4326, 32751, always_xy=True)
LESS = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],  # a survey is too slow to shrink
)


@dataclass(frozen=True)
class Profiles:
    """What is written: sites at places, readings (site, depth), NaN where the cell is blank."""

    lon: np.ndarray
    lat: np.ndarray
    depth_mm: np.ndarray
    kpa: np.ndarray


@st.composite
def profile_sets(draw):
    sites = draw(st.integers(3, 5))
    steps = draw(st.integers(5, 8))
    first = draw(st.integers(0, 1))
    step_mm = draw(st.sampled_from([25, 50, 100]))
    spot = st.tuples(st.integers(-900, 900), st.integers(-900, 900))
    places = draw(st.lists(spot, min_size=sites, max_size=sites, unique=True))
    rows = st.lists(st.integers(120, 6000), min_size=steps, max_size=steps, unique=True)
    kpa = np.array(draw(st.lists(rows, min_size=sites, max_size=sites)), dtype=float)
    holes = draw(st.lists(st.tuples(st.integers(0, sites - 1), st.integers(1, steps - 2)), max_size=3))
    for site, depth in holes:
        kpa[site, depth] = np.nan
    return Profiles(
        lon=np.array([123.0 + x * 1e-5 for x, _ in places]),
        lat=np.array([-28.02 + y * 1e-5 for _, y in places]),
        depth_mm=(np.arange(steps) + first) * float(step_mm),
        kpa=kpa,
    )


@dataclass(frozen=True)
class Dialect:
    layout: str
    separator: str
    decimal: str
    encoding: str
    resistance: str
    depth: str
    units: str
    places: str
    grouped: bool
    downward: bool
    ends: str


@st.composite
def dialects(draw):
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    return Dialect(
        layout=draw(st.sampled_from(["wide", "long", "transposed", "blocks", "two files"])),
        separator=separator,
        decimal="." if separator == "," else draw(st.sampled_from([".", ","])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])),
        resistance=draw(st.sampled_from(sorted(KPA_PER))),
        depth=draw(st.sampled_from(["mm", "cm", "m", "in"])),
        units=draw(st.sampled_from(["header", "settings"])),
        places=draw(st.sampled_from(["degrees", "minutes", "metres"])),
        grouped=draw(st.booleans()),
        downward=draw(st.booleans()),
        ends=draw(st.sampled_from(["\n", "\r\n", "\r"])),
    )


class Writer:
    """Writes profiles in a dialect, as a logger or a spreadsheet would."""

    def __init__(self, profiles: Profiles, dialect: Dialect) -> None:
        self.profiles, self.dialect = profiles, dialect

    def number(self, value: float, decimals: int | None = None) -> str:
        text = f"{value:.{decimals}f}" if decimals is not None else repr(float(value)).removesuffix(".0")
        return text.replace(".", self.dialect.decimal)

    def reading(self, value: float) -> str:
        if np.isnan(value):
            return ""
        native = value / KPA_PER[self.dialect.resistance]
        if self.dialect.grouped and self.dialect.resistance == "kPa" and value >= 1000:
            return f"{int(value):,}".replace(",", " ")
        return self.number(native)

    def depths(self) -> list[str]:
        sign = -1.0 if self.dialect.downward and self.dialect.layout == "long" else 1.0
        return [self.number(round(sign * depth / MM_PER[self.dialect.depth], 9)) for depth in self.profiles.depth_mm]

    def place(self, at: int) -> tuple[str, str]:
        lon, lat = self.profiles.lon[at], self.profiles.lat[at]
        if self.dialect.places == "metres":
            x, y = TO_UTM.transform(lon, lat)
            return self.number(x, 4), self.number(y, 4)
        if self.dialect.places == "minutes":
            whole, south = int(lon), int(-lat)
            minutes = self.number((lon - whole) * 60, 7), self.number((-lat - south) * 60, 7)
            return f"{whole:03d}°{minutes[0]}E", f"{south:02d}°{minutes[1]}S"
        return self.number(lon, 8), self.number(lat, 8)

    @property
    def axes(self) -> tuple[str, str]:
        return ("easting", "northing") if self.dialect.places == "metres" else ("longitude", "latitude")

    @property
    def value_name(self) -> str:
        return f"Resistance ({self.dialect.resistance})" if self.dialect.units == "header" else "resistance"

    @property
    def depth_name(self) -> str:
        return f"depth ({self.dialect.depth})" if self.dialect.units == "header" else "depth"

    def wide(self) -> list[list[str]]:
        unit = f" {self.dialect.depth}" if self.dialect.units == "header" else ""
        value = f" {self.dialect.resistance}".replace("/", " ") if self.dialect.units == "header" else ""
        value = " kgf/cm2" if value == " kgf cm2" else value
        head = ["site", *self.axes, *(f"{depth}{unit}{value}" for depth in self.depths())]
        return [
            head,
            *([f"S{at}", *self.place(at), *map(self.reading, row)] for at, row in enumerate(self.profiles.kpa)),
        ]

    def long(self, *, placed: bool = True) -> list[list[str]]:
        head = ["site", *(self.axes if placed else ()), self.depth_name, self.value_name]
        return [
            head,
            *(
                [f"S{at}", *(self.place(at) if placed else ()), depth, self.reading(value)]
                for at, row in enumerate(self.profiles.kpa)
                for depth, value in zip(self.depths(), row, strict=True)
            ),
        ]

    def blocks(self) -> list[list[str]]:
        rows: list[list[str]] = []
        for at, row in enumerate(self.profiles.kpa):
            x, y = self.place(at)
            rows += [["site", f"S{at}"], [self.axes[0], x], [self.axes[1], y], [self.depth_name, self.value_name]]
            rows += [
                [depth, self.reading(value)]
                for depth, value in zip(self.depths(), row, strict=True)
                if np.isfinite(value)
            ]
            rows += [[""]]
        return rows

    def places(self) -> list[list[str]]:
        return [["site", *self.axes], *([f"S{at}", *self.place(at)] for at in range(len(self.profiles.lon)))]

    def save(self, rows: list[list[str]], path: Path) -> Path:
        text = self.dialect.ends.join(self.dialect.separator.join(row) for row in rows)
        path.write_bytes(text.encode(self.dialect.encoding))
        return path

    def write(self, folder: Path) -> dict:
        layout = self.dialect.layout
        rows = {"wide": self.wide, "long": self.long, "transposed": self.wide, "blocks": self.blocks}.get(layout)
        table = rows() if rows else self.long(placed=False)
        if layout == "transposed":
            table = [list(column) for column in zip(*table, strict=True)]
        found = {"file": self.save(table, folder / "readings.csv"), "spike_kpa": 1e9, "device_limit_kpa": 1e6}
        found |= {"site_spread_m": 0.5, "plausible_kpa": 1e6}
        if layout == "two files":
            found["positions"] = self.save(self.places(), folder / "places.csv")
        if self.dialect.units == "settings":
            found |= {"resistance_unit": self.dialect.resistance, "depth_unit": self.dialect.depth}
        if self.dialect.places == "metres":
            found["crs"] = "EPSG:32751"
        return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("survey")
    (folder / "square.geojson").write_text(SQUARE)
    return folder


def survey_of(folder, probes):
    return read_survey(
        PaddockSettings(name="square", boundary=folder / "square.geojson"),
        ProbeSettings(**probes),
        SoilSettings(default_type="deep sand"),
        GridSettings(cell_m=50.0),
        SOILS,
    )


@pytest.mark.slow
@LESS
@given(profiles=profile_sets(), dialect=dialects())
def test_profiles_in_any_dialect_come_back_equal(folder, profiles, dialect):
    table = survey_of(folder, Writer(profiles, dialect).write(folder)).profiles.readings
    assert table["site"].to_numpy().tolist() == [f"S{at}" for at in range(len(profiles.lon))]
    x, y = TO_UTM.transform(profiles.lon, profiles.lat)
    np.testing.assert_allclose(table["x_m"].to_numpy(), x, atol=2e-3)
    np.testing.assert_allclose(table["y_m"].to_numpy(), y, atol=2e-3)
    for at, wanted in enumerate(profiles.kpa):
        depth, kpa = table["depth_mm"].to_numpy()[at], table["cone_index_kpa"].to_numpy()[at]
        known = np.isfinite(wanted)
        np.testing.assert_allclose(depth[np.isfinite(kpa)], profiles.depth_mm[known], atol=1e-4)
        np.testing.assert_allclose(kpa[np.isfinite(kpa)], wanted[known], rtol=1e-9)


CONTROL = (
    "site,latitude,longitude,depth_cm,ci_kpa\n"
    + "\n".join(
        f"S{site},-28.0{site + 12},123.00{site},{depth},{400 + 37 * depth + site}"
        for site in range(4)
        for depth in range(0, 60, 10)
    )
).encode()


def read_or_refuse(folder, name, data, **inputs):
    """Read `data` as the input `name` stands for; what is left must be what was there."""
    path = folder / name
    path.write_bytes(data)
    before = {entry.name for entry in folder.iterdir()}
    paddock = {"name": "square", "boundary": folder / "square.geojson"}
    probes = {"file": folder / "control.csv"}
    (folder / "control.csv").write_bytes(CONTROL)
    with contextlib.suppress(HardpanError):
        read_survey(
            PaddockSettings(**paddock | ({"boundary": path} if inputs.get("boundary") else {})),
            ProbeSettings(**probes | ({"file": path} if inputs.get("probes") else {})),
            SoilSettings(default_type="deep sand", **({"cores": path} if inputs.get("cores") else {})),
            GridSettings(cell_m=50.0, **({"covariates": (path,)} if inputs.get("covariates") else {})),
            SOILS,
        )
    assert {entry.name for entry in folder.iterdir()} <= before | {"control.csv"}
    path.unlink()


@pytest.mark.slow
@LESS
@given(data=st.binary(max_size=400))
@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("a.csv", "probes"),
        ("a.geojson", "boundary"),
        ("a.shp", "boundary"),
        ("a.csv", "cores"),
        ("a.tif", "covariates"),
    ],
)
def test_any_bytes_give_a_survey_or_one_plain_line(folder, name, role, data):
    read_or_refuse(folder, name, data, **{role: True})


@st.composite
def mutated(draw, original: bytes):
    """Bytes with a few places overwritten, cut out, doubled or swapped for what breaks parsers."""
    data = bytearray(original)
    nasty = [
        b'"',
        b"\x00",
        b"\n",
        b",",
        b";",
        b"-",
        b"1e308",
        b"NaN",
        b"\xff\xfe",
        b"{",
        b"]",
        b"9" * 30,
        b" ",
        b"'",
        b"",
    ]
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(data)))
        cut = draw(st.integers(0, 12))
        data[at : at + cut] = draw(st.one_of(st.sampled_from(nasty), st.binary(max_size=6)))
    return bytes(data)


@pytest.mark.slow
@LESS
@given(data=mutated(CONTROL))
def test_mutated_tables_give_a_survey_or_one_plain_line(folder, data):
    read_or_refuse(folder, "mutated.csv", data, probes=True)


@LESS
@given(data=mutated(SQUARE.encode()))
def test_mutated_boundaries_give_a_survey_or_one_plain_line(folder, data):
    read_or_refuse(folder, "mutated.geojson", data, boundary=True)
