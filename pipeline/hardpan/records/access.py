"""Ways into a paddock and over it, as whoever walks it with a probe needs them."""

from dataclasses import dataclass

import geopandas as gpd
import shapely

from hardpan.core.settings import InputPath, Settings, setting


class AccessSettings(Settings):
    """The part of the `[sites]` table that is read with the ground: gate and wheel tracks."""

    gate: tuple[float, float] | None = setting(
        None, says="Where the walk begins and ends, x and y (longitude, latitude); left out: at whichever site is best"
    )
    gate_crs: str = setting("EPSG:4326", says="CRS of the gate")
    tramlines: InputPath | None = setting(
        None, says="Lines of wheel tracks, any OGR format: kept clear of when probing, driven along when ripping"
    )
    tramlines_layer: str | None = setting(None, says="Layer of the tramline file where it has several")
    tramlines_crs: str | None = setting(None, says="CRS of the tramlines where their file states none")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Access:
    """Gate and wheel tracks in the working CRS."""

    gate: shapely.Point | None
    tramlines: gpd.GeoSeries
    """Lines; may be empty."""
