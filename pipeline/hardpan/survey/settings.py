"""Settings of the survey: paddock, probes, soil."""

from collections.abc import Mapping
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Literal

from pydantic import Field, field_validator

from hardpan.core.settings import InputPath, Settings, setting

LengthUnit = Literal["mm", "cm", "m", "in"]
ResistanceUnit = Literal["kPa", "MPa", "psi", "kgf/cm2", "bar", "N"]


class PaddockSettings(Settings):
    """The `[paddock]` table."""

    name: str = setting(says="Name of the paddock, for titles and file metadata", min_length=1)
    boundary: InputPath = setting(says="Boundary polygon(s), any OGR format")
    boundary_layer: str | None = setting(None, says="Layer of the boundary file where it has several")
    boundary_crs: str | None = setting(None, says="CRS of the boundary where its file states none, e.g. EPSG:4326")
    boundary_feature: str | None = setting(
        None, says='Attribute value of the feature to take where there are several; "all" takes them together'
    )
    exclusions: InputPath | None = setting(None, says="Rock, drains, buried services; attribute buffer_m")
    exclusions_layer: str | None = setting(None, says="Layer of the exclusions file where it has several")
    exclusions_crs: str | None = setting(None, says="CRS of the exclusions where their file states none")
    visible_kinds: tuple[str, ...] = setting(
        ("rock", "rock outcrop", "tree", "trees", "building", "waterway", "track"),
        says="Kinds of exclusion seen from the cab; all others, and those without a kind, count as buried: tines are "
        "out of the ground before they reach it, and where the position is lost",
    )
    crs: str = setting("auto", says="Working CRS, projected, metres; auto = UTM zone on the boundary's own datum")
    seed: int = setting(1, says="Seed of everything random", ge=0)


class ColumnSettings(Settings):
    """The `[probes.columns]` table: only where the names are not recognised."""

    site: str | tuple[str, ...] | None = setting(
        None, says="Column of the probe site, or a list of columns that name it together, such as block and treatment"
    )
    insertion: str | None = setting(None, says="Column of the insertion (replicate) at a site")
    x: str | None = setting(None, says="Column of easting or longitude")
    y: str | None = setting(None, says="Column of northing or latitude")
    depth: str | None = setting(None, says="Column of depth (long layout)")
    resistance: str | None = setting(None, says="Column of cone index (long layout)")
    moisture: str | None = setting(None, says="Column of water content")
    date: str | None = setting(None, says="Column of the probing date")
    device: str | None = setting(None, says="Column of the penetrometer used: each has its own rod and load limit")
    se: str | None = setting(None, says="Column of the standard error of a site's mean cone index (long layout)")
    sd: str | None = setting(None, says="Column of the standard deviation between a site's insertions (long layout)")
    n: str | None = setting(None, says="Column of the number of insertions that a mean is of")

    def asked(self, role: str) -> str | None:
        """Name of the column asked for, of several the one that joins them."""
        name = getattr(self, role)
        return " + ".join(name) if isinstance(name, tuple) else name


class LayerSettings(Settings):
    """One entry of `[[probes.layers]]`: a column that holds the mean of a layer."""

    column: str = setting(says="Column with the layer's mean cone index")
    top: float = setting(says="Upper end of the layer, in depth_unit", ge=0)
    bottom: float = setting(says="Lower end of the layer, in depth_unit", gt=0)


class RodSettings(Settings):
    """One entry of `[[probes.rods]]`: what holds for the insertions of one file or one device."""

    of: str = setting(says="Name of the file, or of the device in the column of devices", min_length=1)
    depth_limit_mm: float | None = setting(None, says="Depth at which its rods end", unit="mm", gt=0)
    device_limit_kpa: float | None = setting(None, says="Highest cone index it can show", unit="kPa", gt=0)


