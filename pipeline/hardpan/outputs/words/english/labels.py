"""Headings, captions and labels, by the key that page, card, charts and maps ask for, and the checks of the card."""

from collections.abc import Mapping, Sequence

REPORT = {
    "title": "Ripping plan: {name}",
    "skip": "To the zones",
    "head": "Ripping plan for",
    "plan": "The plan",
    "map": "Depth map. {alt}",
    "zones": "Zones",
    "zones_caption": "One row a zone, ripped ones first. Return is what is left after costs, with its likely range "
    "(nine chances in ten).",
    "zone": "Zone",
    "depth": "Depth",
    "area": "Area",
    "return": "Return, {unit}",
    "keep_out": "keep out",
    "leave": "leave",
    "strip": "strip",
    "strips_left": "Leave unripped: check strips, each to compare with the ripped strip beside it.",
    "strips": "Check strips",
    "doubts": "What could be wrong",
    "remarks_made": "{n} remarks were made on the input and on the way;",
    "remarks_link": "read them",
    "cautions": "Before you rip",
    "closer": "Look closer",
    "show": "Show",
    "lay_over": "Lay over",
    "ramp": "colour scale from dark blue, low, to yellow, high",
    "north": "N ↑",
    "web_map": "Interactive map of zones, soils, probes and pan. The same figures stand in the tables on this page.",
    "tap": "Tap or click a zone to read its depth, set-up and reason here.",
    "no_script": "The interactive map needs scripts; the still map above shows the plan without them.",
    "by_zone": "Zone by zone",
    "money": "Cost and return",
    "strategies": "This plan, by your own machine and by a contractor, against one depth everywhere and against not "
    "ripping; money for the paddock in {money}",
    "machines_compared_title": "Which machine",
    "machines_compared": "Your machine beside others, each at the depths and on the zones best for it, without check "
    "strips; money for the paddock in {money}; a chance counts what the fit days allow. Buying breaks even at the use "
    "a year at which what owning costs is earned.",
    "by_machine": "Return of the whole paddock by machine, with its likely range (nine chances in ten).",
    "ways": "The same ground by your own machine at full and at cash cost and by a contractor, each at the depths and "
    "on the zones that are best for it; money for the paddock in {money}",
    "drivers": "What the doubt about the return comes from, as share of its variance",
    "investment": "Present value, payback and break-even response by zone; all seasons counted, money in {money}",
    "when_again": "When to rip again, and how deep then",
    "weather": "Weather and fit days",
    "fit_days": "Days a month on which the soil is fit to its deepest zone: half of the years have as many or more / "
    "eight years in ten have",
    "weeks": "Depth the soil was moist to by the balance of rain and evaporation, evenings of the past weeks, {unit}",
    "lines": "Quantities and money in all; low and high are the ends of nine chances in ten, in {money}",
    "worth": "What ripping as in the trials is worth by soil type, in {money}",
    "map_good": "How good the map is",
    "units_below": "The tables from here on keep the units of the computation and of the other files: depths in mm.",
    "scores": "Cross-validation: each site, or block of sites, predicted from the others",
    "models": "Fitted models",
    "variograms": "Do the readings bear the model out?",
    "variograms_told": "Each point is how unlike two sites are that lie so far apart, larger where more pairs of sites "
    "stand behind it, once soil type and covariates are allowed for. The solid line is what the map assumes, the "
    "dashed one a second fit by another way. Where solid line and points part over the short distances, trust the "
    "map's range of uncertainty less. At the far end points lie low, as the effect of soil type was fitted to the same "
    "readings; the solid line allows for that. Semivariance is in {unit}² for depths and without a unit for the peak, "
    "whose logarithm is mapped.",
    "sensitivity": "What another threshold would find; depths in {unit}, pan area the share of the insertions times "
    "the ground",
    "dates": "Readings by date; mean cone index of the top {depth} in {unit}",
    "counts": "Number of classes tried; net gain in {money}",
    "work": "Machine, moisture and soil conditions",
    "machine": "Machine by zone; {units}",
    "setting_up": "How to set tractor and ripper up",
    "moisture": "Is the soil moist to working depth?",
    "conditions": "What the set-up was chosen for",
    "remarks": "Remarks on the input",
    "remarks_caption": "Everything dropped, repaired, assumed or extrapolated",
    "numbers": "Numbers and sources",
    "replaced": "Shipped numbers that you replaced by your own, with their ranges and units",
    "unverified": "Numbers nobody could check, those that move the return most first: replace them by your own where "
    "you can. Moves: by how much the expected return of the paddock changes, in {money}, over half of the number's "
    "range, or with a tenth more or less where none is stated, zones, depths and set-ups as planned; none where the "
    "plan does not hang on it",
    "defaults": "Every shipped number the decision used",
    "sources": "Sources",
    "origin": "Where this came from",
    "moves": "How positions were moved between datums",
    "trail": "Version, seed and inputs",
    "settings": "Settings as used",
    "footer": "Plan {number}. hardpan {version}, {started}. Working coordinates: {crs}. Decision support only.",
    "too_wet": "DO NOT RIP NOW: the hand test says too wet at working depth, and the tines would smear.",
    "too_dry": "Wait for rain: the soil is not moist to the shallowest depth of the machine",
    "moisture_unknown": "Whether the soil is moist to working depth is not known: dig and test by hand before "
    "starting.",
}
WHAT_IF = {
    "what_if": "What if",
    "what_if_told": "Move a slider: depths, zones that pay and returns are worked out anew in this page, from the "
    "expected figures of the run. Zones keep their borders and the ripper its tines; a new run chooses both for its "
    "own prices and gives the likely range.",
    "what_if_grain": "Price of grain",
    "what_if_fuel": "Price of fuel",
    "what_if_gain": "Yield gain, of what the plan expects",
    "what_if_cost": "Machines, labour, wear and zones, of what the plan counts",
    "what_if_discount": "Discount rate",
    "what_if_reset": "Back to the plan",
    "what_if_zones": "What each zone would be given, and its return in {unit}",
    "what_if_now": "With these prices",
    "what_if_plan": "In the plan",
    "what_if_lines": "Lines for the configuration, in place of those of the same name",
    "what_if_script": "The sliders need scripts.",
    "what_if_rip": "Rip {first} of {second} at {third}{fourth}: about {fifth}, {sixth}.",
    "what_if_leave": "Leave all {first} unripped: no depth is expected to pay.",
    "what_if_and_leave": ", leave {first}",
    "what_if_return": "{first} and {second}; expected to return {third}, {fourth} in all",
    "what_if_lose": "{first} and {second}; expected to lose {third}, {fourth} in all",
    "what_if_and": "{first} and {second}",
    "what_if_range": "{first} to {second}",
    "what_if_planned": "as planned",
    "what_if_unmoved": "Nothing was moved: the plan stands.",
    "what_if_own_table": "in your own table of [machine] {first}",
}
"""Of the sliders; numbered parts are filled in by the page."""
CHARTS = {
    "depth_axis": "depth, {unit}",
    "strength_axis": "cone index, {unit}",
    "across_axis": "across the tines, {unit}",
    "return_axis": "return, {unit}",
    "lag_axis": "between two sites, {unit}",
    "semivariance_axis": "semivariance",
    "working_depth": "working depth",
    "chosen": "chosen",
    "as_read": "as read",
    "fitted": "fitted to what was read",
    "mapped": "used by the map",
    "zone_name": "zone {zone}",
    "profile": "Cone index by depth where the probe went all the way: median and middle four fifths; triangles, where "
    "it stopped; dashed, the threshold of {threshold}; shaded, the mapped pan.",
    "section": "Across three tines: pale, the soil loosened; between the tines a ridge stays; hatched, the pan.",
    "candidates": "Expected return of each depth and set-up allowed here; most from {option}: {money}.",
    "by_strategy": "Return of the whole paddock by strategy, with its likely range (nine chances in ten).",
    "by_zone_chart": "Return by zone, with its likely range.",
    "variogram": "How unlike two sites are by their distance: {variable} of the pan.",
    "north_letter": "N",
}
MAP = {
    "ground-depth": "working depth",
    "ground-pan_bottom_mm": "bottom of the pan",
    "ground-pan_bottom_sd_mm": "how uncertain the bottom is (standard deviation)",
    "ground-breach_probability": "chance that the working depth gets below the pan",
    "ground-soils": "soil types",
    "borders": "zone borders",
    "zone-numbers": "zone numbers",
    "probes": "probe insertions",
    "exclusions": "keep-out ground",
    "further": "where to probe again",
    "tip_site": "probe at",
    "leave_unripped": "leave unripped",
    "below": "below {depth}",
    "tip_zone": "zone",
    "tip_depth": "depth",
    "tip_setup": "set-up",
    "tip_area": "area",
    "tip_bottom": "pan bottom, mean",
    "tip_breach": "gets below the pan",
    "tip_why": "why",
    "tip_soil": "soil",
    "tip_clay": "depth to clay",
    "tip_keep_out": "keep out",
    "tip_insertion": "insertion",
    "tip_pan": "pan",
    "tip_pan_bottom": "bottom",
    "tip_hover": "Tell on hovering",
}
CARD = {
    "card_title": "Ripping: {name}",
    "card_document": "Ripping job card: {name}",
    "card_zone": "Zone",
    "card_depth": "Depth",
    "card_setup": "Set-up",
    "card_tines": "Tines",
    "card_run": "Run",
    "card_speed": "Speed",
    "card_area": "Area",
    "card_time": "Time",
    "card_fuel": "Fuel",
    "card_left": "leave unripped: tines up",
    "card_strips": "check strips (dotted): tines up, mark the ends",
    "card_all": "All ripping",
    "card_zones": "{n} zones",
    "card_date": "Date",
    "card_dug": "Depth dug",
    "card_moist": "Moist to",
    "card_hours": "Hours",
    "card_seen": "Seen behind the tines",
    "card_setting_up": "Setting up",
    "card_plan": "From the plan",
    "card_cautions": "Cautions",
    "card_ask": "Who to ask (fill in)",
    "card_grower": "Grower",
    "card_agronomist": "Agronomist",
    "card_services": "Before-you-dig reference",
    "card_emergency": "Emergency",
    "card_roll": "Roll behind the tines",
}
TERMINAL = {
    "kml_title": "Ripping plan, for looking only",
    "summary_zone": "zone",
    "summary_area": "{unit}",
    "summary_depth": "depth {unit}",
    "summary_setup": "set-up",
    "summary_net": "net/{unit}",
    "summary_range": "likely range",
    "summary_reason": "reason",
    "check_outcome": "outcome",
    "check_file": "file",
    "check_place": "row or feature",
    "check_what": "what",
    "check_done": "what was done",
    "written": "{n} files in {folder}",
}
LABELS: Mapping[str, str] = {**REPORT, **WHAT_IF, **CHARTS, **MAP, **CARD, **TERMINAL}

