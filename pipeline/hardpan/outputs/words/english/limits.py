"""What bounds a depth, a pass and the years until the next one, in words."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.units import Units
from hardpan.records.advice import NextDepth
from hardpan.records.catalog import Catalog
from hardpan.records.reasons import MACHINE_LIMITS, Alternative, Held, Limit, Pull

LIMITS = {
    Limit.POWER: "engine power",
    Limit.TINE: "the break-out rating of a tine",
    Limit.FRAME: "the draft rating of the frame",
    Limit.GRIP: "the tractor's grip",
    Limit.SPEED: "the speed window",
}
"""What a pass can be short of."""


RESPONSES = {
    "break_even_t_per_ha": ("extra grain that pays the cost", Measure.YIELD, 2),
    "gain_t_per_ha": ("gain expected in the first season", Measure.YIELD, 2),
    "break_even_first_year_t_per_ha": ("gain in the first season that just pays", Measure.YIELD, 2),
    "lime_removed_kg_per_ha": ("lime the extra grain takes off", Measure.SPREAD, 1),
}
"""Column of the ledger to its heading, and how its numbers are written."""


@dataclass(frozen=True, slots=True)
class EnglishLimits:
    """Clauses on depths, set-ups and what limits them."""

    units: Units
    catalog: Catalog

    def setup(self, key: str) -> str:
        """Name of a set-up."""
        return self.catalog.setups[key].says if key in self.catalog.setups else key

    def option(self, option: Alternative) -> str:
        """Depth and set-up."""
        if option.depth_mm <= 0:
            return "leaving it unripped"
        return f"{self.units.depth(option.depth_mm)} with {self.setup(option.setup)}"

    def limit(self, limit: Limit) -> str:
        """What a pass is short of, without a figure."""
        return LIMITS.get(limit, limit.value)

    def held(self, held: Held) -> str:
        """What a limit forbids, a clause with its figure."""
        limit, from_mm = held.limit, f"forbids {self.units.depth(held.from_mm)} and deeper"
        if limit in MACHINE_LIMITS:
            return f"{self._short_of(held)} {from_mm}{self._enough(held)}"
        if limit is Limit.CLAY:
            kept = f" (kept {self.units.depth(held.kept_mm)} above)" if held.kept_mm else ""
            near = f"above {self.units.depth(held.value)} on {self.units.share(held.share)} of the zone"
            where = near if held.share else f"from {self.units.depth(held.value)}"
            return f"{self._clay(held.name)} {where}{kept} {from_mm}"
        end = self.units.write(held.value, Measure.DEPTH, None)
        return {
            Limit.RIPPER_DEEPEST: f"the ripper goes no deeper than {end}",
            Limit.RIPPER_SHALLOWEST: f"the ripper goes no shallower than {end}",
            Limit.SETUP_DEEPEST: f"{self.setup(held.name)} go no deeper than {end}",
            Limit.SETUP_SHALLOWEST: f"{self.setup(held.name)} go no shallower than {end}",
            Limit.MOIST: f"the soil is moist to only {self.units.depth(held.value)}",
            Limit.REACH: f"{self.setup(held.name)} do not reach far enough into the clay",
            Limit.RULE: f"{held.name} forbids {self.setup(held.setup)}",
            Limit.RESPONSE: f"{held.name} is not expected to respond",
            Limit.EXCLUSION: "excluded",
        }.get(limit, self.limit(limit))

    def machine(self, pull: Pull) -> str:
        """What the machine cannot do in one pass, with all tines and at full speed, "" where it can."""
        short = self._short_of(pull.short_of)
        if pull.passes > 1:
            return f"; in two passes, because {short} does not allow it in one{self._enough(pull.short_of)}"
        if pull.tines < pull.all_tines and pull.whole:
            return f"; with {pull.tines} of {pull.all_tines} tines, as the whole paddock"
        if pull.tines < pull.all_tines:
            more = f"allows no more{self._enough(pull.short_of)}"
            return f"; with {pull.tines} of {pull.all_tines} tines, because {short} {more}"
        if not math.isnan(pull.slow_kmh):
            speed = self.units.write(pull.slow_kmh, Measure.SPEED, None)
            return f"; at {speed}, because {short} allows no faster"
        return ""

    def lacks(self, pull: Pull) -> str:
        """What a deeper pass would be short of."""
        short = self._short_of(pull.short_of)
        return f"{short} asks for two passes from {self.units.depth(pull.from_mm)} on{self._enough(pull.short_of)}"

    def _short_of(self, held: Held) -> str:
        name = self.limit(held.limit)
        if held.limit not in MACHINE_LIMITS:
            return name
        measure, more = (Measure.POWER, " usable") if held.limit is Limit.POWER else (Measure.FORCE, "")
        return f"{name} ({self.units.rounded(held.value, measure)}{more})"

    def _enough(self, held: Held) -> str:
        """The tractor that would do, "" where that is not what is lacking."""
        if math.isnan(held.enough_kw):
            return ""
        power = self.units.write(held.enough_kw, Measure.POWER)
        grip = f" and {self.units.write(held.enough_kg, Measure.MASS)}" if held.limit is Limit.GRIP else ""
        return f" (a tractor of about {power}{grip} would do with all tines)"

    def _clay(self, constraint: str) -> str:
        names = {rule.constraint: rule.clay for rule in self.catalog.rules}
        return names.get(constraint) or "hostile clay"


@dataclass(frozen=True, slots=True)
class EnglishYears:
    """Sentences on what ripping comes to over the years, and on the next pass."""

    units: Units

    def investment(self, investment: pd.DataFrame) -> pd.DataFrame:
        """Table of present value, payback and break-even response, one row a ripped zone and the total."""
        paid = investment["payback_seasons"]
        told = {
            "zone": investment["zone"],
            "return": [self.units.per_area(one) for one in investment["npv_per_ha"]],
            "paid back after": [f"{one:.1f} seasons" if np.isfinite(one) else "never" for one in paid],
        }
        for name, (heading, measure, decimals) in RESPONSES.items():
            told[heading] = [self.units.write(one, measure, decimals) for one in investment[name]]
        return pd.DataFrame(told)

    def when_again(self, when_again: pd.DataFrame) -> pd.DataFrame:
        """Table of the next ripping, one row a ripped zone."""
        rows = [
            {
                "zone": row["zone"],
                "after seasons": seasons_span(row["seasons_low"], row["seasons_high"]),
                "depth then": self.units.depth(row["depth_mm"]),
                "costs more then": row["costs_rise"],
                "why": self.again(row),
            }
            for _, row in when_again.iterrows()
        ]
        return pd.DataFrame(rows, columns=["zone", "after seasons", "depth then", "costs more then", "why"])

    def again(self, row: pd.Series) -> str:
        """Why a zone is due when it is, and as deep; `row` of `Ledger.when_again`."""
        traffic = "with wheels on tramlines" if row["controlled_traffic"] else "driven on anywhere"
        until = seasons_span(row["seasons_low"], row["seasons_high"])
        lasts = f"On {row['soil_type']}, {traffic}, loosening lasts {until} seasons"
        if not math.isnan(row["between_mm"]):
            lasts = f"On {row['soil_type']}, {traffic}, the next deep pass is due after {until} seasons"
        return f"{lasts}; {self._next_depth(row)}.{self._between(row)}{self._last_pass(row)}"

    def _next_depth(self, row: pd.Series) -> str:
        if row["next_depth"] == NextDepth.DEEPER:
            harder = f"{100.0 * row['draft_low']:.0f} to {100.0 * row['draft_high']:.0f} % harder"
            deeper = self.units.depth(row["deeper_mm"])
            return f"only dry soil kept this pass short of the pan: the next goes {deeper} deeper and pulls {harder}"
        why = {
            NextDepth.BROKEN: "this pass gets below the pan",
            NextDepth.COST: "breaking what lies deeper costs more than it brings",
            NextDepth.RIPPER: f"{self.units.depth(row['deepest_mm'])} is all the ripper and its set-up can do",
        }
        held = LIMITS.get(row["limit"], row["limit"])
        return f"then no deeper, {why.get(row['next_depth'], f'held by {held}')}"

    def _between(self, row: pd.Series) -> str:
        if math.isnan(row["between_mm"]):
            return ""
        left = self.units.per_area(row["between_per_ha"])
        return (
            f" A pass at {self.units.depth(row['between_mm'])} after {row['between_seasons']:g} seasons, which mends "
            f"what wheels packed again, leaves about {left}."
        )

    def _last_pass(self, row: pd.Series) -> str:
        if math.isnan(row["last_ripped"]):
            return ""
        when = f"in {row['last_ripped']:.0f}"
        if not math.isnan(row["seasons_since"]):
            when = f"{row['seasons_since']:.0f} seasons ago, {when}"
        to = row["last_depth_mm"]
        depth = "" if math.isnan(to) else f", and went to {self.units.depth(to)}"
        return f" The last pass was {when}{depth}."


def seasons_span(low: float, high: float) -> str:
    """Seasons from low to high in figures."""
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"
