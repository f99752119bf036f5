"""Soil types and what each needs: a yield response, how long it lasts, lime and gypsum."""

from typing import Literal

from pydantic import Field

from hardpan.core.settings import Settings
from hardpan.records.quantity import Quantity, SpreadRate


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
