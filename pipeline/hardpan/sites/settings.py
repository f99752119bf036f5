"""Settings of the sites."""

from typing import Literal

from pydantic import model_validator

from hardpan.core.settings import setting
from hardpan.records.probing import AccessSettings


class SiteSettings(AccessSettings):
    """The `[sites]` table: how many sites, how they are probed, and where they may not stand."""

    by: Literal["worth", "coverage"] = setting(
        "worth", says="Beside readings: where an answer is worth most to the decision, or where the sites leave gaps"
    )
    count: int | None = setting(None, says="Number of sites", ge=1, le=1000)
    day_h: float = setting(
        8.0, says="Where nothing is asked for, sites are no more than so many hours allow", unit="h", gt=0
    )
    hours: float | None = setting(None, says="Hours there are to walk and probe", unit="h", gt=0)
    precision_mm: float | None = setting(
        None,
        says="Standard deviation of the mapped bottom to aim at; as surfaces.precision_mm where nothing is asked for",
        unit="mm",
        gt=0,
    )
    insertions: int | None = setting(
        None,
        says="Insertions a site; left out: from scatter within and between sites, and the time of each",
        ge=1,
        le=30,
    )
    least_insertions: int = setting(
        3, says="Insertions a site at least: one alone may meet a stone", source="common practice", ge=1, le=30
    )
    most_insertions: int = setting(10, says="Insertions a site at most", source="common practice", ge=1, le=30)
    walk_kmh: float = setting(4.0, says="Walking speed with the probe", unit="km/h", source="common practice", gt=0)
    minutes_per_site: float = setting(
        2.0, says="Finding a site and setting up there", unit="min", source="unverified", ge=0
    )
    minutes_per_insertion: float = setting(1.0, says="One insertion", unit="min", source="unverified", gt=0)
    edge_m: float = setting(
        15.0, says="Keep this far inside the boundary; half the way in where the ground is narrower", unit="m", ge=0
    )
    exclusion_m: float = setting(5.0, says="Keep this far from exclusions", unit="m", ge=0)
    tramline_m: float = setting(1.5, says="Keep this far from the middle of wheel tracks", unit="m", ge=0)
    per_soil_type: int = setting(
        3, says="Sites that each soil type has at least, where there are enough for all", ge=1, le=50
    )
    least_soil_ha: float = setting(
        0.5, says="A soil type of less ground than this has no sites kept for it", unit="ha", ge=0
    )
    least_count: int = setting(
        10, says="Fewest sites of a first survey where no count and no hours are given", source="common practice", ge=1
    )
    most_per_ha: float = setting(
        4.0, says="Most sites a hectare that anyone would walk to; a precision that takes more is out of reach",
        unit="1/ha", gt=0,
    )  # fmt: skip
    most_further: int = setting(
        20, says="Sites chosen by their worth at most, where neither count nor hours are given", ge=1, le=200
    )
    covariate_share: float = setting(
        0.2, says="Weight of the spread over the covariates against that over the ground, of 1 in all", ge=0, lt=1
    )
    starts: int = setting(10, says="Starts of the search for the best coverage", ge=1, le=100)
    range_m: float = setting(
        150.0,
        says="Distance over which the depth of a pan stays alike before anything is read: effective range",
        unit="m",
        source="unverified",
        gt=0,
    )
    range_low_m: float = setting(50.0, says="The same, at least", unit="m", source="unverified", gt=0)
    range_high_m: float = setting(400.0, says="The same, at most", unit="m", source="unverified", gt=0)

    @model_validator(mode="after")
    def _one_number(self) -> "SiteSettings":
        if sum(given is not None for given in (self.count, self.hours, self.precision_mm)) > 1:
            msg = "one of count, hours and precision_mm"
            raise ValueError(msg)
        if not self.range_low_m <= self.range_m <= self.range_high_m:
            msg = "range_low_m, range_m and range_high_m in rising order"
            raise ValueError(msg)
        return self
