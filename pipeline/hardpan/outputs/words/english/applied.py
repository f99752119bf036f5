"""What is said of a machine's log beside the plan."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.english.labels import zone_names
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.applied import Applied, AppliedAs, Lag, LogRule, Observed

LABELS = {
    "title": "As the machine logged it",
    "map": "Ground by what became of it. {alt}",
    "left": "left, as planned",
    "caption": "Planned and logged; depth is the mean over worked ground with its 5 and 95 % points in brackets. Hours "
    "and fuel of a zone are those on its own ground, of all those of the whole log; standing is left out.",
    "zone": "Zone",
    "all": "All",
    "planned": "Planned",
    "logged": "Logged depth",
    "speed": "Speed / planned",
    "hours": "Hours / planned",
    "fuel": "Fuel / planned",
    "rules": "What was taken out of the log",
    "rules_caption": "Records by the rule that took them, in the order of the rules.",
    "rule": "Rule",
    "records": "Records",
    "kept": "used",
    "next": "For the next run",
    "next_says": "These lines, also in observed.toml, tell the next run what this pass took:",
    "doubts": "What could be wrong with the log",
}

_OUTCOMES = {
    AppliedAs.WITHIN: "as planned",
    AppliedAs.SHALLOW: "too shallow",
    AppliedAs.DEEP: "too deep",
    AppliedAs.NOT_MEASURED: "worked, depth not measured",
    AppliedAs.NOT_WORKED: "not worked",
}

_RULES = {
    LogRule.NO_FIX: "no fix",
    LogRule.JUMP: "position jumps",
    LogRule.OUTSIDE: "outside the paddock",
    LogRule.LIFTED: "tines lifted",
    LogRule.TURNING: "turning",
    LogRule.STANDING: "standing",
    LogRule.NOT_MEASURED: "in work, depth not measured",
}

_SOME_HA = 0.05
"""Less ground is not worth a word."""


@dataclass(frozen=True, slots=True)
class EnglishApplied:
    """Sentences on a machine's log."""

    units: Units

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading."""
        return LABELS[key].format(**parts)

    def outcome(self, one: AppliedAs) -> str:
        """What became of a piece of ground."""
        return _OUTCOMES[one]

    def rule(self, rule: str) -> str:
        """A rule of cleaning; "" is what is left."""
        return _RULES[LogRule(rule)] if rule else LABELS["kept"]

    def headline(self, applied: Applied) -> str:
        """Hectares as planned, too shallow, too deep and not worked, in one sentence."""
        row, step = applied.zones.iloc[0], self.units.depth(applied.step_mm)
        whole, unknown = float(row["area_ha"]), float(row["not_measured_ha"])
        told = whole - unknown - float(row["not_worked_ha"])
        area = self.units.area
        if told < _SOME_HA <= unknown:
            worked = area(unknown, bare=True)
            says = f"The machine's log: {worked} of {area(whole)} to rip were worked; it does not tell how deep."
        else:
            parts = [f"{area(row['within_ha'], bare=True)} of {area(whole)} within {step} of the plan"]
            parts += [
                f"{area(row[name])} {_OUTCOMES[one]}"
                for one, name in ((AppliedAs.SHALLOW, "shallow_ha"), (AppliedAs.DEEP, "deep_ha"),
                                  (AppliedAs.NOT_MEASURED, "not_measured_ha"), (AppliedAs.NOT_WORKED, "not_worked_ha"))
                if one is not AppliedAs.NOT_MEASURED or unknown >= _SOME_HA
            ]  # fmt: skip
            says = f"The machine's log: {', '.join(parts)}."
        left = self._ripped_though_left(applied.zones)
        return f"{says} {left}".strip()

    def _ripped_though_left(self, zones: pd.DataFrame) -> str:
        ripped = zones[(zones["planned_mm"] == 0) & (zones["deep_ha"] >= _SOME_HA)]
        if ripped.empty:
            return ""
        where = zone_names(list(ripped["zone"]))
        return f"{self.units.area(ripped['deep_ha'].sum())} that the plan leaves were ripped ({where})."

    def lag(self, lag: Lag | None) -> str:
        """How late depth follows at the borders of zones."""
        if lag is None:
            return "Too few borders between depths were driven over to tell how late the tines follow."
        spread = (
            f", {self.units.share(lag.level)} interval {lag.low:.1f} to {lag.high:.1f} s"
            if np.isfinite(lag.low)
            else ""
        )
        way = self.units.write(abs(lag.metres), Measure.DISTANCE, 1)
        when = "after" if lag.seconds >= 0 else "before"
        says = (
            f"The depth changes {abs(lag.seconds):.1f} s ({way}) {when} the border of a zone is passed (median of "
            f"{lag.borders} borders{spread})."
        )
        late = np.isfinite(lag.low) and lag.low > 0
        return f"{says} Let the display send the depth so much earlier." if late else says

    def work(self, applied: Applied) -> str:
        """Speed, hours and fuel of the whole log beside the plan."""
        row, units = applied.zones.iloc[0], self.units
        parts = [
            f"{units.hours(row['hours'])} with the tractor moving, planned {units.hours(row['planned_hours'])}"
            if np.isfinite(row["hours"])
            else "",
            f"{units.fuel(row['fuel_l'])} of fuel, planned {units.fuel(row['planned_fuel_l'])}"
            if np.isfinite(row["fuel_l"])
            else "",
            f"{units.speed(row['speed_kmh'])} in work" if np.isfinite(row["speed_kmh"]) else "",
        ]
        known = [part for part in parts if part]
        return f"The log holds {'; '.join(known)}." if known else "The log tells neither time nor fuel."

    def doubts(self, applied: Applied) -> Sequence[str]:
        """What could be wrong with the log."""
        row = applied.zones.iloc[0]
        said = [
            "The depth is what the machine's sensor says, often a hitch position: insertions say what the soil did."
        ]
        if np.isfinite(row["applied_mm"]):
            said.append(
                "Positions are those of the receiver: where it stands ahead of the tines, the lag holds that way too."
            )
        if row["not_measured_ha"] >= _SOME_HA:
            said.append(f"On {self.units.area(row['not_measured_ha'])} the ripper worked, but no depth was measured.")
        return said

    def observed(self, observed: Observed, setup: str) -> Sequence[str]:
        """Comment above the settings of the next run."""
        return (
            f"What the pass over {observed.worked_ha:.1f} ha with {setup} took ({zone_names(observed.zones)}),",
            "for the [machine] table of the next configuration. Where the ripper has several set-ups, the pass is",
            f'taken for one with the first of them, unless setup = "{observed.setup}" stands there too.',
        )

    def depths(self, mean: float, low: float, high: float) -> str:
        """A mean depth and the range around it."""
        if not np.isfinite(mean):
            return MISSING
        near = self.units.near_depth
        return f"{near(mean)} ({near(low)} to {near(high)})"

    def beside(self, logged: float, planned: float, measure: str) -> str:
        """A logged figure over the planned one; `measure` is speed, hours or fuel."""
        say = {"speed": self.units.speed, "hours": self.units.hours, "fuel": self.units.fuel}[measure]
        return f"{say(logged)} / {say(planned)}"
