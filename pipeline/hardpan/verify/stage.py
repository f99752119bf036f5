"""Whether the pan of each ripped zone was broken, from insertions after the pass."""

import logging
from collections.abc import Hashable, Mapping
from types import MappingProxyType

import geopandas as gpd
import numpy as np
import pandas as pd

from hardpan.core.arrays import Bools
from hardpan.core.errors import InputError
from hardpan.records.after import (
    Change,
    Earlier,
    Found,
    Judged,
    Mean,
    Position,
    Remedy,
    Reprobed,
    VerdictSettings,
    ZoneFound,
)
from hardpan.records.issues import Issue
from hardpan.records.machines import SetUp
from hardpan.verify.opening import (
    RIPPED,
    Correlated,
    Scene,
    across,
    broken_at,
    expected_mm,
    judge,
    more_insertions,
    opened_at,
    pan_within_mm,
    reached_at,
    remedies_of,
    ripped_zones,
    state_of,
)
from hardpan.verify.profiles import Factor, Gridded, factor_of, gridded, positions_of, zones_at

LEAST_BEFORE = 3
"""With fewer sites of the survey in a zone, those on the same soil type stand for it."""

logger = logging.getLogger(__name__)


def verify_pass(
    earlier: Earlier, again: Reprobed, limits: VerdictSettings, setups: Mapping[str, SetUp] = MappingProxyType({})
) -> Found:
    """Verdict on each ripped zone.

    Parameters
    ----------
    setups : Mapping[str, SetUp]
        What the ripper can be fitted with.

    Raises
    ------
    InputError
        Nothing was ripped, or no insertion says where it stands beside the tines.
    """
    zones = ripped_zones(earlier.zones)
    if zones.empty:
        raise InputError(what="the run rips nothing", where=earlier.name, do="give a run with ripped zones")
    after, issues = _placed(earlier, again)
    before = gridded(earlier.readings)
    before.about["zone"] = zones_at(before.about, earlier.zones)
    soil = earlier.zones.set_index("zone")["soil_type"]
    found, rows, factors = [], [], []
    for _, zone in zones.iterrows():
        unripped = before.rows(_like(before, zone, soil))
        factor, why = _factor(after, unripped, before, zone, limits=limits, soil=soil)
        factors.append(_factor_row(int(zone["zone"]), factor))
        ripped = after.rows(((after.about["zone"] == zone["zone"]) & after.about["position"].isin(RIPPED)).to_numpy())
        if factor is None or not len(ripped.about):
            found.append(_untold(zone, ripped, why if factor is None else Change.LINE))
            continue
        scene = Scene(
            zone=zone, ripped=ripped, unripped=unripped, factor=factor, threshold_kpa=earlier.threshold_kpa,
            correlated=_correlated(earlier), level=limits.level,
        )  # fmt: skip
        judged, told = _zone(scene, limits, remedies_of(zone, setups))
        found.append(judged)
        rows.append(told)
    logger.info("%s", ", ".join(f"zone {one.zone}: {one.verdict}" for one in found))
    return Found(
        zones=tuple(found), insertions=_insertions(after, rows, earlier), moisture=pd.DataFrame(factors), issues=issues
    )


def _placed(earlier: Earlier, again: Reprobed) -> tuple[Gridded, tuple[Issue, ...]]:
    """Insertions after the pass with `position` and `zone`; those without a position are left out."""
    after = gridded(again.profiles.table)
    order = {name: at for at, name in enumerate(again.profiles.readings["insertion"].to_numpy().tolist())}
    marks = [again.marks[order[name]] for name in after.about["insertion"]]
    positions = positions_of(after.about, marks)
    after.about["position"] = positions
    after.about["zone"] = zones_at(after.about, earlier.zones)
    placed = np.array([position is not None for position in positions], dtype=bool)
    if not placed.any():
        raise InputError(
            what="no insertion says where it stands beside the tines",
            where="probes.file",
            right="a column position with line, quarter, midway or control, or site names that end so",
        )
    ripped = set(ripped_zones(earlier.zones)["zone"])
    control = (after.about["position"] == Position.CONTROL).to_numpy()
    beside = placed & ~after.about["zone"].isin(ripped).to_numpy() & ~control
    odd = sorted({mark for mark, one in zip(marks, positions, strict=True) if mark.strip() and one is None})
    unknown = f" that is known, but {', '.join(odd[:3])}" if odd else ""
    issues = []
    for missing, code, what in (
        (~placed, "no-position", f"insertions say no position{unknown}"),
        (beside, "not-ripped", "insertions beside a tine lie where the plan rips nothing"),
    ):
        if missing.any():
            names = ", ".join(after.about["insertion"][missing].head(6))
            issues.append(Issue("verify", code, f"{int(missing.sum())} {what}", "left out", place=names))
    return after.rows(placed & ~beside), tuple(issues)


def _like(before: Gridded, zone: pd.Series, soil: pd.Series) -> Bools:
    """The survey's insertions in a zone; those on its soil type, or all, where they are at too few sites."""
    about = before.about
    same_zone = (about["zone"] == zone["zone"]).to_numpy()
    same_soil = (about["zone"].map(soil) == zone["soil_type"]).to_numpy()
    for chosen in (same_zone, same_soil):
        if about["site"][chosen].nunique() >= LEAST_BEFORE:
            return np.asarray(chosen)
    return np.ones(len(about), dtype=bool)


