"""After the rip: what insertions beside and between the tines say of the pass."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import geopandas as gpd
import pandas as pd
import pyproj
import shapely

from hardpan.core.settings import Settings, setting
from hardpan.records.applied import Applied
from hardpan.records.catalog import Catalog
from hardpan.records.issues import Issues
from hardpan.records.survey import Profiles
from hardpan.records.trail import Trail

RECORD, READINGS = "record.json", "readings.csv"
"""Files of a run that the commands after the rip read."""


class Position(StrEnum):
    """Where an insertion stands beside the lines of the tines."""

    LINE = "line"
    QUARTER = "quarter"
    """A quarter of the spacing beside a line."""
    MIDWAY = "midway"
    CONTROL = "control"
    """On ground that was not ripped."""


class Opened(StrEnum):
    """What became of the pan at one position, as far as the insertions can tell."""

    OPEN = "open"
    HALF = "half"
    CLOSED = "closed"
    UNKNOWN = "not known"
    MISSING = "not probed"


class Judged(StrEnum):
    """Whether the pan of a zone was broken."""

    BROKEN = "broken"
    PARTLY = "partly"
    NOT_REACHED = "not reached"
    CANNOT_TELL = "cannot tell"


class Change(StrEnum):
    """What follows for the next pass or the next probing."""

    KEEP = "keep"
    RIDGE = "ridge"
    """Ridges stay between tines: one of the remedies, or deeper."""
    PLANNED_RIDGE = "planned ridge"
    """Ridges stay where the plan leaves them: they reach above the pan."""
    DEEPER = "deeper"
    """The tines did not reach where the plan has them."""
    AGAIN = "again"
    """Hardly anything was loosened."""
    MIDWAY = "probe midway"
    LINE = "probe the line"
    CONTROLS = "probe controls"
    MOISTURE = "wait for like moisture"
    MORE = "probe more"
    NO_PAN = "no pan"
    """Nothing there had to be broken."""


class Remedy(StrEnum):
    """What opens ridges between the tines and is not fitted yet."""

    CLOSER = "closer tines"
    WINGS = "wings"
    LEADING = "shallow leading tines"


class VerdictSettings(Settings):
    """The `[verdict]` table."""

    level: float = setting(0.9, says="Level of the intervals", unit="share", gt=0.5, lt=1)
    open_share: float = setting(
        0.6, says="A position is open where the interval of the share opened lies above this", unit="share", gt=0, lt=1
    )
    closed_share: float = setting(
        0.4, says="A position is closed where that interval lies below this", unit="share", gt=0, lt=1
    )
    least_pan_mm: float = setting(
        50.0, says="Less pan within what the tines should loosen shows nothing", unit="mm", gt=0
    )
    theta_apart: float = setting(
        0.03,
        says="Without controls, water contents of the two dates may differ by this",
        unit="m3/m3",
        source="unverified",
        gt=0,
        lt=0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Earlier:
    """What a run left behind for the commands after the rip."""

    name: str
    crs: pyproj.CRS
    boundary: shapely.Geometry
    threshold_kpa: float
    zones: gpd.GeoDataFrame
    """Rows of record.json: `zone`, `kind`, `soil_type`, `area_ha`, `depth_mm`, `setup`, `spacing_mm`, `speed_kmh`,
    `loosened_share`, `foot_mm`, `side_deg`, `critical_mm`, `width_m`, `hours`, `fuel_l`, `beside`, `geometry`."""
    readings: pd.DataFrame
    """Rows of readings.csv."""
    settings: Mapping[str, object]
    """The run's configuration."""
    models: pd.DataFrame
    """`variable`, `range_m`, `sill`, `micro`, `noise` of the run's fitted models."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reprobed:
    """Insertions after the pass, as read."""

    profiles: Profiles
    marks: tuple[str, ...]
    """Text of the column `position` of each insertion, "" where there is none."""
    digests: pd.Series
    issues: Issues


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A mean over sites with its interval."""

    value: float
    low: float
    high: float
    sites: int
    sd: float
    """Standard deviation between sites."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneFound:
    """What was found in one ripped zone."""

    zone: int
    verdict: Judged
    change: Change
    expected_mm: Mapping[Position, float]
    """Depth the tines should have loosened to."""
    opened: Mapping[Position, Mean]
    """Share of the pan within that depth that is open."""
    reached: Mapping[Position, Mean]
    """Depth down to which the ground now reads below the threshold, mm, at most the working depth."""
    across: Mean | None
    """Share opened over the width between tines, of what the plan expected to open."""
    broken: Mean | None
    """Share of the whole pan's excess resistance that is broken over that width."""
    planned_share: float
    """The same as the plan expected it."""
    remedies: tuple[Remedy, ...]
    """What the zone's own set-up lacks against ridges and the ripper can be fitted with."""
    insertions: int
    more: int
    """Insertions at each open position that would probably settle it; 0 where it is settled or more do not help."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What the insertions say."""

    zones: tuple[ZoneFound, ...]
    insertions: gpd.GeoDataFrame
    """`insertion`, `site`, `zone`, `position`, `reached_mm`, `opened_share`, `geometry`."""
    moisture: pd.DataFrame
    """`zone`, `factor` by which unripped ground reads otherwise than in the survey, `low`, `high`, `controls` (sites);
    NaN where that is not known."""
    issues: Issues = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VerifyRun:
    """A check of a pass, as the outputs receive it."""

    earlier: Earlier
    found: Found
    applied: Applied | None
    """The machine's log beside the plan; None where none was given."""
    catalog: Catalog
    """What the run was made with."""
    trail: Trail
    issues: Issues
