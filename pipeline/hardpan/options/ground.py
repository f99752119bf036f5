"""The ground as the decision sees it: nodes with their draws of the pan, area, soil and limits."""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.core.said import Said, depth, percent
from hardpan.options.loosening import clay_ceiling_mm
from hardpan.records.catalog import Catalog
from hardpan.records.decision import PrescriptionSettings
from hardpan.records.issues import Issue, Issues
from hardpan.records.soils import SoilType
from hardpan.records.surfaces import Surfaces
from hardpan.records.survey import Survey

LIMIT_STEP_MM = 10.0
"""Clay depths are rounded down to this before they limit anything, so that nodes of equal limits go together."""

BLOCK_NODES = 32
"""Nodes worked at once: 32 x 200 draws x 80 depths are 2 MB, which stays in the processor's cache."""

_DRAWN = ("present", "top_mm", "bottom_mm", "peak_kpa", "clay_draws_mm")
"""Names of the draws at nodes."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """Nodes and what limits a tine there; draws have shape (n_draws, n_nodes), the rest (n_nodes,)."""

    present: Bools
    top_mm: NDArray[np.float32]
    bottom_mm: NDArray[np.float32]
    peak_kpa: NDArray[np.float32]
    """Highest cone index of the pan; its usual one where a draw does not know it."""
    strength_kpa: Floats
    """(n_draws, n_soils): mean strength of each soil type's pan; NaN where it has none in a draw."""
    soil: Ints
    """Position in `soils`."""
    soils: tuple[SoilType, ...]
    soil_names: tuple[str, ...]
    ha: Floats
    """Rippable area the node stands for: its cells less the exclusions."""
    clay_mm: Floats
    """Expected depth to clay, infinite where none is in reach."""
    clay_draws_mm: NDArray[np.float32]
    """(n_draws, n_nodes): depth to clay, infinite where none is in reach."""
    shallow_clay_mm: Floats
    """Depth above which clay begins with no more than the chance that may be run; infinite where none is in reach."""
    hostile: Bools
    """Clay below is not to be brought up or smeared."""
    reach_mm: Floats
    """Depth below which a tine gains nothing: clay less the margin of clay that is not hostile."""
    ceiling_mm: Floats
    """Depth a tine may not pass: `shallow_clay_mm` of hostile clay less its margin; infinite elsewhere."""
    issues: Issues = ()

    def end_mm(self, below_mm: float = 0.0) -> NDArray[np.float32]:
        """Depth to reach, (n_draws, n_nodes): `below_mm` under the pan, or the clay; -inf without a pan."""
        end = np.minimum(self.bottom_mm + np.float32(below_mm), self.clay_draws_mm)
        return np.where(self.present, end, np.float32(-np.inf))

    @property
    def textures(self) -> tuple[str, ...]:
        """Texture class of each soil type."""
        return tuple(soil.texture for soil in self.soils)

    @property
    def responds(self) -> Bools:
        """Whether ripping is expected to pay on each soil type."""
        return np.array([soil.responds for soil in self.soils])

    @property
    def usual_strength_kpa(self) -> Floats:
        """(n_soils,): strength of each soil type's pan, the mean of its draws; NaN where there never is a pan."""
        known = np.isfinite(self.strength_kpa)
        total = np.where(known, self.strength_kpa, 0.0).sum(axis=0)
        return np.where(known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan)

    def main_soil(self) -> int:
        """Soil type with most ground, as position in `soils`."""
        return int(np.argmax(np.bincount(self.soil, weights=self.ha, minlength=len(self.soils))))

    def take(self, nodes: Ints) -> "Ground":
        """Ground of some nodes."""
        limited = ("soil", "ha", "clay_mm", "shallow_clay_mm", "hostile", "reach_mm", "ceiling_mm")
        draws = {name: getattr(self, name)[:, nodes] for name in _DRAWN}
        limits = {name: getattr(self, name)[nodes] for name in limited}
        return replace(self, **draws, **limits)

    def in_draws(self, draws: Ints | slice) -> "Ground":
        """Ground in some of its draws."""
        return replace(self, **{name: getattr(self, name)[draws] for name in (*_DRAWN, "strength_kpa")})

    def allowed(self, depth_mm: Floats, into_clay_mm: Floats, pullable: Bools) -> Bools:
        """Where each option respects the ceiling, reaches what it must and can be pulled: (n_nodes, n_options).

        Parameters
        ----------
        depth_mm : (n_options,)
        into_clay_mm : (n_options,)
            How far it must reach into the clay, NaN where it need not.
        pullable : (n_soils, n_options)
        """
        return self.useful(depth_mm, into_clay_mm, pullable) & (depth_mm <= self.ceiling_mm[:, None])

    def useful(self, depth_mm: Floats, into_clay_mm: Floats, pullable: Bools) -> Bools:
        """Where each option is pulled and reaches as far into the clay as it must, (n_nodes, n_options)."""
        must = self.clay_mm[:, None] + np.nan_to_num(into_clay_mm)
        reaches = np.isnan(into_clay_mm) | (depth_mm >= must)
        return np.asarray((pullable[self.soil] & reaches) | (depth_mm == 0))

    def groups(self) -> list[Ints]:
        """Nodes that share soil and depth to clay, and so all limits, in blocks small enough for memory."""
        key = np.stack([self.soil.astype(float), self.clay_mm, self.shallow_clay_mm], axis=1)
        which = np.unique(key, axis=0, return_inverse=True)[1].ravel()
        together = np.split(np.argsort(which, kind="stable"), np.cumsum(np.bincount(which))[:-1])
        return [nodes[start : start + BLOCK_NODES] for nodes in together for start in range(0, nodes.size, BLOCK_NODES)]


