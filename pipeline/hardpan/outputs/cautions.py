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
