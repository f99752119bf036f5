"""What is said of a pass that was probed afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hardpan.outputs.words.english.labels import either, zone_names
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.after import Change, Found, Judged, Mean, Position, Remedy, ZoneFound

LABELS = {
    "head": "After the rip:",
    "title": "After the rip: {name}",
    "verdicts": "Zone by zone",
    "caption": "What the insertions say; 90 % intervals in brackets, expected by the plan after the slash.",
    "zone": "Zone",
    "planned": "Planned",
    "verdict": "Pan",
    "line": "Loose on the line to",
    "midway": "Loose midway to",
    "opened": "Opened of what should be",
    "broken": "Broken of the whole pan",
    "insertions": "Insertions",
    "changes": "What to change",
    "doubts": "What could be wrong",
    "moisture": "Moisture between the two dates",
    "moisture_caption": "Cone index of unripped ground over that of the survey, with its 90 % interval.",
    "factor": "Factor",
    "controls": "Control sites",
    "map": "Zones by verdict; dots are insertions. {alt}",
    "unripped": "not ripped by the plan",
    "how": "How it was worked out",
    "remarks": "Remarks",
}

_METHOD = (
    "Readings after the pass are divided by the factor of moisture, the mean of unripped control sites over that of "
    "the survey on the same ground. A depth is open where it then reads below the threshold of the run. At each "
    "position the pan is looked at down to where the plan has the tines loosen the ground: midway that is the working "
    "depth less the ridge, and where the ridge reaches above the pan, the pan down to the working depth.",
    "Insertions of one site count once. The interval holds the spread between sites and where they lie in the zone, "
    "the spread of the ground before the pass, and the doubt about moisture. A pan is called broken only where the "
    "intervals on the line and midway both lie above 60 % open; on the line alone never, since every tine leaves "
    "loose ground there.",
)


_VERDICTS = {
    Judged.BROKEN: "broken",
    Judged.PARTLY: "partly",
    Judged.NOT_REACHED: "not reached",
    Judged.CANNOT_TELL: "cannot tell",
}

_TOLD = {Judged.PARTLY: "partly broken", Judged.CANNOT_TELL: "nobody can tell"}
"""Verdicts as a sentence has them, where they are not its words already."""

_REMEDIES = {Remedy.CLOSER: "set them closer", Remedy.WINGS: "fit wings", Remedy.LEADING: "fit shallow leading tines"}
_THINGS = {Remedy.CLOSER: "closer tines", Remedy.WINGS: "wings", Remedy.LEADING: "shallow leading tines"}

_URGENT = (
    Change.AGAIN, Change.DEEPER, Change.RIDGE, Change.CONTROLS, Change.MOISTURE, Change.MIDWAY, Change.LINE,
    Change.MORE,
)  # fmt: skip
"""What is told first."""


@dataclass(frozen=True, slots=True)
class EnglishAfter:
    """Sentences on a pass that was probed afterwards."""

    units: Units

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading."""
        return LABELS[key].format(**parts)

    def verdict(self, verdict: Judged) -> str:
        """A verdict, for a table."""
        return _VERDICTS[verdict]

    def method(self) -> Sequence[str]:
        """How verdicts come about."""
        return _METHOD

    def headline(self, found: Found) -> str:
        """The answer in one sentence, and what to do first."""
        parts = [
            f"{_TOLD.get(verdict, _VERDICTS[verdict])} in {zone_names(zones)}"
            for verdict in Judged
            if (zones := [one.zone for one in found.zones if one.verdict is verdict])
        ]
        rank = list(_URGENT)
        urgent = sorted((one for one in found.zones if one.change in rank), key=lambda one: rank.index(one.change))
        first = urgent[0] if urgent else None
        then = "" if first is None else f" First: zone {first.zone}, {_lower(self.advice(first))}"
        return f"The pan: {'; '.join(parts)}.{then}"

    def advice(self, one: ZoneFound) -> str:
        """What to change, or what is missing to tell."""
        midway = one.reached.get(Position.MIDWAY)
        line, depth = one.reached.get(Position.LINE), one.expected_mm[Position.LINE]
        short_mm = 0.0 if line is None else max(depth - line.value, 0.0)
        seen = "" if midway is None else f" (loose to {self.units.near_depth(midway.value)} midway)"
        return {
            Change.KEEP: "Keep depth, spacing and speed.",
            Change.RIDGE: f"Ridges of pan stay between the tines{seen}: "
            f"{either([*(_REMEDIES[remedy] for remedy in one.remedies), 'go deeper'])}.",
            Change.PLANNED_RIDGE: "As planned: broken below the tines, with ridges of pan between them. "
            + (
                f"Only {either([_THINGS[remedy] for remedy in one.remedies])} would open those."
                if one.remedies
                else "Nothing more that the ripper can be fitted with would open those."
            ),
            Change.DEEPER: f"The tines fell {self.units.near_depth(short_mm)} short of the plan: check what depth they "
            "hold at speed, and slow down or take tines off if the tractor cannot hold it.",
            Change.AGAIN: "Hardly anything was loosened: check depth and points, wait for moisture, and rip again.",
            Change.MIDWAY: "Probe midway between the tines too: on the line alone every pass looks good.",
            Change.LINE: "Probe on the line of a tine and midway between two.",
            Change.CONTROLS: "Probe two or more control sites on unripped ground on the same day, or give water "
            "contents: wetter soil reads as loose.",
            Change.MOISTURE: "The soil is not as moist as at the survey: probe control sites on unripped ground, or "
            "wait for like moisture.",
            Change.MORE: f"Probe {one.more} more sites, on the line and midway, to tell.",
            Change.NO_PAN: "Hardly any pan lay within reach of the tines here, so nothing shows whether they broke it.",
        }[one.change]

    def doubts(self, found: Found) -> Sequence[str]:
        """What could be wrong."""
        said = []
        factor = found.moisture.set_index("zone")["factor"]
        bare = [one.zone for one in found.zones if not np.isfinite(factor.loc[one.zone])]
        if bare:
            said.append(f"Nobody can tell moisture from loosening in {zone_names(bare)}.")
        table = found.moisture
        alike = table.loc[table["factor"].notna() & (table["controls"] == 0), "zone"].tolist()
        if alike:
            said.append(
                f"In {zone_names(alike)} no control was probed: the water contents are alike, and that is "
                "taken for like strength."
            )
        far = table.loc[(table["factor"] < 0.67) | (table["factor"] > 1.5), "zone"].tolist()
        if far:
            said.append(f"Moisture has changed much since the survey in {zone_names(far)}.")
        few = [one.zone for one in found.zones if 0 < min((m.sites for m in one.opened.values()), default=0) < 4]
        if few:
            said.append(f"Fewer than four sites were probed in {zone_names(few)}: the intervals are wide.")
        said.append("Insertions show strength, not whether the loose ground lasts: traffic and rain settle it again.")
        return said

    def range(self, mean: Mean | None, *, depth: bool = False) -> str:
        """A mean with its interval."""
        if mean is None:
            return MISSING
        say = self.units.near_depth if depth else self.share
        if not np.isfinite(mean.low):
            return f"{say(mean.value)} (one site)"
        return f"{say(mean.value)} ({say(mean.low)} to {say(mean.high)})"

    def share(self, value: float) -> str:
        """A share, within 0 and 1."""
        return self.units.share(float(np.clip(value, 0.0, 1.0)))

    def map(self, found: Found) -> str:
        """The map in words."""
        return " ".join(f"Zone {one.zone}: {_VERDICTS[one.verdict]}." for one in found.zones)


def _lower(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"
