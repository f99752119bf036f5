"""As-applied log: what the machine recorded while it ripped, and that beside the plan."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import geopandas as gpd
import pandas as pd

from hardpan.core.settings import InputPath, Settings, setting
from hardpan.records.issues import Issues

LOG = ("stretch", "time_s", "x_m", "y_m", "fix", "depth_mm", "working", "speed_kmh", "width_m", "fuel_l")
"""Columns of a log. `stretch` numbers what was recorded without a gap, `time_s` counts from the first record, `fix` is
False where the receiver had no place of its own, `working` is 1 in work and 0 lifted, `fuel_l` is a counter. Values are
carried forward; NaN where nothing is known."""

APPLIED = (
    "zone", "kind", "planned_mm", "area_ha", "within_ha", "shallow_ha", "deep_ha", "not_measured_ha", "not_worked_ha",
    "applied_mm", "applied_low_mm", "applied_high_mm", "speed_kmh", "planned_speed_kmh", "hours", "planned_hours",
    "fuel_l", "planned_fuel_l",
)  # fmt: skip
"""Columns of applied.csv."""

ALL = "all"
"""Row of the ripped zones together; hours and fuel are those of the whole log."""


class LogColumns(Settings):
    """The `[applied.columns]` table: only where the names are not recognised."""

    x: str | None = setting(None, says="Column of easting or longitude")
    y: str | None = setting(None, says="Column of northing or latitude")
    time: str | None = setting(None, says="Column of the time: seconds, or date and time")
    working: str | None = setting(None, says="Column that is 1 in work and 0 lifted")
    speed: str | None = setting(None, says="Column of the speed")
    width: str | None = setting(None, says="Column of the working width")
    fuel: str | None = setting(None, says="Column of the fuel burnt since the start")


class AppliedSettings(Settings):
    """The `[applied]` table."""

    file: InputPath = setting(
        says="What the machine logged: a point table, or a folder or zip of ISO 11783-10 task data"
    )
    depth_column: str | None = setting(None, says="Column of the depth in a point table, where it is not recognised")
    columns: LogColumns = setting(LogColumns(), says="Names of other columns that are not recognised")
    depth_unit: Literal["mm", "cm", "m", "in"] | None = setting(
        None, says="Unit of depth where the header of a point table names none"
    )
    crs: str | None = setting(None, says="CRS of x and y where their file states none; EPSG:4326 when left out too")
    decimal: Literal["auto", ".", ","] = setting("auto", says="Decimal mark of a point table")
    interval_s: float | None = setting(
        None, says="Time between rows of a point table that tells no time", unit="s", gt=0
    )
    step_mm: float | None = setting(
        None, says="Depths within this of the plan are as planned; the run's depth step where left out", unit="mm", gt=0
    )
    width_m: float | None = setting(
        None, says="Working width; that of the log, else of the plan where left out", unit="m", gt=0
    )
    gap_s: float = setting(
        10.0, says="After a longer pause, and three usual intervals, nothing is carried forward", unit="s", gt=0
    )
    lifted_mm: float = setting(50.0, says="Tines at this depth or above are lifted", unit="mm", ge=0)
    turn_deg: float = setting(45.0, says="A larger change of heading is a turn", unit="degree", gt=0, lt=180)
    turn_m: float = setting(20.0, says="Way over which that change is looked at", unit="m", gt=0)
    least_speed_kmh: float = setting(0.5, says="Slower than this the machine stands", unit="km/h", ge=0)
    most_speed_kmh: float = setting(50.0, says="A position reached faster than this is a slip", unit="km/h", gt=0)


class LogRule(StrEnum):
    """What takes records out of a log, in the order in which the rules are applied."""

    NO_FIX = "no fix"
    JUMP = "position jumps"
    LIFTED = "lifted"
    TURNING = "turning"
    STANDING = "standing"
    OUTSIDE = "outside the paddock"
    NOT_MEASURED = "depth not measured"
    """These count as worked ground of which nobody knows the depth."""


class AppliedAs(StrEnum):
    """What became of a piece of the ground that was to be ripped, or left."""

    WITHIN = "within"
    SHALLOW = "shallow"
    DEEP = "deep"
    NOT_MEASURED = "not measured"
    NOT_WORKED = "not worked"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MachineLog:
    """A log as read, in the working CRS."""

    name: str
    records: pd.DataFrame
    """Columns `LOG`, in the order of driving."""
    settings: AppliedSettings
    digests: pd.Series
    """File name to SHA-256."""
    issues: Issues


@dataclass(frozen=True, slots=True, kw_only=True)
class Lag:
    """Time from the border of a zone to the middle of the change of depth."""

    seconds: float
    """Median over borders crossed."""
    low: float
    high: float
    """Ends of its interval; NaN where too few borders were crossed."""
    level: float
    metres: float
    """Way driven in it."""
    borders: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """One measured pass as `[machine]` of the next configuration takes it; NaN where nothing was logged."""

    setup: str
    zones: tuple[int, ...]
    worked_ha: float
    depth_mm: float
    speed_kmh: float
    fuel_l_per_ha: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Applied:
    """A log beside the plan."""

    zones: pd.DataFrame
    """Columns `APPLIED`: the row `ALL`, then one a zone. Of ground to be left, `within_ha` was left and `deep_ha` was
    ripped."""
    rules: pd.DataFrame
    """`rule`, `records` that it took; the last row, rule "", what is left."""
    lag: Lag | None
    observed: Observed | None
    pieces: gpd.GeoDataFrame
    """`outcome` (`AppliedAs`) and `geometry` of the ground to be ripped, and of ground to be left where it was not."""
    step_mm: float
    issues: Issues
