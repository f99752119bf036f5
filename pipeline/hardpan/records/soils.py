"""Soil types and what each needs: a yield response, how long it lasts, lime and gypsum; and what a crop makes of it."""

from typing import Literal, Self

from pydantic import Field, model_validator

from hardpan.core.settings import Settings
from hardpan.records.quantity import Positive, Quantity, SpreadRate


class Reclaim(Settings):
    """A soil test from which the gypsum of a sodic layer is worked out, asked for by the user."""

    esp: Quantity
    """Exchangeable sodium, %."""
    target_esp: Quantity
    exchange_capacity: Quantity
    """meq per 100 g."""
    depth: Quantity
    """Depth to reclaim, mm."""
    field_factor: Quantity
    """Field requirement over the chemical one."""


class SoilType(Settings):
    """Agronomy of one soil type (`configs/soils.toml`, overridden by `[soil.types."..."]`)."""

    labels: tuple[str, ...] = ()
    """Other spellings met in soil maps; compared case-folded with spaces squeezed."""
    texture: Literal["coarse", "medium", "fine"]
    """Class of the draft equation (ASABE D497)."""
    water_texture: str
    """Row of the plant-available-water table."""
    clay_depth: Quantity | None = None
    """Usual depth to the clay subsoil, mm; None: no clay in reach."""
    first_year_gain: Quantity
    """Yield gain of the first season of the reference rip in the reference pan (`Response`), t/ha, of the reference
    crop."""
    persistence: Quantity
    """Share of the gain kept from one season to the next without traffic control."""
    persistence_controlled: Quantity
    """The same with controlled traffic."""
    seasons: Quantity
    """Seasons the loosening lasts without traffic control."""
    seasons_controlled: Quantity | None = None
    """The same with controlled traffic; None: no longer than without."""
    lime: SpreadRate | None = Field(None, json_schema_extra={"unit": "t/ha", "ranged": True})
    """Lime to spread before ripping, t/ha, as the agronomist says; None: none."""
    gypsum: SpreadRate | None = Field(None, json_schema_extra={"unit": "t/ha", "ranged": True})
    """Gypsum to spread, t/ha, as the agronomist says; None: none."""
    reclaim: Reclaim | None = None
    """Soil test that sets the gypsum instead; None: none."""
    hostile_subsoil: bool = False
    """The clay below is sodic, dispersive or otherwise not to be brought up or smeared."""
    responds: bool = True
    """False: ripping is not expected to pay on this soil (the reason in `note`)."""
    note: str = ""


class ReferenceRip(Settings):
    """Pan and ripping of the trials that the gains of `soils.toml` come from."""

    top: Quantity
    """Upper edge of the pan, mm."""
    bottom: Quantity
    """Its lower edge, mm."""
    threshold: Quantity
    """Cone index at its edges, kPa."""
    peak: Quantity
    """Highest cone index in it, kPa."""
    depth: Positive
    """Working depth, mm."""
    spacing: Positive
    """Between tines, mm."""
    setup: str
    """Key of setups.toml."""


class Seasons(Settings):
    """How the gain differs from season to season."""

    dry_chance: Quantity
    """Share of seasons with a dry finish."""
    dry_gain: Quantity
    """Gain in one over the usual gain; negative: a penalty."""


class Between(Settings):
    """The shallower pass between two deep ones, which mends what wheels packed first."""

    depth: Positive
    """Working depth, mm."""
    tolerance: Quantity
    """How far a depth may be from that, mm."""
    least_shallower: Positive
    """Least by which it is shallower than the deep pass, mm."""
    seasons: Positive
    """Seasons after the deep pass."""
    full_seasons: Positive
    """Seasons from one deep pass to the next where there is one between."""


class Response(Settings):
    """How much of the root growth that a pan takes comes back (`configs/response.toml`)."""

    free_below: Quantity
    """Cone index up to which roots grow freely, kPa."""
    stopped_above: Quantity
    """Cone index from which they do not grow, kPa."""
    saturation: Positive
    """Share of the width between tines at which the crop's use of that depth begins to level off."""
    dry_loosened: Quantity
    """Loosening of soil worked dry over that of moist soil: it comes up in clods."""
    season: Seasons
    between: Between
    reference: ReferenceRip

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.free_below.value >= self.stopped_above.value:
            message = f"stopped_above over free_below, {self.free_below.value:g} kPa"
            raise ValueError(message)
        if not 0 <= self.season.dry_chance.value < 1:
            message = f"dry_chance from 0 to below 1, not {self.season.dry_chance.value:g}"
            raise ValueError(message)
        if self.between.full_seasons.value <= self.between.seasons.value:
            message = f"between.full_seasons over between.seasons, {self.between.seasons.value:g}"
            raise ValueError(message)
        return self
