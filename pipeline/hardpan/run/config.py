"""The whole configuration, read from TOML."""

import tomllib
from collections.abc import Iterator, Mapping
from math import isfinite
from pathlib import Path
from typing import Any, Self, TypeVar

from hardpan.core.errors import Faults, InputError, SettingsError
from hardpan.core.memory import MemorySettings
from hardpan.core.settings import Settings, parse, setting
from hardpan.core.units import INCH_MM
from hardpan.outputs.settings import OutputSettings
from hardpan.pan.settings import PanSettings
from hardpan.records.alternatives import AlternativeSettings
from hardpan.records.decision import (
    DecisionSettings,
    HistorySettings,
    MachineSettings,
    PrescriptionSettings,
    SeasonSettings,
)
from hardpan.records.prices import PriceSettings
from hardpan.sites.settings import SiteSettings
from hardpan.strips.settings import StripSettings
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.zones.settings import ZoneSettings


class NumberSettings(Settings):
    """The `[numbers]` table: a user's own numbers in place of shipped ones, by the names of file, entry and key."""

    balance: Mapping[str, Any] = setting({}, says="Daily water balance, e.g. bare.weeds = 0.1")
    crops: Mapping[str, Any] = setting({}, says="Crops, e.g. canola.gain_factor = 0.4")
    effort: Mapping[str, Any] = setting({}, says="Draft, power, fuel and time, e.g. slip.track = 0.06")
    lab: Mapping[str, Any] = setting({}, says="How sure the measurements of cores are, e.g. error.esp_pct = 2")
    moisture: Mapping[str, Any] = setting({}, says="Models of cone index against water content")
    prices: Mapping[str, Any] = setting({}, says="Money that [prices] has no key for, e.g. common_gain = 0.4")
    response: Mapping[str, Any] = setting(
        {}, says='What a crop makes of loosened ground, e.g. reference.depth = "22 in"'
    )
    rippers: Mapping[str, Any] = setting({}, says="Rippers, e.g. seven-tine-600.max_depth = 600")
    rules: Mapping[str, Any] = setting({}, says='Set-up decision table, e.g. "stranded lime".gain.inclusion = 1.1')
    setups: Mapping[str, Any] = setting({}, says='Set-ups, e.g. winged.foot_width = "14 in"')
    soils: Mapping[str, Any] = setting({}, says='Soil types, e.g. "deep sand".seasons = 4')
    tractors: Mapping[str, Any] = setting({}, says='Tractors, e.g. tracked-370kw.mass = "24 t"')
    usual: Mapping[str, Any] = setting({}, says="What is questioned outside of it, e.g. deepest_probe = 1500")
    water: Mapping[str, Any] = setting({}, says="Plant-available water by texture, e.g. sand = 0.7")

    @property
    def given(self) -> dict[str, Mapping[str, Any]]:
        """Numbers by table; empty where none of a table is given."""
        return dict(self)


