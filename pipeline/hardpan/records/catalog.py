"""Soils, machines, set-ups, prices and crops: numbers with unit and source, read from TOML tables."""

from collections.abc import Mapping
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from hardpan.core.settings import Settings
from hardpan.records.quantity import Positive, Quantity, SpreadRate

__all__ = [
    "Catalog",
    "Crop",
    "DraftRow",
    "Effort",
    "PriceTable",
    "Quantity",
    "Reclaim",
    "Ripper",
    "Rule",
    "SetUp",
    "SoilType",
    "Source",
    "Tractor",
]


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

    def gypsum(self, per_meq: Quantity) -> Quantity:
        """Gypsum that brings the layer to the target share of sodium, t/ha, with its range (`irrigation-ex87`).

        (ESP - target) / 100 x exchange capacity x t/ha per meq in 300 mm x depth / 300 mm x field factor. Chemistry of
        reclamation, not a recommendation: the rate of a season is the agronomist's.
        """
        rising = [q.ends for q in (self.esp, self.exchange_capacity, self.depth, self.field_factor, per_meq)]
        low, value, high = (
            max(esp - target, 0.0) / 100.0 * capacity * each * depth / 300.0 * factor
            for esp, capacity, depth, factor, each, target in zip(*rising, self.target_esp.ends[::-1], strict=True)
        )
        return Quantity(value=value, low=low, high=high, unit="t/ha", source=per_meq.source)


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
    """Yield gain of the first season when the whole pan is broken, t/ha, of the reference crop."""
    persistence: Quantity
    """Share of the gain kept from one season to the next without traffic control."""
    persistence_controlled: Quantity
    """The same with controlled traffic."""
    seasons: Quantity
    """Seasons the loosening lasts without traffic control."""
    seasons_controlled: Quantity | None = None
    """The same with controlled traffic; None: no longer than without."""
    deeper_next: Quantity | None = None
    """How much deeper the next ripping usually goes, mm; None: no deeper."""
    lime: SpreadRate | None = None
    """Lime to spread before ripping, t/ha, as the agronomist says; None: none."""
    gypsum: SpreadRate | None = None
    """Gypsum to spread, t/ha, as the agronomist says; None: none."""
    reclaim: Reclaim | None = None
    """Soil test that sets the gypsum instead; None: none."""
    hostile_subsoil: bool = False
    """The clay below is sodic, dispersive or otherwise not to be brought up or smeared."""
    responds: bool = True
    """False: ripping is not expected to pay on this soil (the reason in `note`)."""
    note: str = ""

    def spread(self, gypsum_per_meq: Quantity | None) -> dict[str, Quantity]:
        """Lime and gypsum to spread where the soil is ripped, item -> t/ha: only what the configuration gives.

        A soil test (`reclaim`) comes before a rate of gypsum, and needs `gypsum_per_meq`.
        """
        tested = None if self.reclaim is None or gypsum_per_meq is None else self.reclaim.gypsum(gypsum_per_meq)
        given = {"lime": self.lime, "gypsum": self.gypsum if tested is None else tested}
        return {item: rate for item, rate in given.items() if rate is not None and rate.value > 0.0}


class SetUp(Settings):
    """One way to fit a ripper (`configs/setups.toml`)."""

    says: str
    """Name for people."""
    foot_width: Quantity
    """Width of the foot or across the wings, mm."""
    side_angle: Quantity
    """Angle of the loosened section's side from horizontal, degrees."""
    critical_ratio: Quantity
    """Depth over foot width below which only the slot is loosened."""
    leading_depth_share: Quantity | None = None
    """Depth of shallow leading tines as share of the working depth."""
    draft_row: Literal["narrow", "winged"]
    """Row of the draft equation."""
    draft_factor: Quantity
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
    texture_factor: Mapping[str, Quantity]
    depth_exponent: Quantity
    anchor_depth: Quantity
    """Depth at which the depth exponent leaves the draft equation unchanged, mm."""
    strength_exponent: Quantity | None = None
    """Draft grows with the strength of the pan to this power; None: not at all, as in the equation."""
    reference_strength: Quantity | None = None
    """Strength of the pan at which the draft equation holds unchanged, kPa; needed with `strength_exponent`."""
    strength_bound: Quantity | None = None
    """Most that strength multiplies or divides draft by; None: no bound."""
    tractive_efficiency: Mapping[str, Quantity]
    """By drive."""
    slip: Mapping[str, Quantity]
    """Usual slip by drive, share."""
    engine_to_axle: Quantity
    usable_power: Quantity
    """Share of rated engine power that may be asked for continuously."""
    fuel: Mapping[str, Quantity]
    """Coefficients of the fuel equation."""
    field_efficiency: Quantity
    turn_time: Quantity
    """s a turn, for zones with short runs."""
    pull_ratio: Mapping[str, Quantity] = {}
    """Pull over weight a drive holds at its usual slip, by drive; a drive left out is not checked."""
    ballast: Mapping[str, Quantity] = {}
    """Usual mass per PTO power by drive, kg per horsepower."""
    front_share: Mapping[str, Quantity] = {}
    """Usual static weight at the front by drive, share."""
    calibrated_range: Quantity | None = None
    """Range of the draft once one pass has been measured, +/- %; None: as before."""
    first_pass_share: Quantity | None = None
    """Depth of the first of two passes as share of the working depth; None: no second pass."""
    wear_depth: Quantity | None = None
    """Depth at which the price of wear holds, mm; None: the anchor depth."""


