"""Settings that more than one room reads: the season ahead and the last ripping."""

from hardpan.core.settings import Settings, setting


class SeasonSettings(Settings):
    """The `[season]` table: next crop, moisture, cover."""

    crop: str = setting("wheat", says="Next crop, an entry of configs/crops.toml")
    moist_depth_mm: float | None = setting(None, says="Depth the soil is moist to, dug or probed", unit="mm", ge=0)
    rain_since_dry_mm: float | None = setting(None, says="Rain since the profile was dry", unit="mm", ge=0)
    too_wet: bool | None = setting(None, says="Hand test at working depth says too wet")
    cover_pct: float | None = setting(None, says="Ground cover left after the pass", unit="%", ge=0, le=100)
    controlled_traffic: bool = setting(False, says="Wheels keep to tramlines")
    hours_per_day: float = setting(10.0, says="Ripping hours in a day", unit="h", gt=0, le=24)


class HistorySettings(Settings):
    """The `[history]` table: the last ripping."""

    last_ripped: int | None = setting(None, says="Year of the last ripping", ge=1950, le=2200)
    last_depth_mm: float | None = setting(None, says="Depth of the last ripping", unit="mm", gt=0)
    season: int | None = setting(None, says="Season this plan is for (year)", ge=1950, le=2200)
