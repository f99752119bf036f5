"""What is known of pan, map and moisture, in words."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hardpan.core.said import Measure
from hardpan.outputs.words.english.set_up import EnglishSetUp
from hardpan.records.advice import CountReason, Known, MapVerdict, Verdict
from hardpan.records.pan import Seen

VARIABLES = {"pan": "presence", "peak": "strength (peak)"}
"""Mapped variables whose code is no name."""

SEEN = {
    Seen.CLOSED: "Hard from {top} to {bottom}, soft below",
    Seen.REFUSAL: "Hard from {top}, refused at {reached}: the bottom is deeper",
    Seen.LIMIT: "Hard from {top}, at the device's limit at {reached}: the bottom is deeper",
    Seen.STILL_HARD: "Hard from {top} and still hard at the last reading, {reached}: the bottom is deeper",
    Seen.TOO_DEEP: "First hard at {layer}, below a ripper's reach",
    Seen.SOFT: "No hard layer down to {reached}",
    Seen.SHALLOW: "Read to {reached}, not below the depth of a crust",
    Seen.STONE: "Refused at {reached} straight from soft ground, as on a stone: nothing is known below",
    Seen.SHORT: "No hard layer down to {reached}, where it ends: nothing is known below",
    Seen.MARGINAL: "No hard layer down to {reached}: from {layer} it reads at or above the threshold, too thin or"
    " too little above it for one",
}
"""What an insertion says of the pan."""

NO_DEPTH = {
    Known.NOT_RIPPED: "nothing is ripped here, so there is nothing to wait for",
    Known.HAND_TEST: "the hand test at working depth says too wet: it would smear; let it dry",
    Known.PERCHED: "by the weather water stands on the clay: let it drain, then roll soil from the working depth",
    Known.OPEN: "the weather given leaves open how wet the soil was at first, or what fell on days it lacks: dig to "
    "the working depth and roll the soil between the hands",
    Known.NOT_GIVEN: "no moisture was given: dig to the working depth and roll the soil between the hands",
    Known.REPELLENT: "rain wets a repellent topsoil unevenly: dig to the working depth in several places",
}
"""What is said where it is not known, or not asked, how deep the soil is moist."""


@dataclass(frozen=True, slots=True)
class EnglishGround(EnglishSetUp):
    """Sentences on the ground and on the work in it."""

    def seen(self, pan: Mapping[str, object]) -> str:
        """What one insertion says of the pan; `pan` is a row of `PanFeatures.insertions`."""
        depths = {name: float(pan[f"{name}_mm"]) for name in ("top", "bottom", "reached", "layer", "next")}  # type: ignore[arg-type]
        if pan["seen"] != Seen.CLOSED:
            depths["bottom"] = math.nan
        hard_again = "" if math.isnan(depths["next"]) else f"; hard again from {self.units.depth(depths['next'])}"
        told = {
            name: self._depth(one, bare=name == "top" and pan["seen"] == Seen.CLOSED) for name, one in depths.items()
        }
        return f"{SEEN[Seen(str(pan['seen']))].format(**told)}{hard_again}."

    def map_verdict(self, verdict: MapVerdict | None) -> str:
        """Is the map of the bottom better than plain yardsticks, and would more probes help; None: no pan was met."""
        if verdict is None:
            return "No insertion met a pan, so there is nothing to map but its absence."
        if not math.isnan(verdict.unseen_mm):
            deepest, sd = self.units.depth(verdict.unseen_mm), self.units.depth(verdict.sd_mm)
            return (
                f"No insertion saw the bottom of the pan, so its depth below {deepest}, the deepest reading in it, is"
                " not known: it is mapped a usual thickness below the top, or below what was read where that is deeper,"
                f" with a standard deviation of {sd}. More sites help only where the probe comes through: probe moist"
                " soil, or with a probe that reaches deeper."
            )
        better = f"forecasts a site left out {self.units.share(verdict.gain)} better than the best plain yardstick"
        level = f"is no better than a plain yardstick ({verdict.yardstick}) at a site left out"
        compared = f"{better} ({verdict.yardstick})" if verdict.better else level
        said = f"The map of the pan's bottom {compared}. {self._more_probes(verdict)}"
        if not verdict.unread_share:
            return said
        deepest = self.units.depth(verdict.deepest_mm)
        return (
            f"{said} Over {self.units.share(verdict.unread_share)} of the paddock it goes deeper than {deepest}, the"
            " deepest reading in a pan: there its depth below that is not known, only what is usual of a pan."
        )

    def plain_map(self, variable: str, yardstick: str, *, near: bool) -> str:
        """A map that forecasts worse than a plain yardstick; `near`: at sites left out one by one, else in blocks."""
        where = "at a site left out" if near else "away from the sites"
        return (
            f"The map of the pan's {VARIABLES.get(variable, variable)} is worse than a plain yardstick ({yardstick}) "
            f"{where}: do not read much into its pattern there."
        )

    def model(self, row: Mapping[str, object]) -> str:
        """What a fitted model says of how far alike ground reaches; `row` of `Surfaces.models`."""
        if row["family"] == "none":
            return "no spatial structure fitted: mean of the soil type"
        if not row["identified"]:
            return "the range is not identified; maps average over those that are possible"
        number = {name: float(row[name]) for name in ("sill", "micro", "range_m", "ratio", "heading_deg")}  # type: ignore[arg-type]
        short, short_m = float(row["short_share"]), float(row["short_range_m"])  # type: ignore[arg-type]
        mean = math.sqrt(number["ratio"])
        share = 100.0 * number["sill"] / (number["sill"] + number["micro"])
        words = f"{share:.0f} % of the field's variance fades over {self._distance(mean * number['range_m'])}"
        words += ", the rest within a site"
        if number["ratio"] < 1:
            words += f"; {1 / number['ratio']:.1f} times farther along {number['heading_deg']:.0f}° than across"
        if short > 0:
            words += f"; {100.0 * short:.0f} % of it within {self._distance(mean * short_m)}"
        return words

    def count(self, reason: CountReason) -> str:
        """Why the paddock is divided into so many classes."""
        classes = "1 class is" if reason.classes == 1 else f"{reason.classes} classes are"
        text = f"{classes} expected to be worth {reason.net_gain:,.0f} more than one depth everywhere"
        least = (
            f"Pieces are at least {self.units.area(reason.least_ha, 2)} and {self._distance(reason.least_m)} across."
        )
        if reason.joined:
            ones = "zone is" if reason.joined == 1 else "zones are"
            least += (
                f" {reason.joined} {ones} worked as the ground beside, on the same soil type, and one zone with it."
            )
        if reason.given:
            return f"{text}; the number was set. {least}"
        if math.isnan(reason.further_loss):
            return f"{text}; more were not tried. {least}"
        costs = f"it costs {reason.zone_cost:,.0f} in setting and turning"
        return f"{text}; a further one would lower that by {reason.further_loss:,.0f} ({costs}). {least}"

    def moisture(self, row: Mapping[str, object]) -> str:
        """Why the verdict on moisture is what it is; `row` of `Plan.moisture`."""
        verdict, known = Verdict(str(row["verdict"])), Known(str(row["known"]))
        if known in NO_DEPTH:
            return NO_DEPTH[known]
        number = {name: float(row[name]) for name in ("depth_mm", "moist_depth_mm", "rain_needed_mm", "rain_mm")}  # type: ignore[arg-type]
        how = "dug or probed"
        if known is Known.RAIN:
            rain = self.units.write(number["rain_mm"], Measure.RAIN, None)
            how = f"reckoned from {rain} of rain without evaporation, so at best"
        if known in {Known.WEATHER, Known.DRAINING}:
            how = "reckoned from daily rain and evaporation"
        moist = f"moist to {self.units.depth(number['moist_depth_mm'])} ({how})"
        if known is Known.DRAINING:
            return f"{moist}; water still moves through it: let it drain"
        if verdict is Verdict.READY:
            return f"{moist}; still roll soil from the working depth: a {self.units.thread(3)} roll means too wet"
        more = f"about {self.units.rain(number['rain_needed_mm'])} more rain, more where it dries"
        if verdict is Verdict.TOO_DRY:
            moist = f"no rain is left below the surface ({how})"
            return f"{moist}; {more} to be moist to {self.units.depth(number['depth_mm'])}"
        dry = "dry soil below pulls harder and comes up in clods"
        return f"{moist} of {self.units.depth(number['depth_mm'])}: {more}; {dry}"

    def draft(self, machine: pd.DataFrame) -> str:
        """What of the draft is the published equation and what is this tool's own, "" where nothing is ripped."""
        if machine.empty:
            return ""
        effort, units = self.catalog.effort, self.units
        hardest = machine.iloc[int(machine["draft_kn"].argmax())]
        ours = f"with the power {effort.depth_exponent.value:g} of depth from {units.depth(effort.anchor_depth.value)}"
        if effort.strength_exponent is not None and effort.reference_strength is not None:
            strength = units.strength(effort.reference_strength.value)
            ours += f", the power {effort.strength_exponent.value:g} of the pan's peak over {strength}"
        equation, counted = (units.rounded(float(hardest[name]), Measure.FORCE) for name in ("equation_kn", "draft_kn"))
        return (
            "ASABE D497 gives the draft of a subsoiler's tines in proportion to depth, whatever the strength of the "
            f"soil: that is the equation in the table. This plan's draft is D497 moved {ours}, times what the set-up "
            "takes over its row and, where a pass was measured, by that; these are ours, not the standard's, and each "
            f"is drawn over its range. In zone {hardest['zone']:.0f} the equation gives {equation}, this plan counts "
            f"{counted}."
        )

    def verdict(self, verdict: str) -> str:
        """Name of a verdict on moisture."""
        return verdict  # the codes are plain English

    def _more_probes(self, verdict: MapVerdict) -> str:
        now, asked = self.units.depth(verdict.sd_mm), self.units.depth(verdict.asked_mm)
        over = f"Its standard deviation is {now} over the paddock"
        if verdict.sd_mm <= verdict.asked_mm:
            return f"{over}, within the {asked} asked for."
        reached = self.units.depth(verdict.reached_mm)
        if verdict.reached_mm > verdict.asked_mm:
            return f"{over}; {verdict.more_sites} more sites would bring {reached}, not the {asked} asked for."
        sites = "site" if verdict.more_sites == 1 else "sites"
        return f"{over}; about {verdict.more_sites} more {sites} would bring it to {asked}."

    def _depth(self, depth_mm: float, *, bare: bool = False) -> str:
        return self.units.depth(depth_mm, bare=bare) if np.isfinite(depth_mm) else ""

    def _distance(self, distance_m: float) -> str:
        return self.units.write(distance_m, Measure.DISTANCE)
