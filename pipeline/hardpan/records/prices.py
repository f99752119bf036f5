"""Money: the price table, what a user gives in its place, and the crop."""

import math
from collections.abc import Mapping

from hardpan.core.settings import Settings, setting
from hardpan.records.quantity import Positive, Price, Quantity, RangedSettings, ranged


class Crop(Settings):
    """A crop (`configs/crops.toml`)."""

    says: str
    sowing_depth: Quantity
    """mm; small shallow-sown seed needs the firmer finish."""
    needs_firm_seedbed: bool
    gain_factor: Quantity
    """Yield gain relative to the reference crop."""
    price_per_t: Quantity | None = None
    """Price on farm; None: that of grain in the price table."""
    lime_removed: Quantity | None = None
    """Lime taken off with the grain, kg CaCO3 per t."""
    bushel: Positive | None = None
    """Mass of a bushel, lb; None: yields in bushels cannot be read."""


class PriceTable(Settings):
    """Money (`configs/prices.toml`, overridden by `[prices]`)."""

    currency: str
    fuel_per_l: Quantity
    labour_per_h: Quantity
    grain_per_t: Quantity
    """Of the next crop."""
    wear_per_ha: Quantity
    """Points and wear, plain tine at the reference depth."""
    contractor_per_ha: Quantity | None = None
    """With tractor, ripper, driver, points and, but for `contractor_fuel`, fuel."""
    contractor_fuel: Quantity | None = None
    """Share of the fuel and lubricant that the contractor's rate leaves to the grower; None: none of it."""
    contractor_depth: Quantity | None = None
    """Deepest the contractor rips for that rate, mm; None: as deep as the ripper of the farm."""
    lime_per_t: Quantity | None = None
    """None: nowhere is lime spread, and no price is known in the currency of the others."""
    gypsum_per_t: Quantity | None = None
    gypsum_per_meq: Quantity | None = None
    """Gypsum that replaces 1 meq/100 g of sodium in 300 mm of soil, t/ha."""
    spreading_per_ha: Quantity | None = None
    rolling_per_ha: Quantity | None = None
    """Rolling behind the tines, where the decision table asks for it; None: no price is known, and none is counted."""
    cover_crop_per_ha: Quantity | None = None
    """Seed and sowing of a cover crop, as above."""
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

    @property
    def contractor_reach_mm(self) -> float:
        """Deepest a contractor rips for his rate; infinite where nothing is said of it."""
        return math.inf if self.contractor_depth is None else self.contractor_depth.value


class PriceSettings(RangedSettings):
    """The `[prices]` table; anything left out comes from configs/prices.toml."""

    currency: str | None = setting(None, says="Currency code", min_length=1, max_length=5)
    exchange_rate: float | None = setting(
        None, says="Paid in `currency` for one unit of the shipped prices' currency", unit="ratio", gt=0
    )
    fuel_per_l: Price = ranged("Fuel", "money/L")
    labour_per_h: Price = ranged("Labour", "money/h")
    grain_per_t: Price = ranged("Grain on farm", "money/t")
    wear_per_ha: Price = ranged("Points and wear", "money/ha")
    contractor_per_ha: Price = ranged("Contractor's rate, with tractor, ripper, driver and points", "money/ha")
    contractor_fuel: Price = ranged("Share of the fuel the contractor's rate leaves to you", "share")
    contractor_depth: Price = ranged("Deepest the contractor rips for that rate", "mm")
    lime_per_t: Price = ranged("Lime delivered", "money/t")
    gypsum_per_t: Price = ranged("Gypsum delivered", "money/t")
    spreading_per_ha: Price = ranged("Spreading lime or gypsum", "money/ha")
    rolling_per_ha: Price = ranged("Rolling behind the tines, where it is asked for", "money/ha")
    cover_crop_per_ha: Price = ranged("Seed and sowing of a cover crop, where it is asked for", "money/ha")
    extra_zone: Price = ranged("What a further zone costs in setting and turning", "money/zone")
    discount_rate: Price = ranged("Discount rate", "share/year")

    @property
    def entries(self) -> dict[str, Quantity]:
        """What is given, by its key."""
        return {name: given for name, given in self if isinstance(given, Quantity)}
