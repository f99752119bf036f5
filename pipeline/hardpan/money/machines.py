"""What an hour of tractor and ripper costs: the equations of ASABE EP496 (`ep496`), coefficients of D497 (`d497`)."""

from collections.abc import Sequence

import numpy as np

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.money.draws import Draws
from hardpan.records.catalog import Catalog
from hardpan.records.machines import Ripper, Tractor
from hardpan.records.prices import PriceTable
from hardpan.records.quantity import Quantity


def hourly_items(catalog: Catalog, drawn: Draws) -> dict[str, Floats]:
    """What an hour of ripping costs beside fuel, item -> money/h, shape (n_draws,)."""
    prices, tractor, ripper = catalog.prices, catalog.tractor, catalog.ripper
    labour = drawn("labour_per_h", prices.labour_per_h) * drawn("labour_factor", prices.labour_factor)
    size = tractor_class(tractor, prices)
    return {
        "labour": labour,
        **_machine_items("tractor", tractor, prices, value_row=size, repair_row=tractor.drive, drawn=drawn),
        **_machine_items("ripper", ripper, prices, value_row="ripper", repair_row="ripper", drawn=drawn),
    }


def capital_per_hour(catalog: Catalog, drawn: Draws) -> Floats:
    """Mean value of tractor and ripper over their hours a year, money per hour and year, shape (n_draws,).

    What an hour costs rises by it with each unit of the yearly discount rate.
    """
    prices = catalog.prices
    rows = {"tractor": tractor_class(catalog.tractor, prices), "ripper": "ripper"}
    total = np.zeros(drawn.n_draws)
    for name, machine in (("tractor", catalog.tractor), ("ripper", catalog.ripper)):
        list_price, years, hours_per_year = _owned(name, machine, drawn)
        remaining = remaining_share(prices.remaining_value[rows[name]], years, hours_per_year)
        total += list_price * mean_value_share(remaining) / hours_per_year
    return total


def _owned(name: str, machine: Tractor | Ripper, drawn: Draws) -> tuple[Floats, Floats, Floats]:
    """Draws of the list price, the years a machine is kept and its hours a year, shape (n_draws,) each."""
    return (
        drawn(f"{name} list_price", machine.list_price),
        drawn(f"{name} years", machine.years),
        drawn(f"{name} hours_per_year", machine.hours_per_year),
    )


def _machine_items(
    name: str, machine: Tractor | Ripper, prices: PriceTable, *, value_row: str, repair_row: str, drawn: Draws
) -> dict[str, Floats]:
    list_price, years, hours_per_year = _owned(name, machine, drawn)
    remaining = remaining_share(prices.remaining_value[value_row], years, hours_per_year)
    housing = drawn("housing_insurance_tax", prices.housing_insurance_tax)
    yearly = prices.discount_rate.value + housing
    level = 1.0 if prices.repair_level is None else drawn("repair_level", prices.repair_level)
    hours = years * hours_per_year
    return {
        f"{name} ownership": list_price * ownership_share(remaining, years, yearly) / hours_per_year,
        f"{name} repairs": level * list_price * repair_share(prices.repair[repair_row], hours) / hours,
    }


def remaining_share(coefficients: Sequence[Quantity], years: Floats, hours_per_year: Floats) -> Floats:
    """Share of the list price a machine is still worth, [0, 1].

    Notes
    -----
    RV / P = (C1 - C2 sqrt(n) - C3 sqrt(h))^2 with n years of age and h mean hours a year (`ep496`).
    """
    c1, c2, c3 = (c.value for c in coefficients)
    root: Floats = np.maximum(c1 - c2 * np.sqrt(years) - c3 * np.sqrt(hours_per_year), 0.0)
    return root**2


def repair_share(coefficients: Sequence[Quantity], hours: Floats) -> Floats:
    """Repairs so far as share of the list price, RF1 (hours / 1000)^RF2 (`ep496`)."""
    rf1, rf2 = (c.value for c in coefficients)
    share: Floats = rf1 * (hours / 1000.0) ** rf2
    return share


def ownership_share(remaining: Floats, years: Floats, yearly: Floats) -> Floats:
    """Yearly cost of owning as share of the list price.

    Straight-line depreciation to the remaining value, and `yearly` (interest, housing, insurance, tax; share a year) of
    the mean value (`asae2000`).

    >>> float(ownership_share(np.array(0.2), np.array(10.0), np.array(0.1)).round(6))
    0.14
    """
    share: Floats = (1.0 - remaining) / years + yearly * mean_value_share(remaining)
    return share


def mean_value_share(remaining: Floats) -> Floats:
    """Mean value of a machine over its life as share of the list price, falling straight to `remaining`.

    >>> float(mean_value_share(np.array(0.2)))
    0.6
    """
    share: Floats = (1.0 + remaining) / 2.0
    return share


def tractor_class(tractor: Tractor, prices: PriceTable) -> str:
    """Row of `remaining_value` for the tractor's engine power.

    Raises
    ------
    SettingsError
        The tractor is smaller than every class.
    """
    power_kw = tractor.engine_power.value
    fitting = {name: least.value for name, least in prices.power_class.items() if least.value <= power_kw}
    if not fitting:
        raise SettingsError(
            what=f"no remaining value is known for a tractor of {power_kw:g} kW",
            where="prices.toml [power_class]",
            do="give a smaller [numbers.prices.power_class] medium, or a larger engine",
        )
    return max(fitting, key=lambda name: fitting[name])
