"""What each depth and set-up would return everywhere."""

from dataclasses import dataclass, field

import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.records.issues import Issues


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draft:
    """What is known of the draft of this paddock beyond the equation."""

    factor: Floats
    """(n_draws,): draft at the anchor relative to the expected, mean 1; joint with the money."""
    calibration: float
    """Draft measured over draft of the equation; 1 where no pass was measured."""
    anchor_mm: float
    """Depth at which draft is known whatever its exponents: that of the measured pass, else that of the equation."""
    anchor_kpa: float
    """Strength of the pan at which it is known; NaN where the equation takes no account of strength."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Uniform:
    """Each option on all rippable ground, from the joint draws; arrays (n_options, n_draws).

    Ground where a limit forbids the option is left. Each is worked with the number of tines that costs least, of
    those that pull it on as much ground as any. The ledger's uniform strategies read it.
    """

    returns: Floats
    """Net return, money."""
    costs: Floats
    """Money."""
    hours: Floats
    """Machine hours."""
    fuel_l: Floats
    ripped_ha: Floats
    """(n_options,): ground it may rip; none for leaving."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Options:
    """Every candidate depth and set-up, everywhere; arrays (n_nodes, n_options) unless another shape is given."""

    table: pd.DataFrame
    """One row an option (row 0 is "leave"): `option`, `setup`, `depth_mm`, `spacing_mm`, `speed_kmh`, `passes`,
    `tines`, `width_m`, `draft_kn`, `drawbar_kw`, `engine_kw`, `slip`, `fuel_l_per_ha`, `hours_per_ha`,
    `critical_depth_mm`, `full_width_mm` (loosened between tines as well down to here), `foot_mm`,
    `ridge_mm` (left midway between tines), `load` (share of the tightest
    limit), `limited_by` (code of a `Limit`), `feasible` bool; machine values for the reference soil."""
    net: Floats
    """Expected net return per ha over the draws; -inf where a limit, or a rule of the decision table met by the soil
    type, forbids the option. The gain that such a rule credits a set-up with is in it."""
    cost: Floats
    """Expected cost per ha."""
    gain: Floats
    """Expected worth per ha of the growth that comes back, without the decision table."""
    loosened: Floats
    """Expected share of the root growth the pan takes that lies in broken soil."""
    breach: Floats
    """Probability that the working depth reaches below the pan (or no pan is there)."""
    covered: Floats
    """Probability that the foot passes below the pan by the margin asked for under the rule `cover` (or no pan is
    there)."""
    fitted: Bools
    """(n_options,): leaving, and the options of the set-ups that return most when every node has its best and no more
    set-ups are fitted than the operator is ready to; zones are valued over these."""
    node_ha: Floats
    """(n_nodes,): area each node stands for."""
    uniform: Uniform
    tines: int
    """With which the whole paddock is worked."""
    draft: Draft
    issues: Issues = field(default=())