class ProbeSettings(Settings):
    """The `[probes]` table."""

    file: InputPath | tuple[InputPath, ...] = setting(says="Penetrometer log, or a list of them")
    positions: InputPath | None = setting(None, says="Second file with the positions, joined by site")
    positions_layer: str | None = setting(None, says="Layer of that file where it has several, e.g. waypoints")
    names: tuple[str, ...] = setting((), says="Names of the columns, in order, of a table without a header row")
    layout: Literal["auto", "wide", "long", "transposed", "blocks"] = setting("auto", says="Layout of the table")
    sheet: str | None = setting(None, says="Sheet of a workbook, or member of an archive, where there are several")
    resistance_unit: ResistanceUnit | None = setting(None, says="Unit of cone index where the header names none")
    depth_unit: LengthUnit | None = setting(None, says="Unit of depth where the header names none")
    decimal: Literal["auto", ".", ","] = setting("auto", says="Decimal mark")
    crs: str | None = setting(None, says="CRS of the positions, e.g. EPSG:4326")
    from_date: date | None = setting(None, says="First probing date to use, e.g. 2026-05-01", alias="from")
    to_date: date | None = setting(None, says="Last probing date to use", alias="to")
    seasons: Literal["latest", "together"] = setting(
        "latest",
        says="Where readings are of several seasons: the latest alone, or all with a site effect for each date",
    )
    season_gap_days: float = setting(
        120.0, says="Dates further apart than this are of two seasons", unit="day", source="design", gt=0
    )
    columns: ColumnSettings = setting(ColumnSettings(), says="Names of columns that are not recognised")
    layers: tuple[LayerSettings, ...] = setting((), says="Columns that hold layer means instead of point readings")
    zero_tail_is_refusal: bool = setting(True, says="Zeros to the end after hard readings mean refusal")
    depth_limit_mm: float | None = setting(None, says="Depth the survey set out to read", unit="mm", gt=0)
    device_limit_kpa: float | None = setting(None, says="Highest cone index the device can show", unit="kPa", gt=0)
    rods: tuple[RodSettings, ...] = setting((), says="Limits of single files or devices, before those above")
    cone_diameter_mm: float = setting(
        20.27, says="Base diameter of the cone when new", unit="mm", source="usfs0524", gt=0
    )
    worn_diameter_mm: float | None = setting(None, says="Measured diameter of a worn cone", unit="mm", gt=0)
    cone_angle_deg: float = setting(30.0, says="Full angle of the cone", unit="degree", source="usfs0524", gt=0)
    cone_factor: float | None = setting(
        None,
        says="Readings of another cone times this are cone index; 1 where pan.critical_kpa is that of the cone",
        gt=0,
    )
    depth_offset_mm: float = setting(
        0.0, says="Added to every depth, where the device counts from elsewhere", unit="mm"
    )
    moisture_basis: Literal["volumetric", "gravimetric"] = setting(
        "volumetric", says="Water by volume (m3/m3) or by mass of dry soil (kg/kg)"
    )
    bulk_density: float | None = setting(
        None, says="Dry bulk density, which turns water by mass into water by volume", unit="t/m3", gt=0, lt=2.7
    )
    zero_drift_kpa: float = setting(
        100.0, says="Negative readings up to this size are drift, set to zero", unit="kPa", ge=0
    )
    plausible_kpa: float = setting(15000.0, says="Readings above are taken as missing", unit="kPa", gt=0)
    refusal_kpa: float = setting(3000.0, says="An early end below a reading this high is a refusal", unit="kPa", gt=0)
    refusal_window_mm: float = setting(100.0, says="Last part of an insertion looked at for refusal", unit="mm", gt=0)
    spike_ratio: float = setting(2.5, says="A spike exceeds both neighbours by this factor", gt=1)
    spike_kpa: float = setting(2000.0, says="A spike exceeds both neighbours by this much", unit="kPa", gt=0)
    spike_step_mm: float = setting(50.0, says="Spikes are looked for up to this depth step", unit="mm", gt=0)
    stuck_readings: int = setting(5, says="So many equal readings and no other mean a stuck sensor", ge=3)
    held_mm: float = setting(150.0, says="One value over so much depth is reported as held", unit="mm", gt=0)
    site_spread_m: float = setting(20.0, says="One site id further apart counts as several sites", unit="m", gt=0)
    outside_tolerance_m: float = setting(10.0, says="Probes further outside the boundary are dropped", unit="m", ge=0)

    @field_validator("file")
    @classmethod
    def _some_file(cls, file: Path | tuple[Path, ...]) -> Path | tuple[Path, ...]:
        if file == ():
            msg = "at least one file"
            raise ValueError(msg)
        return file

    @property
    def files(self) -> tuple[Path, ...]:
        """Penetrometer logs, one or several."""
        return self.file if isinstance(self.file, tuple) else (self.file,)

    def stated(self, limit: Literal["depth_limit_mm", "device_limit_kpa"], names: tuple[str, ...]) -> float | None:
        """A limit as stated for one of these names, a device or file, the first before the others, else for all."""
        own = {rod.of: value for rod in self.rods if (value := getattr(rod, limit)) is not None}
        common: float | None = getattr(self, limit)
        return next((own[name] for name in names if name in own), common)

    @field_validator("layers")
    @classmethod
    def _apart(cls, layers: tuple[LayerSettings, ...]) -> tuple[LayerSettings, ...]:
        ranked = sorted(layers, key=lambda layer: layer.top)
        if any(layer.bottom <= layer.top for layer in ranked) or any(b.top < a.bottom for a, b in pairwise(ranked)):
            msg = "layers that begin above where they end, none overlapping another"
            raise ValueError(msg)
        return layers


class SoilSettings(Settings):
    """The `[soil]` table."""

    polygons: InputPath | None = setting(None, says="Soil-type polygons, any OGR format")
    layer: str | None = setting(None, says="Layer of the soil file where it has several")
    crs: str | None = setting(None, says="CRS of the soil polygons where their file states none")
    type_field: str = setting("soil_type", says="Attribute with the soil type")
    clay_depth_field: str = setting("clay_depth_mm", says="Attribute with the depth to clay, if present")
    clay_depth_unit: LengthUnit | None = setting(None, says="Unit of that depth where its values name none")
    mapping: Mapping[str, str] = setting({}, says="Label in the file = soil type of the catalog")
    default_type: str | None = setting(None, says="Soil type of ground without a usable label")
    cores: InputPath | None = setting(None, says="Lab cores: pH by layer, repellence, clay depth, ESP, gravel")
    cores_crs: str | None = setting(None, says="CRS of the cores; that of the probes when left out")
    response: InputPath | None = setting(
        None, says="response.toml of `hardpan trial`: gains of soil types; what [soil.types] says goes before it"
    )
    types: Mapping[str, Mapping[str, object]] = Field(
        {}, description="Overrides of configs/soils.toml, value, unit and source each"
    )


class GridSettings(Settings):
    """What the survey needs of the `[surfaces]` table: the working grid and the rasters warped to it."""

    cell_m: float
    covariates: tuple[Path, ...] = ()
    crs: str | None = None
    nodata: float | None = None
