"""Prices before the decision, money after it, and what a paddock adds to sums over paddocks."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import pandas as pd
import xarray as xr

from hardpan.core.arrays import Floats
from hardpan.records.advice import Hiring
from hardpan.records.issues import Issues
from hardpan.records.plan import WaySum

TALLY = ("zone", "item", "quantity", "unit", "price", "amount", "low", "high")
"""Columns of `Ledger.lines` and of tallies.csv."""

ALL_PADDOCKS = "all paddocks"
"""In the column `paddock` of sums: all together."""

NET_RETURN = "net return"
"""In the column `item`: what is left after all costs."""


def net_of_all(sums: pd.DataFrame) -> tuple[float, float, float]:
    """Net return of all paddocks in their sums, expected, 5 and 95 % points, money; NaN where it cannot be summed."""
    rows = sums[(sums["paddock"] == ALL_PADDOCKS) & (sums["item"] == NET_RETURN)]
    amount, low, high = (float(rows[end].iloc[0]) if len(rows) else float("nan") for end in ("amount", "low", "high"))
    return amount, low, high


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rates:
    """What an hour, a litre and a loosened hectare are worth, with their uncertainty.

    `scenarios` are joint draws used alike by the decision and the ledger, dims (draw, soil_type):
    `worth_per_ha` (draw, soil_type): present value of ripping there as in trials (gain x price x persistence x
    discount); `first_year_t_per_ha`, `lasting` (draw, soil_type): gain of the first season, and what all seasons bring
    over the first; `per_hour` (draw): tractor and ripper ownership, repairs and labour; `per_litre` (draw): fuel and
    lubricant; `capital_per_hour` (draw): mean value of tractor and ripper over their hours a year, whose interest is in
    `per_hour`; `wear_per_ha` (draw): points and wear of one plain tine set at the reference depth; and (draw) each item
    that goes with hours, litres or hectares, and the prices `grain_per_t`, `contractor_per_ha`, `lime_per_t`,
    `gypsum_per_t`, `spreading_per_ha`, `rolling_per_ha`, `cover_crop_per_ha`, those that are known.
    """

    scenarios: xr.Dataset
    currency: str
    worth: pd.DataFrame
    """One row a soil type: `soil_type`, `first_year_t_per_ha`, `low`, `high`, `seasons`, `present_value_per_ha`."""
    by_season: pd.DataFrame
    """One row a soil type and season: `soil_type`, `season` (1, 2, ...), `money_per_ha`, the expected gain of that
    season, not discounted."""
    drawn: Mapping[str, Floats] = field(default_factory=dict)
    """Draws of each number with a range, by table, entry and key, (n_draws,) each."""
    issues: Issues = field(default=())


class Strategy(StrEnum):
    """What the plan is held against; the value is its code in tables."""

    PLAN = "prescription"
    CONTRACTOR = "prescription by a contractor"
    USUAL = "uniform at the machine's usual depth"
    YOURS = "uniform at your depth"
    BEST = "best uniform"
    NONE = "no ripping"


class Driver(StrEnum):
    """Inputs that are not known for sure; the value is the code in tables."""

    GAIN = "yield gain of the first season"
    LASTING = "how long the loosening lasts"
    GRAIN = "price of grain"
    FUEL = "price of fuel"
    MACHINES = "cost of machines and labour"
    WEAR = "points and wear"
    DRAFT = "draft of the soil"
    PAN = "where and how deep the pan is, and how draft follows it"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Total:
    """One item of the ledger over a whole paddock."""

    quantity: float
    unit: str
    amount: float
    """Expected money."""
    low: float
    high: float
    """5 and 95 % points of the money."""
    shared: Floats
    """Money that follows what all paddocks have in common, prices and response, (n_draws,)."""
    own: Floats
    """The rest of the money, which follows the paddock's own readings, (n_draws,); mean 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ledger:
    """Areas, quantities and money, per zone and in all."""

    lines: pd.DataFrame
    """Columns `TALLY`; `zone` is text ("1", "2", ..., "total"). The items are listed in
    `hardpan.costs.lines.ITEMS`: `cost` and `amendments` are sums of others, `benefit` less `cost` is `net return`."""
    strategies: pd.DataFrame
    """One row a strategy, where its depth or rate is known: `strategy` (a `Strategy`), `depth_mm`, `ripped_ha`, `cost`,
    `fuel_l`, `hours`, `benefit`, `net`, `net_low`, `net_high`, `loss_probability`, `worse_probability` (share of the
    draws in which it returns less than the prescription); money for the paddock, 5-95 % range. The contractor's
    `fuel_l` and `hours` are NaN: not known."""
    investment: pd.DataFrame
    """One row a ripped zone and `total`: `zone`, `npv_per_ha`, `payback_seasons` (NaN: never), `break_even_t_per_ha`
    (extra grain that pays, whenever harvested), `gain_t_per_ha` (expected of the first season),
    `break_even_first_year_t_per_ha`, `lime_removed_kg_per_ha`."""
    when_again: pd.DataFrame
    """One row a ripped zone: `zone`, `seasons_low`, `seasons_high`, `depth_mm`, `costs_rise` bool, `soil_type`,
    `controlled_traffic` bool, `next_depth` (a `NextDepth`), `limit` that holds it ("" where none), `deepest_mm` of the
    ripper, `deeper_mm` and the share `draft_low` to `draft_high` by which draft rises (0 where no deeper); of a
    shallower pass between that pays `between_mm`, `between_seasons` from this one, and the money `between_per_ha` it
    leaves, NaN where none does; of the last pass `last_ripped` (year), `seasons_since`, `last_depth_mm`, NaN where not
    known."""
    drivers: pd.DataFrame
    """One row an uncertain input, largest first: `input` (a `Driver`), `share` of the variance of the
    prescription's net return."""
    totals: Mapping[str, Total]
    """Each item over the whole paddock in draws, what other paddocks share apart."""
    hours: float
    days: float
    seasons: tuple[float, float]
    """Fewest and most seasons the return is counted for."""
    open_ha: float
    """Ground where ripping is about as likely to pay as not."""
    open_by: Driver | None = None
    """What most of the doubt about that ground comes from; None where there is none."""
    hiring: Hiring | None = None
    """Own machine against a contractor; None where no rate is known or the own machine is surely cheaper."""
    ways: tuple[WaySum, ...] = ()
    """The plan, then the other ways to have the work done, each at its own best depths; none where none was tried."""
    issues: Issues = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Totals:
    """All items of the ledger over a whole paddock."""

    items: Mapping[str, Total]
    currency: str
    seed: int
    """Of the draws: draw k of two paddocks is of the same prices where seed and number of draws are the same."""
