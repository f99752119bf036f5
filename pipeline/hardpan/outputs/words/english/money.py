"""What the ripping costs and returns, in words."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.outputs.words.english.ground import EnglishGround
from hardpan.outputs.words.english.limits import EnglishYears
from hardpan.outputs.words.english.machines import EnglishMachines
from hardpan.outputs.words.english.zones import AT_FULL_COST, NO_RETURN, NOTHING_PAYS, EnglishZones
from hardpan.outputs.words.shown import rounded_parts, shown_quantities
from hardpan.outputs.words.units import MISSING
from hardpan.records.advice import Cheaper, Hiring
from hardpan.records.alternatives import MachineRow
from hardpan.records.catalog import Catalog
from hardpan.records.ledger import Driver, Ledger, Strategy
from hardpan.records.plan import Plan, WaySum
from hardpan.records.reasons import CheckStrip, Closed, Left, Limit

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")

LISTED_DEPTHS = 4
"""More depths than this are given as a range."""

LEAST_HA = 0.05
"""Less ground than this is not spoken of."""

WOULD_TELL = {
    Driver.PAN: "probe again there",
    Driver.GAIN: "check strips there would tell, more probes would not",
    Driver.LASTING: "check strips there, harvested every season, would tell, more probes would not",
    Driver.DRAFT: "fuel measured in a first run there would tell, more probes would not",
    None: "probe again there",
}
"""What would settle the ground where ripping may as well pay as not, by what its doubt comes from."""

DECIDES = "that hangs on the {driver}, more probes would not tell"
"""The same of an input that nothing in the paddock tells."""

PARTS = {
    "for fuel and lubricant": ("fuel", "lubricant"),
    "for labour": ("labour",),
    "for owning tractor and ripper (depreciation, interest, housing)": ("tractor ownership", "ripper ownership"),
    "for repairs": ("tractor repairs", "ripper repairs"),
    "for points and wear": ("points and wear",),
    "for rolling": ("rolling",),
    "for a cover crop": ("cover crop",),
    "for setting further zones": ("further zone",),
    "for changing the fittings": ("change of fittings",),
}
"""What a reader knows the cost by, and the ledger's items in it."""


