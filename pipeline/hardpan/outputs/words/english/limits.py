"""What bounds a depth or a pass, in words."""

import math
from dataclasses import dataclass

from hardpan.core.said import Measure
from hardpan.outputs.words.units import Units
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
            near = f"above {self.units.depth(held.value)} on {held.share:.0%} of the zone"
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
