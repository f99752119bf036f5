"""Settings of zoning."""

from typing import Annotated, Literal

from pydantic import Field

from hardpan.core.settings import Settings, setting


class ZoneSettings(Settings):
    """The `[zones]` table."""

    count: Annotated[int, Field(ge=1)] | Literal["auto"] = setting(
        "auto", says="Number of classes; auto = by the money a further one saves"
    )
    method: Literal["kmeans", "mixture", "ward"] = setting("kmeans", says="How cells are grouped")
    fine_count: int = setting(
        12, says="Classes of like cells drawn in each soil type before those are joined that lose least", ge=1, le=50
    )
    max_count: int = setting(8, says="Most classes tried by auto", ge=1, le=30)
    min_area_ha: float = setting(0.5, says="Smaller pieces join a neighbour", unit="ha", ge=0)
    min_width_m: Annotated[float, Field(ge=0)] | Literal["implement"] = setting(
        "implement",
        says="Narrowest piece; implement = two widths, or two changes of depth at speed if longer",
        unit="m",
    )
    simplify_m: float | None = setting(
        None,
        says="How far borders between zones may move when they are straightened, and half as far again when they are "
        "turned along or across the way of travel; one cell and gps_error_m when left out; 0 = they follow the cells",
        unit="m",
        ge=0,
    )
    heading_deg: float | None = setting(
        None,
        says="Direction of travel, clockwise from grid north; when left out that of sites.tramlines, and without them "
        "each zone's own best one, and ground that is kept for tines to rise beside what is buried lies on all sides",
        unit="degree",
        ge=0,
        lt=360,
    )
    headland_m: float | None = setting(
        None,
        says="Width along the paddock's boundary that is worked in laps, as the machine turns there at the end of a "
        "run; two widths of the ripper when left out; it counts in hours and makes no zone of its own. How far check "
        "strips keep off the edge is strips.headland_m",
        unit="m",
        source="common practice",
        ge=0,
    )
    gps_error_m: float = setting(0.5, says="Positioning error added around exclusions", unit="m", ge=0)