CHECKS = {
    "Before you start": (
        "Services: the before-you-dig reply is here, private lines are marked, and everyone who drives knows the "
        "hatched ground. Overhead lines are known.",
        "Moisture: dig to {depth} and roll the soil by hand. A {thin} thread forms easily: too wet, wait. It cracks at "
        "{cracks}: right. It crumbles: dry, it will pull hard and bring up clods. Sand does not roll: see how deep it "
        "is moist.",
        "Frame level across, and level or slightly nose-up at working depth.",
        "Points all there, even and not worn; spacing as in the table; right shear bolts, and spares.",
        "Display: the map is loaded, its unit is the one on this card, and it shows this card's depth where you stand.",
    ),
    "While ripping": (
        "In the first run stop and dig across it behind the tines: is the pan broken, and how deep is the foot?",
        "Push the probe midway between two tines: if it stops in the pan there, the ridge is standing.",
        "Measure depth from ground not yet ripped, again in every zone.",
        "Slip up, shiny smeared walls, or big clods: stop and ask.",
        "Lift before hatched ground and in turns. From the deepest setting the tines take {lift} to rise out: try on "
        "open ground first, and if they take longer stop and ask.",
        "At a border between depths the tines take up to {change} to settle.",
        "{lost}",
    ),
    "Daily": ("Grease and oil; hoses, bolts and points; fuel used against the table.",),
    "Afterwards": (
        "Finish and roll where the plan says so; keep cover on what could blow.",
        "Keep wheels off, or on the same tracks.",
        "Leave the check strips unripped and mark their ends: only they show what the ripping gave.",
        "Write down date, zone, depth measured, moisture and fuel.",
    ),
}
"""The job card's checks.

The hand test is that of `nre-tas-moisture`; the rest is common practice.
"""


def zone_names(numbers: Sequence[object]) -> str:
    """Numbers of zones as a place to look up.

    >>> zone_names([4]), zone_names([4, 6])
    ('zone 4', 'zones 4, 6')
    """
    return f"zone{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def either(things: Sequence[str]) -> str:
    """Things with "or" before the last.

    >>> either(["wings", "closer tines", "both"])
    'wings, closer tines or both'
    """
    return things[0] if len(things) == 1 else f"{', '.join(things[:-1])} or {things[-1]}"
