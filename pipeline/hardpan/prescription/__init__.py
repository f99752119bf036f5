"""Zones in, a plan out: loosening, effort, limits, set-up, depth.

`stage` is the recipe. Below it each may use those under it: `telling` (tables and sentences of the plan), `zonework`
(what each zone could do and what comes of it), `case` (all that is known of the zones), `economy` (what options cost
and return), `calibration`; then the workers, which use none of one another: `candidates`, `ground`, `loosening`,
`effort`, `returns`, `choice`, `conditions`, `moisture`, `setting_up`, `past`, `wording`, `defaults`.
"""