def _factor(
    after: Gridded, unripped: Gridded, before: Gridded, zone: pd.Series, *, limits: VerdictSettings, soil: pd.Series
) -> tuple[Factor | None, Change]:
    """What moisture makes of a reading in a zone, and what is missing where nobody can know.

    Controls in the zone come first, then all of the paddock against the survey's sites in their zones, then on their
    soil types; without controls the water contents have to be alike.
    """
    controls = after.rows((after.about["position"] == Position.CONTROL).to_numpy())
    own = controls.rows((controls.about["zone"] == zone["zone"]).to_numpy())
    alike: tuple[dict[int, Hashable], ...] = {number: number for number in soil.index}, {**soil}
    for some, like, ground in ((own, unripped, None), *((controls, before, each) for each in alike)):
        found = factor_of(some, like, level=limits.level, ground=ground) if len(some.about) else None
        if found is not None:
            return found, Change.KEEP
    theta = [one.about["theta"].mean() for one in (after, unripped)]
    if not np.isfinite(theta).all():
        return None, Change.CONTROLS
    if abs(theta[0] - theta[1]) > limits.theta_apart:
        return None, Change.MOISTURE
    return Factor(value=1.0, low=1.0, high=1.0, controls=0), Change.KEEP


def _zone(scene: Scene, limits: VerdictSettings, remedies: tuple[Remedy, ...]) -> tuple[ZoneFound, pd.DataFrame]:
    zone, expected = scene.zone, expected_mm(scene.zone)
    opened: dict[Position, Mean] = {}
    reached: dict[Position, Mean] = {}
    whole: dict[Position, Mean] = {}
    told = []
    asked = _asked_mm(scene, expected, limits)
    for place in RIPPED:
        mean, shares = opened_at(scene, place, asked[place])
        down, depths = reached_at(scene, place)
        told.append(pd.DataFrame({"reached_mm": depths, "opened_share": shares.clip(0.0, 1.0)}))
        for means, one in ((opened, mean), (reached, down), (whole, broken_at(scene, place))):
            if one is not None:
                means[place] = one
    states = {place: state_of(opened.get(place), limits) for place in RIPPED}
    verdict, change = judge(states)
    if change is Change.RIDGE and asked[Position.MIDWAY] > expected[Position.MIDWAY]:
        change = Change.PLANNED_RIDGE
    if pan_within_mm(scene, asked[Position.LINE]) < limits.least_pan_mm:
        verdict, change = Judged.CANNOT_TELL, Change.NO_PAN
    found = ZoneFound(
        zone=int(zone["zone"]),
        verdict=verdict,
        change=change,
        expected_mm=expected,
        opened=opened,
        reached=reached,
        across=across(opened),
        broken=across(whole),
        planned_share=float(zone["loosened_share"]),
        remedies=remedies,
        insertions=len(scene.ripped.about),
        more=more_insertions(opened, limits) if change is Change.MORE else 0,
    )
    return found, pd.concat(told)


def _asked_mm(scene: Scene, expected: Mapping[Position, float], limits: VerdictSettings) -> dict[Position, float]:
    """Depth down to which each position is judged: what the plan has loosened there.

    Where hardly any of the pan lies above the ridge that the plan leaves, the pan down to the working depth is judged:
    nothing else could show whether it is broken.
    """
    return {
        place: to_mm if pan_within_mm(scene, to_mm) >= limits.least_pan_mm else float(scene.zone["depth_mm"])
        for place, to_mm in expected.items()
    }


def _untold(zone: pd.Series, ripped: Gridded, change: Change) -> ZoneFound:
    return ZoneFound(
        zone=int(zone["zone"]),
        verdict=Judged.CANNOT_TELL,
        change=change,
        expected_mm=expected_mm(zone),
        opened={},
        reached={},
        across=None,
        broken=None,
        planned_share=float(zone["loosened_share"]),
        remedies=(),
        insertions=len(ripped.about),
        more=0,
    )


def _correlated(earlier: Earlier) -> Correlated:
    """Correlation of the pan's peak in the survey's map; none where no model was fitted."""
    models = earlier.models
    rows = models[models["variable"] == "peak"] if "variable" in models else models
    if rows.empty:
        return Correlated(range_m=0.0, micro=1.0)
    row = rows.iloc[0].fillna(0.0)
    scatter = float(row["micro"]) + float(row["noise"])
    return Correlated(range_m=float(row["range_m"]), micro=scatter / max(scatter + float(row["sill"]), 1e-12))


def _factor_row(zone: int, factor: Factor | None) -> dict[str, float]:
    if factor is None:
        return {"zone": zone, "factor": np.nan, "low": np.nan, "high": np.nan, "controls": 0}
    return {
        "zone": zone, "factor": factor.value, "low": factor.low, "high": factor.high, "controls": factor.controls,
    }  # fmt: skip


def _insertions(after: Gridded, told: list[pd.DataFrame], earlier: Earlier) -> gpd.GeoDataFrame:
    table = after.about[["insertion", "site", "zone", "position"]].copy()
    table["position"] = [str(position) for position in table["position"]]
    said = pd.concat(told) if told else pd.DataFrame(columns=["reached_mm", "opened_share"], dtype=float)
    table = table.join(said[~said.index.duplicated()], on="insertion")
    points = gpd.points_from_xy(after.about["x_m"], after.about["y_m"], crs=earlier.crs)
    return gpd.GeoDataFrame(table, geometry=points)
