"""Other machines to do the work with: what is asked of them, and how they compare."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np

from hardpan.core.settings import setting
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Ledger, Rates
from hardpan.records.plan import Plan
from hardpan.records.quantity import Price, RangedSettings, ranged


class AlternativeSettings(RangedSettings):
    """A table of `[[alternatives]]`: another machine, or a contractor's offer."""

    name: str = setting(says="Name in tables", min_length=1, max_length=60)
    tractor: str | Mapping[str, object] | None = setting(None, says="As in [machine]; the present one if left out")
    ripper: str | Mapping[str, object] | None = setting(None, says="As in [machine]; the present one if left out")
    setups: Mapping[str, Mapping[str, object]] = setting({}, says="Set-ups of your own, as in [machine]")
    setup: str | None = setting(None, says="Consider this set-up only")
    terms: Literal["bought", "upgraded", "hired", "owned"] = setting(
        "bought", says="How you come by what differs from the present machine"
    )
    price: Price = ranged("What an upgrade costs, beside the present machine (terms upgraded)", "money")
    hire_per_h: Price = ranged("What hiring costs an hour, in place of owning and repairs (terms hired)", "money/h")
    rate_per_ha: Price = ranged("A contractor's rate, with tractor, ripper, driver and points", "money/ha")
    fuel: Price = ranged("Share of the fuel that the contractor's rate leaves to you", "share")
    deepest: Price = ranged("Deepest the contractor rips for it; that of [prices] if left out", "mm")
    waiting: float = setting(0.0, says="Fit days lost until a hired machine or contractor comes", unit="day", ge=0)
    ha_per_h: float | None = setting(None, says="What the contractor does in an hour", unit="ha/h", gt=0)


class Terms(StrEnum):
    """How a machine is come by; the value is its code in tables."""

    PRESENT = "present"
    BOUGHT = "bought"
    UPGRADED = "upgraded"
    HIRED = "hired"
    OWNED = "owned"
    CONTRACTOR = "contractor"


class HeldBack(StrEnum):
    """What keeps a machine from doing more; the value is its code in tables."""

    POWER = "power"
    WEIGHT = "weight"
    DEPTH = "depth"
    WIDTH = "width"
    """It pulls all tines as fast as it may: a wider one would do more."""
    STRENGTH = "strength of tines and frame"
    SOIL = "soil"
    COST = "cost"
    FIT_DAYS = "fit days"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offer:
    """A machine with its prices."""

    name: str
    terms: Terms
    catalog: Catalog
    rates: Rates
    waiting_days: float = 0.0
    ha_per_h: float = np.nan
    """Of a contractor; NaN where not known."""
    paid: tuple[str, ...] = ()
    """ "tractor", "ripper": what is bought, whose yearly cost has to be earned."""
    new_share: float = 1.0
    """Share of that cost which is new; less than 1 of an upgrade."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Worked:
    """The paddock worked with a machine at its own best depths and area, from the draws of the plan."""

    offer: Offer
    plan: Plan
    """Of a contractor, the plan beside which his offer was tried."""
    ledger: Ledger
    fit_days: tuple[float, ...] = ()
    """Fit days left for the plan: as given, or in each year of the weather; none where nobody knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRow:
    """A machine beside the present one; money for the paddock, 5-95 % range."""

    name: str
    terms: Terms
    ripped_ha: float
    depths_mm: tuple[int, ...]
    net: float
    """At full cost."""
    net_low: float
    net_high: float
    cost: float
    """Full."""
    cash_cost: float
    """Without owning; of a contractor the same."""
    hours: float
    """NaN where not known."""
    days: float
    """Working days, and those waited."""
    in_time: float
    """Share of the work that the fit days allow, over years on average; 1 where they are not known."""
    beats_full: float
    """Chance to return more than the present machine at full cost, of what is done in time; NaN of that itself."""
    beats_cash: float
    """The same against the present machine at cash cost, which is paid for anyway."""
    owned_per_year: float
    """What owning what is bought costs a year; NaN where nothing is."""
    break_even_ha: float
    """Hectares a year at which that is earned against `against`; infinite: never; NaN where nothing is bought."""
    break_even_low: float
    break_even_high: float
    against: str
    """Name of the cheapest hire, or of the present machine at cash cost; "" where nothing is compared."""
    held_by: HeldBack
    held_ha: float
    """Ground on which it is held so."""
    slip: float
    """Largest expected; NaN where not known, as all below."""
    mass_kg: float
    kg_per_pto_hp: float
    usual_low: float
    """Usual mass a PTO horsepower of its drive, kg."""
    usual_high: float

    @property
    def net_in_time(self) -> float:
        """Expected return at full cost of what is done in time."""
        return self.in_time * self.net
