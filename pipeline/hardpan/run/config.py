"""The whole configuration, read from TOML."""

import tomllib
from collections.abc import Iterator, Mapping
from math import isfinite
from pathlib import Path

from pydantic import Field

from hardpan.core.errors import InputError, SettingsError
from hardpan.core.memory import MemorySettings
from hardpan.core.settings import Settings, parse, setting
from hardpan.outputs.settings import OutputSettings
from hardpan.pan.settings import PanSettings
from hardpan.records.decision import (
    DecisionSettings,
    HistorySettings,
    MachineSettings,
    PrescriptionSettings,
    SeasonSettings,
)
from hardpan.surfaces.settings import SurfaceSettings
from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
from hardpan.zones.settings import ZoneSettings


class PriceSettings(Settings):
    """The `[prices]` table; anything left out comes from configs/prices.toml."""

    currency: str | None = setting(None, says="Currency code", min_length=1, max_length=5)
    exchange_rate: float | None = setting(
        None, says="Paid in `currency` for one unit of the shipped prices' currency", unit="ratio", gt=0
    )
    fuel_per_l: float | None = setting(None, says="Fuel", unit="money/L", ge=0)
    labour_per_h: float | None = setting(None, says="Labour", unit="money/h", ge=0)
    grain_per_t: float | None = setting(None, says="Grain on farm", unit="money/t", ge=0)
    wear_per_ha: float | None = setting(None, says="Points and wear", unit="money/ha", ge=0)
    contractor_per_ha: float | None = setting(
        None, says="Contractor's rate, with tractor, ripper, driver and points", unit="money/ha", ge=0
    )
    contractor_fuel: float | None = setting(
        None, says="Share of the fuel the contractor's rate leaves to you", unit="share", ge=0, le=1
    )
    lime_per_t: float | None = setting(None, says="Lime delivered", unit="money/t", ge=0)
    gypsum_per_t: float | None = setting(None, says="Gypsum delivered", unit="money/t", ge=0)
    discount_rate: float | None = setting(None, says="Discount rate", unit="share/year", ge=0, lt=1)
    overrides: Mapping[str, Mapping[str, object]] = Field(
        {}, description="Whole entries of configs/prices.toml: value, low, high, unit and source"
    )


class Config(Settings):
    """One paddock's configuration; each table is a settings class of the room that reads it."""

    paddock: PaddockSettings = setting(says="The ground")
    probes: ProbeSettings = setting(says="The penetrometer log")
    pan: PanSettings = setting(PanSettings(), says="What counts as a pan")
    soil: SoilSettings = setting(SoilSettings(), says="Soil types and lab cores")
    surfaces: SurfaceSettings = setting(SurfaceSettings(), says="Maps with uncertainty")
    zones: ZoneSettings = setting(ZoneSettings(), says="Zones that a machine can follow")
    machine: MachineSettings = setting(MachineSettings(), says="Tractor and ripper")
    prescription: PrescriptionSettings = setting(PrescriptionSettings(), says="How depth is chosen")
    season: SeasonSettings = setting(SeasonSettings(), says="Next crop, moisture, traffic")
    history: HistorySettings = setting(HistorySettings(), says="The last ripping")
    prices: PriceSettings = setting(PriceSettings(), says="Money; what is left out comes from configs/prices.toml")
    outputs: OutputSettings = setting(OutputSettings(), says="What to write")
    memory: MemorySettings = setting(MemorySettings(), says="Memory a run may take; it is projected before it is taken")

    @property
    def decision(self) -> DecisionSettings:
        """All that is asked of the decision."""
        return DecisionSettings(
            prescription=self.prescription, season=self.season, history=self.history, machine=self.machine
        )

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Every input file that is named."""
        values = [value for table in dict(self).values() for value in dict(table).values()]
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


def read_config(path: Path) -> Config:
    """Configuration in the TOML file `path`.

    Raises
    ------
    InputError
        The file is missing or is not TOML.
    SettingsError
        A key is unknown, missing, or has a value that cannot be used.
    """
    values = read_toml(path)
    for key in _endless(values, ""):
        raise SettingsError(what=f"{key} is infinite or no number", where=path.name, right="a finite number")
    return parse(Config, values, file=path.name, folder=path.resolve().parent)


def _endless(value: object, key: str) -> Iterator[str]:
    """Keys of numbers that are infinite or none; the mark of missing raster cells may be one."""
    if isinstance(value, float) and not isfinite(value) and key != "surfaces.covariates_nodata":
        yield key
    elif isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _endless(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for inner in value:
            yield from _endless(inner, key)


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
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as err:
        raise SettingsError(what=f"not valid TOML: {err}", where=path.name) from err
