"""Tractors, rippers, the set-ups a ripper is fitted with, and what it takes to pull them."""

from collections.abc import Mapping
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from hardpan.core.settings import Settings
from hardpan.records.quantity import Part, Positive, Quantity


class SetUp(Settings):
    """One way to fit a ripper (`configs/setups.toml`)."""

    says: str
    """Name for people."""
    foot_width: Positive
    """Width of the foot or across the wings, mm."""
    plate_width: Quantity | None = None
    """Width of the slot that plates behind the tine hold open, mm; the foot stays what breaks the soil. None: none."""
    side_angle: Positive
    """Angle of the loosened section's side from horizontal, degrees."""
    critical_ratio: Positive
    """Depth over foot width below which only the slot is loosened."""
    leading_depth_share: Part | None = None
    """Depth of shallow leading tines as share of the working depth."""
    draft_row: Literal["narrow", "winged"]
    """Row of the draft equation."""
    draft_factor: Positive
    """Draft relative to that row."""
    wear_factor: Quantity
    """Wear relative to a plain tine."""
    min_depth: Quantity | None = None
    max_depth: Quantity | None = None
    into_clay: Quantity | None = None
    """How far it must reach into the clay to be of use, mm (delving); None: it has no business there."""


class Ripper(Settings):
    """A ripper (`configs/rippers.toml` or an inline table)."""

    tines: int = Field(ge=1)
    spacing: Positive
    """Between tines, mm."""
    min_depth: Quantity
    max_depth: Quantity
    setups: tuple[str, ...] = Field(min_length=1)
    """Keys of setups.toml it can be fitted with."""
    usual_depth: Quantity
    """Depth it is run at where nobody varies it, mm."""
    rate_of_depth_change: Quantity
    """mm/s."""
    latency: Quantity
    """s from signal to movement."""
    draft_rating: Quantity | None = None
    """Largest draft the frame takes, kN."""
    breakout_rating: Quantity | None = None
    """Largest draft a tine takes before it trips, kN."""
    list_price: Quantity
    years: Quantity
    hours_per_year: Quantity

    @property
    def width_m(self) -> float:
        """Working width: tines x spacing."""
        return self.tines * self.spacing.value / 1000.0


class Tractor(Settings):
    """A tractor (`configs/tractors.toml` or an inline table); generic classes, no makes."""

    engine_power: Positive
    """kW, rated."""
    drive: Literal["track", "4wd", "mfwd", "2wd"]
    mass: Positive
    """kg as ballasted."""
    min_speed: Positive
    max_speed: Quantity
    """Ripping speed window, km/h."""
    list_price: Quantity
    years: Quantity
    hours_per_year: Quantity

    @field_validator("max_speed")
    @classmethod
    def _window(cls, fastest: Quantity, info: ValidationInfo) -> Quantity:
        slowest = info.data.get("min_speed")
        if slowest is not None and fastest.value < slowest.value:
            message = f"at least min_speed, {slowest.value:g} {slowest.unit}"
            raise ValueError(message)
        return fastest


class DraftRow(Settings):
    """Coefficients of D = F (A + B S + C S^2) W T (N, km/h, cm)."""

    a: Quantity
    b: Quantity
    c: Quantity
    range_pct: Quantity
    """Stated range, +/- %."""


class Effort(Settings):
    """Tillage effort (`configs/effort.toml`): draft rows, texture factors, traction, fuel."""

    rows: Mapping[str, DraftRow]
    texture_factor: Mapping[str, Positive]
    depth_exponent: Quantity
    anchor_depth: Positive
    """Depth at which the depth exponent leaves the draft equation unchanged, mm."""
    strength_exponent: Quantity | None = None
    """Draft grows with the strength of the pan to this power; None: not at all, as in the equation."""
    reference_strength: Positive | None = None
    """Strength of the pan at which the draft equation holds unchanged, kPa; needed with `strength_exponent`."""
    strength_bound: Positive | None = None
    """Most that strength multiplies or divides draft by; None: no bound."""
    dry_strength: Positive | None = None
    """Strength of dry soil over that of moist soil; None: draft does not ask how deep the soil is moist."""
    tractive_efficiency: Mapping[str, Part]
    """By drive."""
    slip: Mapping[str, Quantity]
    """Usual slip by drive, share."""
    engine_to_axle: Part
    usable_power: Part
    """Share of rated engine power that may be asked for continuously."""
    fuel: Mapping[str, Positive]
    """Coefficients of the fuel equation."""
    throttle_back: Quantity | None = None
    """Most that a driver cuts engine speed by where the load allows, share; None: always at full throttle."""
    field_efficiency: Part
    turn_time: Quantity
    """s a turn, for zones with short runs."""
    pull_ratio: Mapping[str, Positive] = {}
    """Pull over weight a drive holds at its usual slip, by drive; a drive left out is not checked."""
    ballast: Mapping[str, Quantity] = {}
    """Usual mass per PTO power by drive, kg per horsepower."""
    front_share: Mapping[str, Quantity] = {}
    """Usual static weight at the front by drive, share."""
    calibrated_range: Quantity | None = None
    """Range of the draft once one pass has been measured, +/- %; None: as before."""
    fitting_time: Quantity
    """Time to change the fitting of one tine, min."""
    first_pass_share: Part | None = None
    """Depth of the first of two passes as share of the working depth; None: no second pass."""
    wear_depth: Positive | None = None
    """Depth at which the price of wear holds, mm; None: the anchor depth."""
