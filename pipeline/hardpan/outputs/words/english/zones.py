"""Why each zone is worked as it is, in words a grower reads aloud."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from hardpan.core.said import Measure, marked
from hardpan.outputs.words.english.limits import EnglishLimits
from hardpan.records.reasons import (
    Alternative,
    CheckStrip,
    Closed,
    Cover,
    Held,
    Left,
    Limit,
    Open,
    Opening,
    Reason,
    Ripped,
    Turn,
    Way,
)

CLAY_NEAR_MM = 100
"""Clay that begins so little below the working depth is told as what ends the gain."""

WELL_BELOW_MM = 50
"""A foot so far below the pan runs there for the ridge between tines."""

FITTED = "but the ripper is fitted for the rest of the paddock"
NOTHING_PAYS = "no depth is expected to pay here"

AT_FULL_COST = "at the full cost of your own machine no depth brings what it costs"

NO_RETURN = ""
"""Code of ground that is left for nothing but that."""

OTHER_WAYS = {Way.CASH: "at cash cost", Way.CONTRACTOR: "by a contractor", Way.STRONGER: "behind a larger tractor"}
"""How the work is done or counted, where it is not as in the plan."""

BETWEEN_SHARE = 0.9
"""A pan of which so much lies in broken soil breaks between the tines as well."""


@dataclass(frozen=True, slots=True)
class EnglishZones(EnglishLimits):
    """Sentences on the zones of a plan."""

    def reason(self, reason: Reason) -> str:
        """Why the zone is worked as it is, one sentence."""
        why = reason.why
        if isinstance(why, Closed):
            around = f", with {self._strip(why.kept_m)} kept around it" if why.kept_m > 0 else ""
            rise = f"; the tines rise within {self._strip(why.lift_m)} of it" if why.lift_m > 0 else ""
            return f"Not ripped: {why.name} is excluded{around}{rise}."
        if isinstance(why, CheckStrip):
            return f"Leave unripped: check strip {why.strip}, to compare with zone {why.beside} ripped beside it."
        if isinstance(why, Left):
            return f"Leave unripped: {self._why_left(why)}."
        return f"Rip to {self.units.depth(why.depth_mm)} with {self.setup(why.setup)}{self._why_ripped(why)}."

    def brief(self, reason: Reason) -> str:
        """The same, to follow the depth and the name of the set-up."""
        why = reason.why
        if isinstance(why, Ripped):
            return f"{self._why_ripped(why)}."
        if isinstance(why, Left):
            text = self._why_left(why)
            return f"{text[:1].upper()}{text[1:]}."
        return self.reason(reason)

    def runner_up(self, reason: Reason) -> str:
        """Next best choice, "" for an exclusion and a check strip."""
        if isinstance(reason.why, Closed | CheckStrip):
            return ""
        return "no other choice is open here" if reason.runner_up is None else self.option(reason.runner_up)

    def unmended(self, reason: Reason) -> str:
        """What ripping leaves unmended in the zone, one line."""
        left = {rule.constraint: marked(rule.not_fixed) for rule in self.catalog.rules}
        return "; ".join(dict.fromkeys(self.units.say(left[name]) for name in reason.unmended))

    def cause(self, why: Left) -> tuple[str, str]:
        """What ground is left for, as a code and as a clause."""
        if not why.responds:
            return why.soil_type, f"ripping is not expected to pay on {why.soil_type}"
        if no_pan := self._no_pan(why, on=""):
            return "no pan", no_pan
        held = why.held_by
        if held is not None:
            return held.limit, self.held(held)
        if why.cover is not None:
            return "cover", "no depth allowed passes below the pan on enough of it"
        return NO_RETURN, NOTHING_PAYS

    def _no_pan(self, why: Left, *, on: str) -> str:
        """That there is no pan `on` a share of the ground, "" where that is not why it is left."""
        if why.soft_to_mm is not None:
            end = self.units.rounded(why.soft_to_mm, Measure.DEPTH)
            return f"no pan was met, but half of the readings end above {end} and one may lie deeper"
        if why.cover is None or not why.covered:
            return ""
        return f"no pan is expected{on.format(self.units.share(why.cover.reached))}"

    def change(self, reason: Reason) -> str:
        """What would turn the choice, "" where nothing would."""
        change, why = reason.change, reason.why
        if isinstance(change, Turn):
            return self._turned(change, reason.runner_up)
        if not isinstance(why, Left):
            return ""
        opened = self._opened(change, why) if isinstance(change, Open) else ""
        return "; ".join(text for text in (opened, *self._other_ways(why)) if text)

    def _opened(self, change: Open, why: Left) -> str:
        if change.by is Opening.LIMIT and why.barred is not None:
            return self._without(why.barred)
        return {
            Opening.STRIP: "a test strip that shows a gain",
            Opening.DEEPER: "a ripper or limits that let the tines go deeper, "
            "or a smaller share to cover (least_cover_share)",
            Opening.SETUP: "fitting a second set-up for this ground (setups_per_paddock), or ripping it another time",
        }.get(change.by, self._gain_to_pay(change.needed_t_per_ha))

    def _other_ways(self, why: Left) -> Iterator[str]:
        """What would pay on ground that is left, if the work were done or counted in another way."""
        for way, best in why.elsewhere:
            money = self.units.per_area(best.gain_per_ha - best.cost_per_ha)
            yield f"{OTHER_WAYS[way]} {self.option(best)} would return about {money} more than it costs"

    def _why_ripped(self, why: Ripped) -> str:
        asked = f" ({why.credited_by})" if why.credited_by else ""
        told = f"{self._limited(why)}{self._in_clay(why)}"
        return f"{asked}: {self._pan(why)}{told}, and {self._pays(why)}{self.machine(why.pull)}"

    def _in_clay(self, why: Ripped) -> str:
        """Chance of clay that is not to be brought up, "" where it rounds to nothing."""
        if why.clay_chance < 0.005:
            return ""
        return (
            f", with a chance of {self.units.share(why.clay_chance)} that a tine there is in clay that should stay down"
        )

    def _pan(self, why: Ripped) -> str:
        middle, low, high = (5 * round(edge / 5) for edge in why.bottom_mm)
        between = f"{self.units.depth(low, bare=True)} to {self.units.depth(high, bare=True)}"
        ends = f"ends at {self.units.depth(middle)} (likely {between})"
        if why.bottom_mm[0] > why.read_to_mm:
            ends = f"likely ends below {self.units.depth(why.read_to_mm)}, the deepest reading in a pan, at a depth not"
            ends = f"{ends} known (by what is usual {between})"
        if why.pan_probability < 0.8:
            return f"where there is a pan ({self.units.share(why.pan_probability)} of the ground) it {ends}"
        return f"the pan {ends}"

    def _limited(self, why: Ripped) -> str:
        """What held the depth, or why it stops short of the pan's bottom or goes well beyond it."""
        bottom_mm = why.bottom_mm[0]
        if why.held is not None:
            return f", {self.held(why.held)}"
        if why.clay_mm <= why.depth_mm + CLAY_NEAR_MM and bottom_mm > why.depth_mm:
            clay_mm = 10 * round(why.clay_mm / 10)
            return f", the clay, where nothing more is gained, begins at about {self.units.depth(clay_mm)}"
        if why.cover is not None:
            return ""
        if bottom_mm > why.depth_mm or why.deeper is not None:
            deeper = f", as {self.lacks(why.deeper)}" if why.deeper is not None else ""
            return f", going deeper costs more than it brings{deeper}"
        return self._below(why) if why.depth_mm > bottom_mm + WELL_BELOW_MM else ""

    def _below(self, why: Ripped) -> str:
        """Why the tines run well below the pan."""
        if why.loosened >= BETWEEN_SHARE:
            return ", the tines run below it so that it breaks between them as well"
        return f", the tines run below it, which still breaks more of it ({self.units.share(why.loosened)} in all)"

    def _pays(self, why: Ripped) -> str:
        money = self.units.per_area(abs(why.net_per_ha))
        if why.cover is None:
            part = f"{self.units.share(why.loosened)} of it" if why.bottom_mm[0] > why.depth_mm else "it"
            return f"breaking {part} returns about {money} more than it costs"
        cover = why.cover
        short = f" (short of the {self.units.share(cover.asked)} asked for)" if cover.reached < cover.asked else ""
        pays, than = ("returns", "costs") if why.net_per_ha >= 0 else ("costs", "returns")
        below = f"this depth passes below it on {self.units.share(cover.reached)} of the ground{short}"
        return f"{below} and {pays} about {money} more than it {than}"

    def _why_left(self, why: Left) -> str:
        if not why.responds:
            soil = self.catalog.soils.get(why.soil_type)
            note = f" ({soil.note})" if soil is not None and soil.note else ""
            return f"ripping is not expected to pay on {why.soil_type}{note}"
        if no_pan := self._no_pan(why, on=" on {} of it"):
            return no_pan
        if why.best is None:
            end = f", and {self.held(why.shallowest)}" if why.shallowest is not None else ""
            return f"{'' if why.barred is None else self.held(why.barred)}{end}"
        if why.cover is not None:
            return self._short(why.cover, why.best, why.barred)
        loss = self._loss(why, why.best)
        if why.pan_probability < 0.5:
            return f"a pan is expected on only {self.units.share(why.pan_probability)} of it, and {loss}"
        return loss

    def _short(self, cover: Cover, best: Alternative, barred: Held | None) -> str:
        """What keeps the tines from passing below the pan on enough ground."""
        if barred is not None:
            other = (
                "another would pass below the pan" if cover.otherwise else "no other passes below it on enough ground"
            )
            return f"{self._barred(barred)}; {other}"
        told = f"no depth allowed passes below the pan on more than {self.units.share(cover.reachable)} of it"
        if best.held is not None:
            told += f"; {self.held(best.held)}"
        return f"{told}; another set-up would, {FITTED}" if cover.otherwise else told

    def _barred(self, barred: Held) -> str:
        return f"the set-up of the rest of the paddock is barred ({self.held(barred)})"

    def _loss(self, why: Left, best: Alternative) -> str:
        """What the best depth would cost and bring."""
        even = "" if best.gain_per_ha > best.cost_per_ha else "even "
        money = f"would cost about {self.units.per_area(best.cost_per_ha)} and {self._brings(best.gain_per_ha)}"
        loss = f"{even}the depth that returns most, {self.option(best)}, {money}"
        if best.held is not None:
            loss += f"; {self.held(best.held)}"
        if why.barred is not None:
            return f"{self._barred(why.barred)}; with another, {loss}"
        if why.other_pays:
            return f"{loss}; another set-up would pay, {FITTED}"
        return loss

    def _brings(self, gain_per_ha: float) -> str:
        gain = round(self.units.per_area_of(gain_per_ha))
        if gain == 0:
            return "bring nothing"
        money = self.units.per_area(abs(gain_per_ha))
        return f"bring {money}" if gain > 0 else f"take {money} of grain"

    def _turned(self, turn: Turn, runner_up: Alternative | None) -> str:
        loss = self._gain_to_pay(turn.needed_t_per_ha)
        if turn.pays:
            needed = self.units.write(turn.needed_t_per_ha, Measure.YIELD, 2)
            loss = f"a first-season gain below {needed} would make it a loss"
        if runner_up is None:
            return loss
        other = self.option(runner_up)
        if math.isnan(turn.bottom_mm):
            odds = f"{other} has a {self.units.share(turn.better_share)} chance of returning more"
            return f"{loss}; {odds}" if round(100 * turn.better_share) else loss
        side = "below" if turn.deeper else "above"
        more = f"{turn.probes} more probe{'s' if turn.probes > 1 else ''} here would tell"
        bottom = self.units.near_depth(turn.bottom_mm)
        return f"a pan bottom {side} {bottom} would favour {other} ({more}); {loss}"

    def _gain_to_pay(self, needed_t_per_ha: float) -> str:
        if math.isinf(needed_t_per_ha):
            return "no gain of the first season that can be expected would make ripping pay"
        needed = self.units.write(needed_t_per_ha, Measure.YIELD, 2)
        return f"a first-season gain above {needed} would make ripping pay"

    def _without(self, barred: Held) -> str:
        """What would open ground on which a limit bars every depth."""
        return {
            Limit.CLAY: "clay found deeper than the map and the cores say",
            Limit.REACH: "clay found shallower than the map and the cores say",
            Limit.MOIST: "soil found moist to the working depth",
            Limit.RULE: f"a set-up that {barred.name} does not forbid",
        }.get(barred.limit, "a machine without that limit")

    def _strip(self, kept_m: float) -> str:
        return self.units.write(kept_m, Measure.DISTANCE, None)