@dataclass(frozen=True, slots=True)
class EnglishMoney(EnglishYears):
    """Sentences on the ledger of a plan."""

    catalog: Catalog

    @property
    def machines(self) -> EnglishMachines:
        """What is said of machines and whoever drives them."""
        return EnglishMachines(self.units, self.catalog)

    def headline(self, plan: Plan, ledger: Ledger) -> str:
        """Where to rip, at what cost, and whether it pays, with what else has to be known: `answer` in one text."""
        return " ".join(self.answer(plan, ledger))

    def answer(self, plan: Plan, ledger: Ledger) -> Sequence[str]:
        """Where to rip, at what cost and whether it pays, for the grower first; then what else has to be known."""
        units, ours = self.units, ledger.strategies.iloc[0]
        shown = shown_quantities(plan.zones, ledger.lines, units)["area_ha"].to_numpy()
        total_ha, ripped_ha = shown.sum(), float(ours["ripped_ha"])
        wait = "Wait: the soil is too wet, the tines would smear it. Once it has dried: " if plan.too_wet else ""
        again = ""
        if ledger.open_ha >= LEAST_HA:
            again = f"{units.area(ledger.open_ha)} could go either way: {WOULD_TELL.get(ledger.open_by, DECIDES)}."
            again = again.format(driver=ledger.open_by)
        if ripped_ha <= 0:
            first, other = self._nothing_ripped(plan, ledger, total_ha)
            return first, *filter(None, (other, self._if_ripped(ledger.strategies), again))
        ground = plan.zones[plan.zones["kind"] == "ground"]
        left_ha = shown[((plan.zones["kind"] == "ground") & (plan.zones["depth_mm"] <= 0)).to_numpy()].sum()
        leave = f", leave {units.area(left_ha)}" if left_ha >= LEAST_HA else ""
        lines = ledger.lines
        spread = lines.loc[(lines["zone"] == "total") & (lines["item"] == "amendments"), "amount"].sum()
        also = f" (and {units.per_area(spread / ripped_ha)} of lime and gypsum)" if spread > 0 else ""
        area = f"{units.area(ripped_ha, bare=True)} of {units.area(total_ha)}"
        work = f"{units.hours(ledger.hours)} ({self._days(ledger)}) and {units.fuel(float(ours['fuel_l']))}"
        first = (
            f"{wait}Rip {area} in {self._depths(ground)}{leave}: "
            f"about {units.per_area(ours['cost'] / ripped_ha)}{also}, {work}; {self._outcome(ours, ledger.seasons)}."
        )
        contractor, moist = self._by_contractor(ledger), self._more_when_moist(plan)
        cautions = EnglishGround(units, self.catalog).cautions(plan.conditions)
        return first, *filter(None, (again, self.machines.cash(ledger.ways), contractor, moist, *cautions))

    def hiring(self, hiring: Hiring | None) -> str:
        """Own machine against a contractor, "" where no rate is known or the own machine is surely cheaper."""
        if hiring is None:
            return ""
        money = self.units.per_area
        if hiring.cheaper is Cheaper.CONTRACTOR:
            verdict = f"hiring saves {self.units.span(hiring.low, hiring.high)} {self.units.money_per_area}"
        else:
            dearer, cheaper = money(-hiring.low), money(hiring.high)
            verdict = f"which is cheaper cannot be told (hiring: {dearer} dearer to {cheaper} cheaper)"
        return (
            f"The same work costs about {money(hiring.own)} with your own machine and {money(hiring.hired)} by a "
            f"contractor{_doubted(hiring)}: {verdict}; {money(hiring.owning)} of your own is for owning it, and is "
            "paid whether it works here or not."
        )

    def moves_most(self, drivers: pd.DataFrame) -> str:
        """What the doubt about the return comes from most; `drivers` of the ledger, "" where there are none."""
        if drivers.empty:
            return ""
        (first, share), *others = drivers[["input", "share"]].itertuples(index=False, name=None)
        second = f", then {self.label(others[0][0])}, {self.units.share(others[0][1])}" if others else ""
        return (
            f"What moves the answer most: {self.label(first)}, {self.units.share(share)} of the doubt about the "
            f"return{second}."
        )

    def made_of(self, ledger: Ledger) -> str:
        """What the cost per area is made of and how the machines are charged; "" where nothing is ripped."""
        total = ledger.lines[ledger.lines["zone"] == "total"].set_index("item")
        if "cost" not in total.index:
            return ""
        per_ha = total["amount"].astype(float) / float(total["quantity"]["cost"])
        sums = {name: float(per_ha.reindex(list(items)).sum()) for name, items in PARTS.items()}
        step = 1.0 / float(self.units.per_area_of(1.0))
        shown = zip(sums, rounded_parts(np.array(list(sums.values())), step), strict=True)
        parts = ", ".join(f"{self.units.per_area(cost)} {name}" for name, cost in shown if sums[name] > 0.0)
        used = (one.hours_per_year.value for one in (self.catalog.tractor, self.catalog.ripper))
        tractor, ripper = (self.units.quantity(hours, 0, "h") for hours in used)
        return (
            f"The cost of {self.units.per_area(float(per_ha['cost']))} is {parts}. Owning is charged as for a "
            f"tractor used {tractor} a year and a ripper used {ripper} a year: used less, they cost more."
        )

    def ways(self, ways: Sequence[WaySum]) -> pd.DataFrame:
        """Table of the ways to have the work done, one row each."""
        return self.machines.ways(ways)

    def machine_table(self, rows: Sequence[MachineRow]) -> pd.DataFrame:
        """Table of the present machine and others, one row each."""
        return self.machines.machines(rows)

    def best_machine(self, rows: Sequence[MachineRow]) -> str:
        """Which machine returns most, and how sure that is."""
        return self.machines.best(rows)

    def strategies(self, strategies: pd.DataFrame) -> pd.DataFrame:
        """Table of the strategies, one row each."""
        units = self.units
        rows = [
            {
                "strategy": self.label(row["strategy"]),
                "depth": units.depth(row["depth_mm"]) if row["depth_mm"] > 0 else MISSING,
                "ripped": units.area(row["ripped_ha"]),
                "cost": row["cost"],
                "fuel": units.fuel(row["fuel_l"]),
                "time": units.hours(row["hours"]),
                "benefit": row["benefit"],
                "return": row["net"],
                "likely from": row["net_low"],
                "likely to": row["net_high"],
                "chance of a loss": units.share(row["loss_probability"]),
                "chance the plan beats it": units.share(row["worse_probability"]) if number else MISSING,
            }
            for number, row in enumerate(strategies.to_dict("records"))
        ]
        return pd.DataFrame(rows)

    def label(self, code: str) -> str:
        """Name of a strategy, of an item of the ledger, or of an input that is not known for sure."""
        return code  # the codes are plain English

    def _days(self, ledger: Ledger) -> str:
        """Working days, and how long each is."""
        days, hours = self.units.quantity(ledger.days, 1, "days"), ledger.hours / ledger.days
        return f"{days} of {self.units.quantity(hours, 2, 'h', trim=True)}"

    def _depths(self, ground: pd.DataFrame) -> str:
        depths = sorted({int(depth) for depth in ground["depth_mm"] if depth > 0})
        count = NUMBERS[len(depths)] if len(depths) < len(NUMBERS) else str(len(depths))
        *others, deepest = (self.units.depth(depth, bare=place < len(depths) - 1) for place, depth in enumerate(depths))
        if not others:
            return f"one depth ({deepest})"
        if len(depths) > LISTED_DEPTHS:
            return f"{count} depths ({others[0]} to {deepest})"
        return f"{count} depths ({', '.join(others)} and {deepest})"

    def _nothing_ripped(self, plan: Plan, ledger: Ledger, total_ha: float) -> tuple[str, str]:
        """That all ground is left, and for what, with the ground of each cause where there are several; other ways.

        That no depth pays is said only where no other way to have the work done pays either.
        """
        zones, area_of = EnglishZones(self.units, self.catalog), _areas(plan)
        area_ha, told, dry = dict[str, float](), dict[str, str](), False
        for reason in plan.reasons:
            if isinstance(reason.why, Left):
                cause, text = zones.cause(reason.why)
                if cause == NO_RETURN and self.machines.full_cost_only(ledger.ways):
                    text = AT_FULL_COST
                area_ha[cause] = area_ha.get(cause, 0.0) + area_of[reason.zone]
                told.setdefault(cause, text)
                dry = dry or cause == Limit.MOIST
        most = sorted(area_ha, key=lambda cause: -area_ha[cause])
        why = "; ".join(
            f"{told[one]} ({self.units.area(area_ha[one])})" if len(most) > 1 else told[one] for one in most
        )
        leave = f"{'Wait: leave' if dry else 'Leave'} all {self.units.area(total_ha)} unripped"
        pays = self.machines.full_cost_only(ledger.ways)
        other = self.machines.tried(ledger.ways) if pays or NO_RETURN in told else ""
        return f"{leave}: {why or NOTHING_PAYS}.", other

    def _more_when_moist(self, plan: Plan) -> str:
        """That ground is ripped shallower, or left, because it is not moist deep enough."""
        area_of, area_ha = _areas(plan), 0.0
        for reason in plan.reasons:
            held = None if isinstance(reason.why, Closed | CheckStrip) else reason.why.held_by
            if held is not None and held.limit is Limit.MOIST:
                area_ha += area_of[reason.zone]
        if area_ha < LEAST_HA:
            return ""
        return f"{self.units.area(area_ha)} are moist too little way down: after rain more could be ripped there."

    def _outcome(self, ours: pd.Series, seasons: tuple[float, float]) -> str:
        net, low, high = (ours[end] / ours["ripped_ha"] for end in ("net", "net_low", "net_high"))
        word = f"return {self.units.per_area(net)}" if net >= 0 else f"lose {self.units.per_area(-net)}"
        loss = f"chance of a loss {self.units.share(ours['loss_probability'])}"
        return f"expected to {word} over {_seasons(*seasons)} (likely range {self.units.span(low, high)}, {loss})"

    def _if_ripped(self, strategies: pd.DataFrame) -> str:
        """What ripping everything at the machine's usual depth would bring, beside leaving it all."""
        usual = strategies[strategies["strategy"] == Strategy.USUAL].iloc[0]
        if usual["ripped_ha"] <= 0:
            return ""
        net = usual["net"] / usual["ripped_ha"]
        word = "lose" if net < 0 else "return"
        ripping = f"Ripping {self.units.area(usual['ripped_ha'])} at {self.units.depth(usual['depth_mm'])}"
        return f"{ripping} would {word} about {self.units.per_area(abs(net))}."

    def _by_contractor(self, ledger: Ledger) -> str:
        hiring = ledger.hiring
        if hiring is None or hiring.cheaper is not Cheaper.CONTRACTOR:
            return ""
        return f"By a contractor, at about {self.units.per_area(hiring.hired)}{_doubted(hiring)}, it would cost less."


def _areas(plan: Plan) -> dict[int, float]:
    """Zone to its area, ha."""
    return dict(zip(plan.zones["zone"].tolist(), plan.zones["area_ha"].tolist(), strict=True))


def _seasons(fewest: float, most: float) -> str:
    words = [NUMBERS[int(n)] if n == int(n) and n < len(NUMBERS) else f"{n:g}" for n in (fewest, most)]
    return f"{words[1]} season{'s' if most > 1 else ''}" if fewest == most else f"{words[0]} to {words[1]} seasons"


def _doubted(hiring: Hiring) -> str:
    return "" if hiring.quoted else " (not a quote)"
