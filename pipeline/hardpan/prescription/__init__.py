"""Zones and options in, a plan out: limits, choice, reasons.

`stage` is the recipe. Below it each may use those under it: `telling` (tables and sentences of the plan), `evaluation`
(what each zone could do and what comes of it), `context` (all that is known of the zones).
"""