class PaddockConfig(Settings):
    """One paddock's configuration, probed or not; each table is a settings class of the room that reads it."""

    paddock: PaddockSettings = setting(says="The ground")
    probes: ProbeSettings | None = setting(None, says="The penetrometer log")
    pan: PanSettings = setting(PanSettings(), says="What counts as a pan")
    soil: SoilSettings = setting(SoilSettings(), says="Soil types and lab cores")
    surfaces: SurfaceSettings = setting(SurfaceSettings(), says="Maps with uncertainty")
    zones: ZoneSettings = setting(ZoneSettings(), says="Zones that a machine can follow")
    machine: MachineSettings = setting(MachineSettings(), says="Tractor and ripper")
    prescription: PrescriptionSettings = setting(PrescriptionSettings(), says="How depth is chosen")
    strips: StripSettings = setting(StripSettings(), says="Check strips: left unripped to compare the harvest with")
    season: SeasonSettings = setting(SeasonSettings(), says="Next crop, moisture, traffic")
    history: HistorySettings = setting(HistorySettings(), says="The last ripping")
    prices: PriceSettings = setting(PriceSettings(), says="Money; what is left out comes from configs/prices.toml")
    numbers: NumberSettings = setting(NumberSettings(), says="Any shipped number (configs/) replaced by your own")
    alternatives: tuple[AlternativeSettings, ...] = setting(
        (), says="Other machines and contractors' offers to compare with your own; one table each"
    )
    outputs: OutputSettings = setting(OutputSettings(), says="What to write")
    sites: SiteSettings = setting(SiteSettings(), says="Where to probe: read by `hardpan sites`")
    memory: MemorySettings = setting(MemorySettings(), says="Memory a run may take; it is projected before it is taken")

    @property
    def decision(self) -> DecisionSettings:
        """All that is asked of the decision; the depth step of US units is an inch unless another is asked for."""
        prescription = self.prescription
        if self.outputs.units == "us" and "step_mm" not in prescription.model_fields_set:
            prescription = prescription.model_copy(update={"step_mm": INCH_MM})
        return DecisionSettings(
            prescription=prescription, season=self.season, history=self.history, machine=self.machine
        )

    def forced(self) -> Self:
        """The same, with the files for the display written whatever the state of the soil."""
        return self.model_copy(update={"outputs": self.outputs.model_copy(update={"force": True})})

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Every input file that is named."""
        values = [
            value for table in dict(self).values() if isinstance(table, Settings) for value in dict(table).values()
        ]
        return tuple(
            path for value in values for path in (value if isinstance(value, tuple) else (value,))
            if isinstance(path, Path)
        )  # fmt: skip

    @property
    def grid(self) -> GridSettings:
        """What the survey needs of `[surfaces]`."""
        surfaces = self.surfaces
        return GridSettings(
            cell_m=surfaces.cell_m,
            covariates=surfaces.covariates,
            crs=surfaces.covariates_crs,
            nodata=surfaces.covariates_nodata,
        )


class Config(PaddockConfig):
    """Configuration of a paddock that was probed."""

    probes: ProbeSettings = setting(says="The penetrometer log")


def read_config(path: Path, defaults: Mapping[str, object] | None = None) -> Config:
    """Configuration of a probed paddock in the TOML file `path`; what it leaves out comes from `defaults`.

    Raises
    ------
    InputError
        The file is missing or is not TOML.
    SettingsError
        A key is unknown, missing, or has a value that cannot be used.
    """
    return read_settings(path, Config, defaults=defaults)


def read_paddock_config(path: Path) -> PaddockConfig:
    """Configuration in the TOML file `path`, a `Config` where it has a table `[probes]`.

    Raises
    ------
    InputError
        The file is missing or is not TOML.
    SettingsError
        A key is unknown, missing, or has a value that cannot be used.
    """
    return read_settings(path, Config if "probes" in read_toml(path) else PaddockConfig)


S = TypeVar("S", bound=Settings)


def read_settings(
    path: Path,
    kind: type[S],
    given: Mapping[str, object] | None = None,
    *,
    defaults: Mapping[str, object] | None = None,
) -> S:
    """Settings of class `kind` in the TOML file `path`, as `read_config` reads them.

    Keys that are `given` go before those of the file, and `defaults` stand where it leaves them out.
    """
    faults = Faults()
    values = _merged(_merged(defaults or {}, read_toml(path)), given or {})
    faults.errors.extend(no_finite_number(key, path.name) for key in endless(values))
    folder = path.resolve().parent
    with faults.gathered():
        values = with_response(values, folder)
    with faults.gathered():
        found = parse(kind, values, file=path.name, folder=folder)
    faults.refuse()
    return found


def with_response(values: dict[str, object], folder: Path) -> dict[str, object]:
    """Values of a configuration with the soil types of the response file it names, before its own.

    Raises
    ------
    SettingsError
        That file holds anything but gains of soil types.
    """
    soil = values.get("soil")
    named = soil.get("response") if isinstance(soil, Mapping) else None
    if not isinstance(named, str):
        return values
    return _merged({"soil": {"types": learned_types(folder / named, named)}}, values)


def learned_types(file: Path, named: str) -> Mapping[str, Any]:
    """Numbers of soil types in a response file, named so in the configuration.

    Raises
    ------
    SettingsError
        That file holds anything but gains of soil types.
    """
    learned = read_toml(file)
    soil = learned.get("soil", {})
    types = soil.get("types", {}) if isinstance(soil, Mapping) else None
    if set(learned) - {"soil"} or not isinstance(types, Mapping):
        raise SettingsError(
            what="holds more than soil types", where=f"soil.response = {named}",
            right="the response.toml that hardpan trial writes",
        )  # fmt: skip
    return types


def change(config: Config, **tables: Mapping[str, object]) -> Config:
    """Configuration with some keys of its tables changed, checked as if a file had given them.

    Parameters
    ----------
    config : Config
        What to begin from; it stays as it is.
    **tables : Mapping[str, object]
        Keys and values by table, `pan={"critical_kpa": 2000}`; a mapping changes single keys of an inner table. Paths
        that are not absolute are taken from the working directory.

    Raises
    ------
    SettingsError
        A key is unknown or has a value that cannot be used.

    Examples
    --------
    >>> least = {"paddock": {"name": "Example", "boundary": "b.geojson"}, "probes": {"file": "probes.csv"}}
    >>> config = parse(Config, least, file="example")
    >>> change(config, pan={"critical_kpa": 2000}).pan.critical_kpa
    2000.0
    """
    values = _merged(config.model_dump(by_alias=True, exclude_unset=True), tables)
    for key in endless(values):
        raise no_finite_number(key, "change")
    return parse(Config, values, file="change", folder=Path.cwd())


def _merged(given: Mapping[str, object], changes: Mapping[str, object]) -> dict[str, object]:
    """The mapping with the values of another in place of its own, inner mappings key by key."""
    out = dict(given)
    for key, value in changes.items():
        old = out.get(key)
        out[key] = _merged(old, value) if isinstance(old, Mapping) and isinstance(value, Mapping) else value
    return out


def endless(value: object, key: str = "") -> Iterator[str]:
    """Keys of numbers that are infinite or none; the mark of missing raster cells may be one."""
    if isinstance(value, float) and not isfinite(value) and key != "surfaces.covariates_nodata":
        yield key
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from endless(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for inner in value:
            yield from endless(inner, key)


def no_finite_number(key: str, file: str) -> SettingsError:
    """What is said of a key that `endless` finds."""
    return SettingsError(what=f"{key} is infinite or no number", where=file, right="a finite number")


def read_toml(path: Path) -> dict[str, object]:
    """Content of a TOML file.

    Raises
    ------
    InputError
        The file is missing, unreadable, or not TOML.
    """
    if not path.is_file():
        raise InputError(what="no such file", where=str(path), do="give the path of a TOML configuration")
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError as err:
        row = path.read_bytes()[: err.start].count(b"\n") + 1
        raise SettingsError(
            what="not valid TOML: not UTF-8 text", where=f"{path.name} row {row}", do="save it with the encoding UTF-8"
        ) from err
    except tomllib.TOMLDecodeError as err:
        raise SettingsError(what=f"not valid TOML: {err}", where=path.name) from err
