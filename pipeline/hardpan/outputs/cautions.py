"""What a prescription does not say, in the tool's own words: shown in the report and on the job card."""

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

CHECKS = {
    "Before you start": (
        "Services: the before-you-dig reply is here, private lines are marked, and everyone who drives knows the "
        "hatched ground. Overhead lines are known.",
        "Moisture: dig to {depth} and roll the soil by hand. A 3 mm thread forms easily: too wet, wait. It cracks at "
        "3 to 5 mm: right. It crumbles: dry, it will pull hard and bring up clods. Sand does not roll: see how deep it "
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
        "Lift before hatched ground and in turns.",
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
"""The job card's checks; `{depth}` is the deepest working depth, `{lost}` what happens without a position.

The hand test is that of `nre-tas-moisture`; the rest is common practice.
"""
