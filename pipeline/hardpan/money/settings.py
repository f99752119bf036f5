"""Settings of prices."""

from collections.abc import Mapping

from pydantic import Field

from hardpan.core.settings import Settings, setting


class PriceSettings(Settings):
    """The `[prices]` table; anything left out comes from configs/prices.toml."""

    currency: str | None = setting(None, says="Currency code", min_length=1, max_length=5)
    exchange_rate: float | None = setting(
        None, says="Paid in `currency` for one unit of the shipped prices' currency", unit="ratio", gt=0
    )
    fuel_per_l: float | None = setting(None, says="Fuel", unit="money/L", ge=0)
    labour_per_h: float | None = setting(None, says="Labour", unit="money/h", ge=0)
    grain_per_t: float | None = setting(None, says="Grain on farm", unit="money/t", ge=0)
    wear_per_ha: float | None = setting(None, says="Points and wear", unit="money/ha", ge=0)
    contractor_per_ha: float | None = setting(
        None, says="Contractor's rate, with tractor, ripper, driver and points", unit="money/ha", ge=0
    )
    contractor_fuel: float | None = setting(
        None, says="Share of the fuel the contractor's rate leaves to you", unit="share", ge=0, le=1
    )
    lime_per_t: float | None = setting(None, says="Lime delivered", unit="money/t", ge=0)
    gypsum_per_t: float | None = setting(None, says="Gypsum delivered", unit="money/t", ge=0)
    discount_rate: float | None = setting(None, says="Discount rate", unit="share/year", ge=0, lt=1)
    overrides: Mapping[str, Mapping[str, object]] = Field(
        {}, description="Whole entries of configs/prices.toml: value, low, high, unit and source"
    )