class Crop(Settings):
    """A crop (`configs/crops.toml`)."""

    says: str
    sowing_depth: Quantity
    """mm; small shallow-sown seed needs the firmer finish."""
    needs_firm_seedbed: bool
    gain_factor: Quantity
    """Yield gain relative to the reference crop."""
    price_per_t: Quantity | None = None
    """Price on farm, used unless the user gives prices.grain_per_t; None: that of the price table."""
    lime_removed: Quantity | None = None
    """Lime taken off with the grain, kg CaCO3 per t."""


class PriceTable(Settings):
    """Money (`configs/prices.toml`, overridden by `[prices]`)."""

    currency: str
    fuel_per_l: Quantity
    labour_per_h: Quantity
    grain_per_t: Quantity
    wear_per_ha: Quantity
    """Points and wear, plain tine at the reference depth."""
    contractor_per_ha: Quantity | None = None
    """With tractor, ripper, driver, points and, but for `contractor_fuel`, fuel."""
    contractor_fuel: Quantity | None = None
    """Share of the fuel and lubricant that the contractor's rate leaves to the grower; None: none of it."""
    lime_per_t: Quantity
    gypsum_per_t: Quantity
    gypsum_per_meq: Quantity | None = None
    """Gypsum that replaces 1 meq/100 g of sodium in 300 mm of soil, t/ha."""
    spreading_per_ha: Quantity
    discount_rate: Quantity
    housing_insurance_tax: Quantity
    """Share of the machine's mean value a year."""
    lubricant_share: Quantity
    labour_factor: Quantity
    remaining_value: Mapping[str, tuple[Quantity, Quantity, Quantity]]
    """C1, C2, C3 of "ripper" and of the tractor classes of `power_class`."""
    repair: Mapping[str, tuple[Quantity, Quantity]]
    """RF1, RF2 of "ripper" and by drive of the tractor."""
    power_class: Mapping[str, Quantity] = {}
    """Least engine power of each tractor class of `remaining_value`, kW."""
    repair_level: Quantity | None = None
    """Repairs relative to the repair equation; its range carries the uncertainty of the equation."""
    common_gain: Quantity | None = None
    """Share of the variance of the yield gain that all soil types have in common (season); None: none."""
    extra_zone: Quantity
    """What a further zone costs in setting, checking and turning, money a zone."""


class Rule(Settings):
    """One row of the set-up decision table."""

    constraint: str
    says: str
    """Condition in words."""
    needs: tuple[str, ...] = ()
    """Names of measurements the row reads (columns of the cores, or facts of zone and crop)."""
    when: Mapping[str, tuple[float, float]] = {}
    """Measurement to the closed interval in which the row applies; infinite ends allowed."""
    prefers: tuple[str, ...] = ()
    """Set-ups that help, best first."""
    forbids: tuple[str, ...] = ()
    gain: Mapping[str, Quantity] = {}
    """Gain with a set-up relative to breaking the pan alone, where the row is met; 1 for set-ups left out."""
    rollers: bool | None = None
    depth_ceiling: Literal["clay_depth_mm"] | None = None
    """"clay_depth_mm": the depth stays above the clay by the margin of hostile clay; None: no limit."""
    spreads: Literal["lime", "gypsum"] | None = None
    """What is spread where the row is met, at the rate that the soil type is given; None: nothing."""
    advice: str
    not_fixed: str = ""
    """What ripping will not fix here."""
    source: str


class Source(Settings):
    """An entry of references.toml."""

    authors: str
    year: int | str
    title: str
    where: str
    standing: Literal["read", "read in part", "abstract", "from memory", "computed", "practice", "design"]


class Catalog(Settings):
    """All shipped tables, with the user's overrides applied."""

    soils: Mapping[str, SoilType]
    tractor_name: str
    tractor: Tractor
    ripper_name: str
    ripper: Ripper
    setups: Mapping[str, SetUp]
    """Those the ripper can be fitted with."""
    rules: tuple[Rule, ...]
    effort: Effort
    prices: PriceTable
    crop: Crop
    available_water: Mapping[str, Quantity]
    """Plant-available water by texture, mm/cm."""
    references: Mapping[str, Source]
