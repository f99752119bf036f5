"""What report, job card, map and terminal say around the figures."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from hardpan.core.said import Amount, Measure, distance
from hardpan.outputs.words.english.labels import CHECKS, LABELS, zone_names
from hardpan.outputs.words.interface import Driven
from hardpan.outputs.words.units import MISSING, Units
from hardpan.records.catalog import Catalog
from hardpan.records.plan import UNRIPPED, Strips

TOLD_HA = 0.05
"""Less headland than this is not spoken of."""

CAUTIONS = (
    "This is not a clearance to dig. Ask the before-you-dig service for every paddock and look for private lines, "
    "drains and cables yourself; deep ripping may count as excavation where you are.",
    "Look up: folding and raised frames reach overhead lines.",
    "Keep people clear of a raised frame. Springs, shear bolts and hydraulics hold energy: lower, release and lock "
    "before working on points.",
    "Dust hides people and fatigue hides mistakes: stop when you cannot see or cannot think.",
    "Keep out of waterways; on slopes rip along the contour.",
    "Too wet, the foot smears and nothing shatters. Too dry, it brings up clods and burns fuel. Dig at working depth "
    "and test by hand before starting and when the ground changes.",
    "Loosened sand blows: keep cover, finish the surface, and do not rip more than can be covered this season.",
    "Decision support only. Local rules, the machine's manual and the judgement of an accredited adviser come first; "
    "try it in strips beside unripped ground before the whole paddock.",
)
"""What a prescription does not say."""

DEPTH_UNITS = {"cm": "centimetres", "mm": "millimetres", "in": "inches"}


@dataclass(frozen=True, slots=True)
class EnglishPage:
    """Labels, and what is said of the run as a whole."""

    units: Units

    def label(self, key: str, **parts: object) -> str:
        """A label, caption or heading; its parts are numbers, names and amounts."""
        told = {name: self.units.amount(part) if isinstance(part, Amount) else part for name, part in parts.items()}
        return LABELS[key].format(**told)

    def heading(self, name: str, unit: str) -> str:
        """Heading of a column: its name without the unit, and the unit."""
        words = " ".join(name.split("_"))
        if not unit:
            return words
        return f"{words} {unit}" if words.endswith(" per") else f"{words}, {unit}"

    def cautions(self) -> Sequence[str]:
        """What a prescription does not say."""
        return CAUTIONS

    def lost(self, depth_mm: float | None, *, buried: bool) -> str:
        """What happens without a position; `depth_mm` is that of the task data, None where there is none."""
        if depth_mm is None:
            return "Signal lost, or none yet: lift the tines and stop, whatever the display shows."
        asks = "lift the tines" + (", as services may be buried near" if buried else "")
        if depth_mm > 0:
            asks = f"go to {self.units.depth(depth_mm)}, the shallowest depth of the plan"
        does = f"the task data tells the machine to {asks}"
        return f"Signal lost, or none yet: {does}. Stop, and lift by hand if it does not."

    def checks(self, deepest_mm: float, lost: str, *, lift_m: float, change_m: float) -> Mapping[str, Sequence[str]]:
        """The job card's checks by time of day.

        `deepest_mm` is the deepest working depth, NaN: nothing is ripped; `lost` is what happens without a position;
        `lift_m` and `change_m` are driven while the tines rise out of the ground, and between two depths.
        """
        thread = self.units.thread
        told = {
            "depth": self.units.depth(deepest_mm),
            "lift": self.units.write(lift_m, Measure.DISTANCE),
            "change": self.units.write(change_m, Measure.DISTANCE),
            "thin": thread(3),
            "cracks": f"{thread(3, bare=True)} to {thread(5)}",
            "lost": lost,
        }
        return {title: [check.format(**told) for check in checks] for title, checks in CHECKS.items()}

    def depth_note(self) -> str:
        """In which unit depths stand on the card."""
        unit = DEPTH_UNITS[self.units.depth_unit]
        return (
            f"Depths are in {unit}, as on the display, from ground not yet ripped. Hatched ground: keep out, tines up. "
            "Run: bearing from true north along which the zone has the longest runs."
        )

    def made_for(self, catalog: Catalog, *, number: str, day: str) -> Sequence[tuple[str, str, str, str]]:
        """What the plan was made for, in two columns of labels and texts; `day` of the plan as year-month-day."""
        units, tractor, ripper = self.units, catalog.tractor, catalog.ripper
        power = units.write(tractor.engine_power.value, Measure.POWER)
        pulls = f"{catalog.tractor_name}, {power}, {units.write(tractor.mass.value, Measure.MASS)} with ballast"
        width = units.write(ripper.width_m, Measure.DISTANCE, 1)
        rips = f"{catalog.ripper_name}, {ripper.tines} tines {units.spacing(ripper.spacing.value)} apart, {width}"
        return (("Tractor", pulls, "Plan", f"{number}, of {day}"), ("Ripper", rips, "Crop", catalog.crop.says))

    def tines(self, tines: int, all_tines: int, spacing_mm: float) -> str:
        """Tines that stay in the ground, of all, and how far apart; where some come off, the outer ones do."""
        apart = self.units.spacing(spacing_mm)
        if tines == all_tines:
            return f"all {all_tines}, {apart} apart"
        return f"{tines} of {all_tines}: middle ones, {apart} apart"

    def pace(self, speed_kmh: float, passes: int) -> str:
        """Speed, and how often the ground is gone over where it is more than once."""
        return self.units.speed(speed_kmh) + (f", {passes} passes" if passes > 1 else "")

    def keep_out(self, name: str, lift_m: float, *, inside: bool) -> str:
        """Hatched ground by name, and where the tines begin to rise; `inside`: the ground they need is hatched too."""
        lift = self.units.write(lift_m, Measure.DISTANCE)
        begin = (
            f"lift at its edge at the latest, the {lift} the tines take to rise are hatched too"
            if inside
            else f"lift {lift} before it"
        )
        return f"KEEP OUT (hatched): {name}; {begin}"

    def zones(self, numbers: Sequence[object]) -> str:
        """Numbers of zones, in brackets after a sentence."""
        return f"({self.zone_names(numbers)})"

    def zone_names(self, numbers: Sequence[object]) -> str:
        """Numbers of zones as a place to look up."""
        return zone_names(numbers)

    def insertions(self, n: int, sites: int, *, few: bool) -> str:
        """What the map rests on."""
        return f"{n} insertions at {sites} sites carry the map" + (": that is few." if few else ".")

    def stopped(self, stopped: int, n: int) -> str:
        """Insertions that did not see the bottom."""
        return (
            f"{stopped} of {n} insertions did not see the pan's bottom: there it is at least as deep as their last "
            "hard reading, and the map says so by a wider range."
        )

    def dates(self, dates: Sequence[str]) -> str:
        """What the date of the readings means."""
        if not dates:
            return (
                "No date is known for the readings: soil reads harder when dry, so the pan may be over- or understated."
            )
        days = ", ".join(dates)
        return f"The readings were taken on {days}: soil reads harder when dry, so they stand for that moisture."

    def thresholds(self, found: Sequence[tuple[float, float, float]]) -> str:
        """What other thresholds would have found; each is share of the insertions, threshold in kPa, and ha."""
        told = ", ".join(
            f"{self.units.share(share)} at {self._threshold(kpa)} (about {self.units.area(area_ha, 0)})"
            for share, kpa, area_ha in found
        )
        return f"The threshold matters: of the insertions a pan is found in {told}."

    def unverified(self, count: int) -> str:
        """How many numbers behind the decision nobody could check."""
        numbers = "One number" if count == 1 else f"{count} numbers"
        return f"{numbers} behind the decision could not be checked against a source; see the list below."

    def losing(self, zones: Sequence[tuple[int, float]]) -> str:
        """Zones that may not pay back, with the chance of a loss."""
        named = ", ".join(f"zone {zone} (chance of a loss {self.units.share(chance)})" for zone, chance in zones)
        return f"May well not pay back: {named}."

    def depth_map(self, ripped: Sequence[tuple[float, float]], left_ha: float) -> str:
        """The depth map in words; `ripped` holds depth in mm and area in ha."""
        parts = "; ".join(f"{self.units.area(area_ha)} at {self.units.depth(mm)}" for mm, area_ha in ripped)
        return f"{parts or 'Nothing to rip'}; {self.units.area(left_ha)} left alone."

    def zone_title(self, zone: int, depth_mm: float, setup: str, area_ha: float, soil_type: str) -> str:
        """Heading of a zone of ground."""
        worked = f"{self.units.depth(depth_mm)}, {setup}" if depth_mm > 0 else "leave unripped"
        return f"Zone {zone}: {worked}, {self.units.area(area_ha)}, {soil_type}"

    def tap(self, zone: int, depth_mm: float, setup: str, area_ha: float, why: str) -> str:
        """What the page says of a zone that is tapped on the map."""
        return f"Zone {zone}: {self.depth(depth_mm)}, {setup or MISSING}, {self.units.area(area_ha)}. {why}"

    def depth(self, depth_mm: float) -> str:
        """Working depth, in words where it is none."""
        return self.units.depth(depth_mm) if depth_mm > 0 else "leave unripped"

    def beside(self, runner_up: str, cost_per_ha: float) -> str:
        """Next best choice and how much worse or better it is; NaN: not known."""
        if cost_per_ha != cost_per_ha:  # noqa: PLR0124  NaN
            return f"Next best: {runner_up}."
        money = self.units.per_area(abs(cost_per_ha))
        return f"Next best: {runner_up}, {money} {'worse' if cost_per_ha >= 0 else 'better'}."

    def unmended(self, text: str) -> str:
        """What ripping leaves as it is."""
        return f"Ripping will not fix: {_sentence(text)}"

    def change(self, text: str) -> str:
        """What would turn the choice."""
        return f"What would change this: {_sentence(text)}"

    def work(self, zone: Mapping[str, float], hours: float, fuel_l: float, driven: Driven) -> str:
        """How a zone is worked; `zone` is a row of `Plan.zones`."""
        units, passes, runs = self.units, int(zone["passes"]), driven.runs
        beside = f" and {units.area(driven.headland_ha)} of headland in laps" if driven.headland_ha >= TOLD_HA else ""
        below, broken, loss = (
            units.share(zone[name]) for name in ("breach_probability", "loosened_share", "loss_probability")
        )
        return (
            f"{passes} pass{'es' if passes != 1 else ''} at {units.speed(zone['speed_kmh'])}, tines "
            f"{units.spacing(zone['spacing_mm'])} apart; {'1 run' if runs == 1 else f'{runs} runs'} of "
            f"{units.amount(distance(driven.run_m, 0))} on average{beside}; {units.hours(hours)}, "
            f"{units.fuel(fuel_l)}; chance of getting below the pan {below}, share of the pan broken {broken}, "
            f"chance of a loss {loss}."
        )

    def moisture(self, verdict: str, why: str) -> str:
        """Verdict on moisture of some zones, for the cab."""
        return f"Moisture: {verdict}; {why.rstrip('.')}"

    def moist_span(self, moist_mm: tuple[float, float], rain_mm: tuple[float, float]) -> str:
        """How deep zones of one verdict are moist, and the rain they wait for."""
        moist = self._span(self.units.depth(moist_mm[0]), self.units.depth(moist_mm[1]))
        rain = self._span(self.units.rain(rain_mm[0]), self.units.rain(rain_mm[1]))
        return f"moist to {moist}" + (f"; about {rain} more rain" if rain_mm[1] > 0 else "")

    def numbers(self, zones: Iterable[int]) -> str:
        """Numbers of zones that follow one another, the first and the last of them."""
        found = sorted(zones)
        return self._span(str(found[0]), str(found[-1])) if found else ""

    def strips(self, strips: Strips) -> str:
        """What check strips are laid, and which difference they can show."""
        units, left = self.units, strips.table[strips.table["treatment"] == UNRIPPED]
        lengths = self._span(*(self._metres(left["length_m"].agg(end)) for end in ("min", "max")))
        together, *single = strips.promise.to_dict("records")
        n = int(together["pairs"])
        what = (
            f"{n} check strip{'s' if n > 1 else ''}, {self._metres(left['width_m'].iloc[0])} wide and {lengths} long, "
            f"{'are' if n > 1 else 'is'} left unripped, each beside ripped ground as wide and long to compare the "
            "harvest with."
        )
        if n < 2:
            return f"{what} One pair shows no difference that chance could not make."
        found = "; ".join(
            f"those in zone {row['zone']} alone {units.share(row['difference'])}"
            for row in single
            if row["difference"] == row["difference"] and row["pairs"] < n
        )
        return (
            f"{what} Where neighbouring strips differ by {units.share(together['strip_cv'])} of the yield by "
            f"themselves, all together find a difference of {units.share(together['difference'])} with a chance of "
            f"{units.share(together['power'])}{f'; {found}' if found else ''}. It counts as found where the "
            f"{units.share(together['level'])} range of the effect leaves out 0."
        )

    def ready(self, insertions: int, sites: int, area_ha: float, crs: str, remarks: int) -> str:
        """What `hardpan check` found."""
        return (
            f"{insertions} insertions at {sites} sites, {self.units.area(area_ha)}, {crs}: {remarks} remarks, "
            "ready to run."
        )

    def _span(self, low: str, high: str) -> str:
        return low if low == high else f"{low} to {high}"

    def _metres(self, value_m: float) -> str:
        return self.units.write(value_m, Measure.DISTANCE, None)

    def _threshold(self, kpa: float) -> str:
        return self.units.strength(kpa) if self.units.us else f"{kpa / 1000:g} MPa"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."
