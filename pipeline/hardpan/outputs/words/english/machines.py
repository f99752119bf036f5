"""Who does the work, with what machine and at what cost, in words."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.catalog import Catalog
from hardpan.records.reasons import Way
from hardpan.records.ways import WaySum

LEAST_HA = 0.05
"""Less ground than this is not spoken of."""

WAYS = {
    Way.FULL: "the plan: your own machine at full cost",
    Way.CASH: "your own machine at cash cost, without what owning it costs",
    Way.CONTRACTOR: "a contractor, at one rate whatever the depth",
    Way.STRONGER: "your ripper behind a tractor that is large enough, at full cost",
}


@dataclass(frozen=True, slots=True)
class EnglishMachines:
    """Sentences on machines and whoever drives them."""

    units: Units
    catalog: Catalog

    def cash(self, ways: Sequence[WaySum]) -> str:
        """What the plan, or a better one, returns at cash cost; "" where that was not asked or nothing is ripped."""
        found = {one.way: one for one in ways}
        if Way.CASH not in found or found[Way.FULL].ripped_ha < LEAST_HA:
            return ""
        full, cash = found[Way.FULL], found[Way.CASH]
        more = cash.ripped_ha - full.ripped_ha
        also = f", and {self.units.area(more)} more would pay" if more >= LEAST_HA else ""
        if cash.net < 0:
            return f" Even at cash cost the depths best for that lose {self._per_ha(cash)}."
        best = f"the depths best for that return {self._per_ha(cash)}{also}"
        return f" At cash cost, as your machine is paid for anyway, {best}."

    def full_cost_only(self, ways: Sequence[WaySum]) -> bool:
        """Whether nothing is ripped at the full cost of the own machine, but something would be in another way."""
        return any(one.ripped_ha >= LEAST_HA for one in ways[1:])

    def tried(self, ways: Sequence[WaySum]) -> str:
        """Which other way would pay where the plan rips nothing, or that none would."""
        if not ways:
            return ""
        if not self.full_cost_only(ways):
            told = [self._asked(one) for one in ways[1:] if one.way is not Way.STRONGER]
            return f" Nor would it pay {' or '.join(told)}."
        return "".join(self._would_pay(one) for one in ways[1:] if one.ripped_ha >= LEAST_HA)

    def ways(self, ways: Sequence[WaySum]) -> pd.DataFrame:
        """Table of the ways to have the work done, one row each."""
        units = self.units
        rows = [
            {
                "who, at what cost": WAYS[one.way],
                "depth": units.depths(one.depths_mm[0], one.depths_mm[-1]) if one.depths_mm else MISSING,
                "ripped": units.area(one.ripped_ha),
                "cost": one.cost,
                "return": one.net,
                "likely from": one.net_low,
                "likely to": one.net_high,
                "chance of a loss": units.share(one.loss_probability),
                "time": units.hours(one.hours),
                "fuel": units.fuel(one.fuel_l),
            }
            for one in ways
        ]
        return pd.DataFrame(rows)

    def _asked(self, one: WaySum) -> str:
        if one.way is Way.CASH:
            return "at cash cost, without what owning the machine costs,"
        return f"by a contractor{self._rate()}"

    def _rate(self) -> str:
        rate = self.catalog.prices.contractor_per_ha
        if rate is None:
            return ""
        doubt = "" if rate.source == "user" else ", which is not a quote"
        return f" at about {self.units.per_area(rate.value)}{doubt}"

    def _would_pay(self, one: WaySum) -> str:
        depths = self.units.depths(one.depths_mm[0], one.depths_mm[-1])
        pays = f"{self.units.area(one.ripped_ha)} would pay at {depths} and return about {self._per_ha(one)}"
        if one.way is Way.CASH:
            return f" At cash cost, as your machine is paid for anyway, {pays}."
        if one.way is Way.CONTRACTOR:
            return f" By a contractor{self._rate()} {pays}."
        power = self.units.write(one.power_kw, Measure.POWER)
        return f" Your tractor is too small: behind one of about {power}, at its full cost, {pays}."

    def _per_ha(self, one: WaySum) -> str:
        return self.units.per_area(abs(one.net) / max(one.ripped_ha, LEAST_HA))
