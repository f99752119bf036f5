"""Settings of the decision, which more than one room reads: machine, prescription, season ahead and last ripping."""

from collections.abc import Mapping
from datetime import date
from typing import Literal

from hardpan.core.settings import InputPath, Settings, setting


class MachineSettings(Settings):
    """The `[machine]` table: entries of the shipped tables or inline tables."""

    tractor: str | Mapping[str, object] = setting("tracked-370kw", says="Entry of configs/tractors.toml or a table")
    ripper: str | Mapping[str, object] = setting("seven-tine-600", says="Entry of configs/rippers.toml or a table")
    setups: Mapping[str, Mapping[str, object]] = setting(
        {}, says="Set-ups of your own that the ripper can be fitted with, by name"
    )
    setup: str | None = setting(None, says="Consider this set-up only")
    tines: int | None = setting(
        None, says="Work the paddock with this many tines; left out, with the number that returns most", ge=1
    )
    observed_fuel_l_per_ha: float | None = setting(None, says="Measured fuel of a ripping pass", unit="L/ha", gt=0)
    observed_slip: float | None = setting(None, says="Measured slip of a ripping pass", unit="share", gt=0, lt=0.5)
    observed_depth_mm: float | None = setting(None, says="Depth of the measured pass", unit="mm", gt=0)
    observed_strength_kpa: float | None = setting(
        None, says="Mean peak cone index of the pan of the measured pass", unit="kPa", gt=0
    )
    observed_speed_kmh: float | None = setting(None, says="Speed of the measured pass", unit="km/h", gt=0)


class PrescriptionSettings(Settings):
    """The `[prescription]` table."""

    rule: Literal["return", "cover"] = setting("return", says="return = most money; cover = break the pan on a share")
    step_mm: float = setting(25.0, says="Depth step the implement holds", unit="mm", ge=5, le=200)
    cover_share: float = setting(0.9, says="Share of the zone to cover (rule cover)", gt=0, lt=1)
    least_cover_share: float = setting(
        0.5, says="Ground that no allowed depth covers to this share is left (rule cover)", ge=0, lt=1
    )
    cover_below_pan_mm: float = setting(
        25.0,
        says="Depth below the pan's bottom from which a tine counts as covering it (rule cover)",
        unit="mm",
        source="usfs0834",
        ge=0,
    )
    clay_margin_mm: float = setting(50.0, says="Stay this far above hostile clay", unit="mm", ge=0)
    clay_risk: float = setting(
        0.05,
        says="Share of a zone where, as far as the map knows, hostile clay may lie within the margin; a choice",
        unit="share",
        ge=0,
        lt=0.5,
    )
    user_uniform_depth_mm: float | None = setting(
        None, says="Uniform depth to compare with", unit="mm", told_only=True, gt=0
    )
    limit_slack: float = setting(
        0.0, says="Share of a zone that may pass a limit; 0 = every node keeps every limit", ge=0, lt=0.5
    )
    out_of_reach_share: float = setting(
        0.2,
        says="Share of a zone where the clay may lie out of reach of a set-up that lifts it; it gains nothing there",
        unit="share",
        ge=0,
        lt=1,
    )
    only_moist: bool = setting(
        True,
        says="Go no deeper than the soil is moist, where that is known; false: deeper, with dry soil's draft and clods",
    )
    setups_per_paddock: int = setting(1, says="Set-ups the operator is ready to fit in one paddock", ge=1, le=4)
    soft_clay_margin_mm: float = setting(
        0.0,
        says="Stay this far above clay that is not hostile (no gain from ripping into it)",
        unit="mm",
        ge=0,
        source="crabtree1989",
    )

    @property
    def share_to_cover(self) -> float | None:
        """Share of a zone whose pan must be passed below under the rule `cover`; None under `return`."""
        return self.cover_share if self.rule == "cover" else None


class SeasonSettings(Settings):
    """The `[season]` table: next crop, moisture, cover."""

    crop: str | Mapping[str, object] = setting("wheat", says="Next crop: entry of configs/crops.toml or a table")
    rotation: tuple[str | Mapping[str, object], ...] = setting(
        (), says="Crops of the seasons after ripping in turn, the next one first, instead of `crop`: entries or tables"
    )
    moist_depth_mm: float | None = setting(None, says="Depth the soil is moist to, dug or probed", unit="mm", ge=0)
    rain_since_dry_mm: float | None = setting(None, says="Rain since the profile was dry", unit="mm", ge=0)
    too_wet: bool | None = setting(
        None, says="Hand test at working depth says too wet: told, and no file for the display is written"
    )
    weather: InputPath | None = setting(
        None, says="Table of daily weather (date, rain_mm, et0_mm), for how deep the soil is moist where nobody dug"
    )
    day: date | None = setting(None, says="Day of the plan; the last day of the weather when left out")
    dry_on: date | None = setting(
        None, says="Last day on which the soil was dry throughout (harvest of a crop that emptied it)"
    )
    finish_by: date | None = setting(
        None,
        says="Last day it may be ripped, for the chance of finishing; the end of the year from dry_on when left out",
        told_only=True,
    )
    elevation_m: float = setting(
        0.0, says="Height above the sea, for evaporation from temperature and wind", unit="m", ge=-500, le=6000
    )
    cover_pct: float | None = setting(
        None, says="Ground cover left after the pass", unit="%", told_only=True, ge=0, le=100
    )
    controlled_traffic: bool = setting(False, says="Wheels keep to tramlines")
    hours_per_day: float = setting(10.0, says="Ripping hours in a day", unit="h", told_only=True, gt=0, le=24)
    fit_days: float | None = setting(
        None,
        says="Days fit to rip, where machines are compared; left out, those of the years of season.weather",
        unit="day",
        told_only=True,
        gt=0,
    )


class HistorySettings(Settings):
    """The `[history]` table: the last ripping."""

    last_ripped: int | None = setting(None, says="Year of the last ripping", told_only=True, ge=1950, le=2200)
    last_depth_mm: float | None = setting(None, says="Depth of the last ripping", unit="mm", told_only=True, gt=0)
    season: int | None = setting(None, says="Season this plan is for (year)", told_only=True, ge=1950, le=2200)


class DecisionSettings(Settings):
    """All that is asked of the decision: four tables of the configuration."""

    prescription: PrescriptionSettings = PrescriptionSettings()
    season: SeasonSettings = SeasonSettings()
    history: HistorySettings = HistorySettings()
    machine: MachineSettings = MachineSettings()
