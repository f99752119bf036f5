"""What each depth and set-up would return everywhere."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools, Floats
from hardpan.records.issues import Issues


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Options:
    """Every candidate depth and set-up, everywhere."""

    table: pd.DataFrame
    """One row an option (row 0 is "leave"): `option`, `setup`, `depth_mm`, `spacing_mm`, `speed_kmh`, `passes`,
    `tines`, `width_m`, `draft_kn`, `drawbar_kw`, `engine_kw`, `slip`, `fuel_l_per_ha`, `hours_per_ha`,
    `critical_depth_mm`, `full_width_mm` (loosened between tines as well down to here), `foot_mm`,
    `ridge_mm` (left midway between tines), `load` (share of the tightest
    limit), `limited_by`, `feasible` bool, `why_not` text; machine values for the reference soil."""
    net: Floats
    """(n_nodes, n_options): expected net return per ha over the draws; -inf where a limit, or a rule of the decision
    table met by the soil type, forbids the option. The gain that such a rule credits a set-up with is in it."""
    cost: Floats
    """(n_nodes, n_options): expected cost per ha."""
    loosened: Floats
    """(n_nodes, n_options): expected share of the pan's excess resistance broken."""
    breach: Floats
    """(n_nodes, n_options): probability that the working depth reaches below the pan (or no pan is there)."""
    node_ha: Floats
    """(n_nodes,): area each node stands for."""
    covered: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """(n_nodes, n_options): probability that the foot passes below the pan by the margin asked for under the rule
    `cover` (or no pan is there); zones read it where `cover_share` is given."""
    fitted: Bools = field(default_factory=lambda: np.zeros(0, dtype=bool))
    """(n_options,): leaving, and the options of the set-ups that return most when every node has its best and no more
    set-ups are fitted than the operator is ready to; zones are valued over these; empty: over all."""
    paddock_returns: Floats
    """(n_options, n_draws): net return in money of each option on all rippable ground, from the joint draws; where a
    limit forbids the option at a node that ground is left. The ledger's uniform strategies read it."""
    paddock_costs: Floats
    """(n_options, n_draws): cost in money of the same."""
    paddock_hours: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """(n_options, n_draws): machine hours of the same; empty: those of `table` hold everywhere."""
    paddock_fuel_l: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """(n_options, n_draws): fuel of the same, L."""
    gain: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    """(n_nodes, n_options): expected worth per ha of what is broken, without the decision table."""
    open_to: Bools = field(default_factory=lambda: np.zeros((0, 0), dtype=bool))
    """(n_nodes, n_options): whether soil and machine allow the option, without the decision table."""
    uniform_depth_mm: float | None = None
    """Uniform depth the user asked to compare with."""
    zone_cost: float = 0.0
    """What a further zone costs in setting, checking and turning (catalog price `extra_zone`), money a zone."""
    limit_slack: float = 0.0
    """Share of a zone that may pass a limit (`PrescriptionSettings.limit_slack`)."""
    cover_share: float | None = None
    """Share of a zone whose pan must be broken under the rule `cover`; None under `return`."""
    draft_factor: Floats = field(default_factory=lambda: np.ones(1))
    """(n_draws,): draft of a draw relative to the expected, spread as the equation's range; joint with the money."""
    calibration: float = 1.0
    """Draft measured over draft of the equation; 1 where no pass was measured."""
    draft_anchor: tuple[float, float] | None = None
    """Depth, mm, and strength of the pan, kPa, of the measured pass; None where none was measured."""
    reference_soil: str = ""
    """Soil type of the machine values: the one with most ground."""
    issues: Issues = field(default=())
