"""Who does the work, with what machine and at what cost, in words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.alternatives import HeldBack, MachineRow, Terms
from hardpan.records.catalog import Catalog
from hardpan.records.plan import WaySum
from hardpan.records.reasons import Way

LEAST_HA = 0.05
"""Less ground than this is not spoken of."""

WAYS = {
    Way.FULL: "the plan: your own machine at full cost",
    Way.CASH: "your own machine at cash cost, without what owning it costs",
    Way.CONTRACTOR: "a contractor, at one rate{reach}",
    Way.STRONGER: "your ripper behind a tractor that is large enough, at full cost",
}


TERMS = {
    Terms.PRESENT: "yours",
    Terms.BOUGHT: "bought",
    Terms.UPGRADED: "upgraded",
    Terms.HIRED: "hired",
    Terms.OWNED: "owned already",
    Terms.CONTRACTOR: "contractor",
}

HELD = {
    HeldBack.POWER: "power",
    HeldBack.WEIGHT: "weight: the drive has no more grip",
    HeldBack.DEPTH: "depth it can reach",
    HeldBack.WIDTH: "width: pulls all its tines as fast as it may",
    HeldBack.STRENGTH: "strength of tines or frame",
    HeldBack.SOIL: "the soil, not the machine",
    HeldBack.COST: "cost: going deeper or farther does not pay",
    HeldBack.FIT_DAYS: "fit days",
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
            return f"Even at cash cost the depths best for that lose {self._per_ha(cash)}."
        best = f"the depths best for that return {self._per_ha(cash)}{also}"
        return f"At cash cost, as your machine is paid for anyway, {best}."

    def full_cost_only(self, ways: Sequence[WaySum]) -> bool:
        """Whether nothing is ripped at the full cost of the own machine, but something would be in another way."""
        return any(one.ripped_ha >= LEAST_HA for one in ways[1:])

    def tried(self, ways: Sequence[WaySum]) -> str:
        """Which other way would pay where the plan rips nothing, or that none would."""
        if not ways:
            return ""
        if not self.full_cost_only(ways):
            told = [self._asked(one) for one in ways[1:] if one.way is not Way.STRONGER]
            return f"Nor would it pay {' or '.join(told)}."
        return " ".join(self._would_pay(one) for one in ways[1:] if one.ripped_ha >= LEAST_HA)

    def ways(self, ways: Sequence[WaySum]) -> pd.DataFrame:
        """Table of the ways to have the work done, one row each."""
        units = self.units
        rows = [
            {
                "who, at what cost": WAYS[one.way].format(reach=self._reach()),
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

    def machines(self, rows: Sequence[MachineRow]) -> pd.DataFrame:
        """Table of the present machine and others, one row each."""
        units = self.units
        told = [
            {
                "machine": f"{row.name} ({TERMS[row.terms]})",
                "ripped": units.area(row.ripped_ha),
                "depth": units.depths(row.depths_mm[0], row.depths_mm[-1]) if row.depths_mm else MISSING,
                "return": row.net,
                "likely from": row.net_low,
                "likely to": row.net_high,
                "full cost": row.cost,
                "cash cost": row.cash_cost,
                "time": units.hours(row.hours),
                "days": MISSING if math.isnan(row.days) else f"{row.days:.1f}",
                "beats yours at full cost": self._chance(row.beats_full),
                "at cash cost": self._chance(row.beats_cash),
                "buying breaks even at": self._break_even(row),
                "held back by": self._held(row),
                "slip": self._chance(row.slip),
                "weight": self._weight(row),
            }
            for row in rows
        ]
        return pd.DataFrame(told)

    def best(self, rows: Sequence[MachineRow]) -> str:
        """Which machine returns most here, and how sure that is; one or two sentences, "" without machines."""
        if not rows:
            return ""
        present, best = rows[0], max(rows, key=lambda row: row.net_in_time)
        if best is present:
            return "Of all compared, your present machine returns most here."
        more = self.units.money(best.net_in_time - present.net_in_time)
        return (
            f"Of all compared, {best.name} returns most here: {more} more than your present machine at full cost, "
            f"which it beats with a chance of {self._chance(best.beats_full)}; at cash cost, as yours is paid for "
            f"anyway, with one of {self._chance(best.beats_cash)}."
        )

    def _chance(self, share: float) -> str:
        return MISSING if math.isnan(share) else self.units.share(share)

    def _break_even(self, row: MachineRow) -> str:
        """Use a year at which buying pays, and against what."""
        if math.isnan(row.break_even_ha):
            return MISSING
        if math.isinf(row.break_even_ha):
            return f"never, against {row.against}"
        low, high = (
            "never" if math.isinf(end) else self.units.area(end, 0, bare=True)
            for end in (row.break_even_low, row.break_even_high)
        )
        return f"{self.units.area(row.break_even_ha, 0)} a year ({low} to {high}) against {row.against}"

    def _held(self, row: MachineRow) -> str:
        if row.held_by is HeldBack.UNKNOWN:
            return MISSING
        late = f"; {self.units.share(row.in_time)} done in time" if row.in_time < 1.0 else ""
        return f"{HELD[row.held_by]} ({self.units.area(row.held_ha)}){late}"

    def _weight(self, row: MachineRow) -> str:
        """Weight, and whether that is usual for the power."""
        if math.isnan(row.mass_kg):
            return MISSING
        light, heavy = row.kg_per_pto_hp < row.usual_low, row.kg_per_pto_hp > row.usual_high
        ballast = ", light for its power" if light else ", heavy for its power" if heavy else ""
        return f"{self.units.write(row.mass_kg, Measure.MASS)}{ballast}"

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

    def _reach(self) -> str:
        """How deep a contractor goes for his rate."""
        reach_mm = self.catalog.prices.contractor_reach_mm
        return " whatever the depth" if math.isinf(reach_mm) else f", down to {self.units.depth(reach_mm)}"

    def _would_pay(self, one: WaySum) -> str:
        depths = self.units.depths(one.depths_mm[0], one.depths_mm[-1])
        pays = f"{self.units.area(one.ripped_ha)} would pay at {depths} and return about {self._per_ha(one)}"
        if one.way is Way.CASH:
            return f"At cash cost, as your machine is paid for anyway, {pays}."
        if one.way is Way.CONTRACTOR:
            return f"By a contractor{self._rate()} {pays}."
        power = self.units.write(one.power_kw, Measure.POWER)
        return f"Your tractor is too small: behind one of about {power}, at its full cost, {pays}."

    def _per_ha(self, one: WaySum) -> str:
        return self.units.per_area(abs(one.net) / max(one.ripped_ha, LEAST_HA))
