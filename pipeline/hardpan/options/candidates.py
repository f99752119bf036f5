"""The candidate depths, set-ups and numbers of tines, and leaving the ground alone."""

import numpy as np
import pandas as pd

from hardpan.core.arrays import Floats
from hardpan.core.errors import SettingsError
from hardpan.records.catalog import Catalog
from hardpan.records.decision import MachineSettings, PrescriptionSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.machines import Ripper, SetUp


def list_candidates(
    catalog: Catalog, prescription: PrescriptionSettings, machine: MachineSettings
) -> tuple[pd.DataFrame, Issues]:
    """Every set-up at every step of depth it and the ripper allow; row 0 leaves the ground alone.

    Returns
    -------
    DataFrame
        `option`, `setup` ("" in row 0), `depth_mm`, `spacing_mm`.
    Issues
        Set-ups that no depth can use.

    Raises
    ------
    SettingsError
        No set-up has a depth.
    """
    names = [name for name in catalog.setups if machine.setup in {None, name}]
    depths = {name: steps_mm(catalog.ripper, catalog.setups[name], prescription.step_mm) for name in names}
    rows = [("", 0)] + [(name, depth) for name, steps in depths.items() for depth in steps]
    if len(rows) == 1:
        _refuse(catalog, names, prescription.step_mm)
    table = pd.DataFrame(rows, columns=["setup", "depth_mm"])
    table.insert(0, "option", np.arange(len(table)))
    table["spacing_mm"] = np.where(table["depth_mm"] > 0, catalog.ripper.spacing.value, 0.0)
    where = {name: _span(catalog.ripper, catalog.setups[name]) for name in names}
    issues = tuple(
        Issue(
            stage="prescription",
            code="set-up-without-depth",
            what=f"no depth on steps of {prescription.step_mm:g} mm lies between {where[name]}",
            done=f"{catalog.setups[name].says} are not considered",
            place=name,
        )
        for name, steps in depths.items()
        if not steps
    )
    return table, issues


def _refuse(catalog: Catalog, names: list[str], step_mm: float) -> None:
    """Refuse set-ups that have no depth: their limits leave none, or no step falls between them."""
    limits = {name: depth_limits_mm(catalog.ripper, catalog.setups[name]) for name in names}
    spans = {name: f"{name} {shallow:g} to {deep:g} mm" for name, (shallow, deep) in limits.items()}
    crossed = [span for name, span in spans.items() if limits[name][0] > limits[name][1]]
    what = f"no depth on steps of {step_mm:g} mm lies within {', '.join(spans.values())}"
    if len(crossed) == len(spans):
        what = f"the shallowest depth allowed is deeper than the deepest: {', '.join(crossed)}"
    raise SettingsError(
        what=what,
        where=f"ripper {catalog.ripper_name}",
        right="limits of ripper and set-up with a step between them",
        do="change min_depth or max_depth of the ripper, prescription.step_mm, or the set-up",
    )


def steps_mm(ripper: Ripper, setup: SetUp, step_mm: float) -> list[int]:
    """Multiples of the step between the shallowest and deepest depth of ripper and set-up."""
    shallow, deep = depth_limits_mm(ripper, setup)
    first, last = int(np.ceil(shallow / step_mm - 1e-9)), int(np.floor(deep / step_mm + 1e-9))
    return [round(step * step_mm) for step in range(first, last + 1)]


def depth_limits_mm(ripper: Ripper, setup: SetUp | None) -> tuple[float, float]:
    """Shallowest and deepest depth of ripper and set-up."""
    lows = [ripper.min_depth, None if setup is None else setup.min_depth]
    highs = [ripper.max_depth, None if setup is None else setup.max_depth]
    return max(q.value for q in lows if q is not None), min(q.value for q in highs if q is not None)


def _span(ripper: Ripper, setup: SetUp | None) -> str:
    shallow, deep = depth_limits_mm(ripper, setup)
    return f"{shallow:g} and {deep:g} mm"


def tine_counts(ripper: Ripper, asked: int | None = None) -> tuple[int, ...]:
    """Numbers of tines a paddock may be worked with, all first; where one is `asked` for, that alone.

    Tines come off in pairs, so that the pull stays straight.

    Raises
    ------
    SettingsError
        More are asked for than the ripper has.
    """
    if asked is not None and asked > ripper.tines:
        raise SettingsError(
            what=f"{asked} tines are asked for",
            where="machine.tines",
            right=f"at most the {ripper.tines} of the ripper",
            do="ask for fewer, or choose another ripper",
        )
    return tuple(range(ripper.tines, 0, -2)) if asked is None else (asked,)


def into_clay_mm(table: pd.DataFrame, catalog: Catalog) -> Floats:
    """How far each option must reach into the clay to be of use, NaN where it need not."""
    must = {
        name: np.nan if setup.into_clay is None else setup.into_clay.value for name, setup in catalog.setups.items()
    }
    return np.asarray(table["setup"].map(must), dtype=np.float64)
