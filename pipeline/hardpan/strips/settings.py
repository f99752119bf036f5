"""Settings of check strips."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from hardpan.core.settings import Settings, setting


class StripSettings(Settings):
    """The `[strips]` table."""

    pairs: Annotated[int, Field(ge=0, le=50)] | Literal["auto"] = setting(
        0,
        says='Pairs of check strips in every ripped zone; "auto" = auto_pairs in the largest ripped zone of each soil '
        "type; 0 = none",
    )
    auto_pairs: int = setting(4, says="Pairs laid by auto", source="canola2017", ge=1, le=50)
    width_m: float | None = setting(
        None,
        says="Width of a strip; left out, whole ripper widths that hold one harvester width and the position error on "
        "both sides",
        unit="m",
        gt=0,
    )
    harvester_width_m: float = setting(
        12.0, says="Cutting width of the harvester", source="common practice", unit="m", gt=0
    )
    position_error_m: float = setting(0.5, says="Error of position and of steering", unit="m", ge=0)
    length_m: float = setting(150.0, says="Length of a strip where there is room", source="canola2017", unit="m", gt=0)
    least_length_m: float = setting(60.0, says="Shorter strips are not laid", unit="m", gt=0)
    headland_m: float | None = setting(
        None,
        says="Kept free of strips along the paddock's edge, where machines turn; left out, two widths of the wider of "
        "ripper and harvester. Not zones.headland_m, in which only the ripper's laps are counted",
        source="common practice",
        unit="m",
        ge=0,
    )
    border_m: float = setting(10.0, says="Kept free along borders of zones and exclusions", unit="m", gt=0)
    most_share: float = setting(0.1, says="Most of a zone that is left for strips", unit="share", gt=0, lt=0.5)
    strip_cv: float = setting(
        0.06,
        says="Standard deviation of yield between neighbouring strips over the mean; give your own where you know it",
        source="agridat",
        unit="share",
        told_only=True,
        gt=0,
        lt=1,
    )
    level: float = setting(
        0.9, says="Level of the interval the strips are judged by", unit="share", told_only=True, gt=0, lt=1
    )
    power: float = setting(
        0.8, says="Chance of finding a difference that is there", unit="share", told_only=True, gt=0, lt=1
    )

    @model_validator(mode="after")
    def _can_be_laid(self) -> Self:
        if self.length_m < self.least_length_m:
            message = f"length_m no shorter than least_length_m, {self.least_length_m:g} m; give that too"
            raise ValueError(message)
        if self.width_m is not None and self.width_m < self.harvester_width_m:
            message = f"width_m that holds the harvester, {self.harvester_width_m:g} m; give harvester_width_m too"
            raise ValueError(message)
        return self

    @property
    def asked(self) -> bool:
        """Whether any strips are to be laid."""
        return self.pairs != 0