def build_ground(surfaces: Surfaces, survey: Survey, catalog: Catalog, prescription: PrescriptionSettings) -> Ground:
    """Nodes of the surfaces with area and limits.

    Where the map knows no depth to clay and the soil type's clay is hostile, the shallow end of the soil type's usual
    depth stands in, and an issue says so.
    """
    draws = surfaces.draws
    soil = draws["soil"].to_numpy().astype(np.int64)
    soils = tuple(catalog.soils[name] for name in surfaces.soil_types)
    clay, issues = _clay_depth(draws["clay_depth_mm"].to_numpy().astype(float), soil, soils, surfaces.soil_types)
    drawn = draws["clay_mm"].transpose("draw", "node").to_numpy().astype(np.float32)
    drawn = np.where(np.isnan(drawn), clay.astype(np.float32), drawn)
    shallow = _floored(np.quantile(drawn, prescription.clay_risk, axis=0, method="inverted_cdf").astype(float))
    clay = _floored(clay)
    hostile = np.array([kind.hostile_subsoil for kind in soils])[soil]
    reach = np.where(hostile, clay, clay - prescription.soft_clay_margin_mm)
    present = draws["present"].transpose("draw", "node").to_numpy().astype(bool)
    ha = rippable_ha(surfaces, survey, soil.size)
    bottom = draws["bottom_mm"].transpose("draw", "node").to_numpy().astype(np.float32)
    peak = draws["peak_kpa"].transpose("draw", "node").to_numpy()
    return Ground(
        present=present,
        top_mm=draws["top_mm"].transpose("draw", "node").to_numpy().astype(np.float32),
        bottom_mm=bottom,
        peak_kpa=_filled(peak, present),
        strength_kpa=_strength(peak, present, ha, soil, len(soils)),
        soil=soil,
        soils=soils,
        soil_names=surfaces.soil_types,
        ha=ha,
        clay_mm=clay,
        clay_draws_mm=drawn,
        shallow_clay_mm=shallow,
        hostile=hostile,
        reach_mm=np.maximum(reach, 0.0),
        ceiling_mm=clay_ceiling_mm(np.where(hostile, shallow, np.inf), prescription.clay_margin_mm),
        issues=issues,
    )


def _filled(peak_kpa: Floats, present: Bools) -> NDArray[np.float32]:
    """Peaks with the mean of those of pans where one is not known; NaN where none is."""
    known = present & np.isfinite(peak_kpa)
    usual = peak_kpa[known].mean(dtype=float) if known.any() else np.nan
    return np.where(np.isfinite(peak_kpa), peak_kpa, usual).astype(np.float32)


def _strength(peak_kpa: Floats, present: Bools, ha: Floats, soil: Ints, n_soils: int) -> Floats:
    """Mean peak over the ground of each soil type that has a pan, (n_draws, n_soils)."""
    of_soil = ha[:, None] * (soil[:, None] == np.arange(n_soils))
    pan = present & np.isfinite(peak_kpa)
    area, total = pan @ of_soil, np.where(pan, peak_kpa, 0.0) @ of_soil
    return np.where(area > 0, total / np.where(area > 0, area, 1.0), np.nan)


def rippable_ha(surfaces: Surfaces, survey: Survey, n_nodes: int) -> Floats:
    """Area of each node's cells that lie inside the paddock and outside all exclusions."""
    frame, closed = surfaces.frame, survey.paddock.exclusions.geometry
    free = surfaces.inside & (surfaces.node_of_cell >= 0)
    if len(closed):
        x, y = np.meshgrid(frame.x_m, frame.y_m)
        whole = shapely.union_all(np.asarray(closed))
        shapely.prepare(whole)
        free = free & ~shapely.contains_xy(whole, x, y)
    return np.asarray(np.bincount(surfaces.node_of_cell[free], minlength=n_nodes) * frame.cell_area_ha, dtype=float)


def _clay_depth(
    mapped_mm: Floats, soil: Ints, soils: tuple[SoilType, ...], names: tuple[str, ...]
) -> tuple[Floats, Issues]:
    clay, issues = mapped_mm.copy(), []
    for code, (name, kind) in enumerate(zip(names, soils, strict=True)):
        unknown = (soil == code) & np.isnan(mapped_mm)
        if kind.hostile_subsoil and kind.clay_depth is not None and unknown.any():
            clay[unknown] = kind.clay_depth.span[0]
            issues.append(
                Issue(
                    stage="prescription",
                    code="clay-depth-assumed",
                    what=f"{name}: depth to the hostile clay is not known on {percent(unknown.mean())} of the ground",
                    done=Said(
                        "the shallow end of the soil type's usual depth is used, {depth}",
                        depth=depth(kind.clay_depth.span[0]),
                    ),
                    place=name,
                )
            )
    return np.where(np.isnan(clay), np.inf, clay), tuple(issues)


def _floored(clay_mm: Floats) -> Floats:
    """Depths to clay rounded down to what limits go by; infinite ones stay."""
    return np.asarray(np.floor(clay_mm / LIMIT_STEP_MM) * LIMIT_STEP_MM)
