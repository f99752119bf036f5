"""Maps and draws from more sites than one system can hold: a model of some, and kriging from the nearest of all.

The covariance is fitted to as many sites, spread over all, as the largest system holds. With thousands of sites the
doubt of its parameters no longer shows, so that kriging then takes their mean. Bounded readings of all sites become
Gaussian data first.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
from scipy.spatial import KDTree

from hardpan.core.arrays import Floats
from hardpan.core.threads import Progress, share_of
from hardpan.geostat import (
    NODES,
    SITES,
    Covariance,
    Noise,
    draw_on_lattice,
    gaussian_pseudodata,
    krige_nearest,
    morton_order,
)
from hardpan.records.issues import Issue
from hardpan.surfaces.domain import NEGATIVE_SPECTRUM, Domain, Places
from hardpan.surfaces.variables import FittedField, Moments, Variable, stream_of

MOST_JOINT = 600
"""Sites up to which all are one system: beyond, its time grows by the third power, and its memory by the second."""

FITTED = MOST_JOINT
"""Sites the covariance is fitted to then: as many as of the largest system."""

_NEIGHBOURS = 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearestKriging:
    """One field seen from all sites."""

    covariance: Covariance
    xy_m: Floats
    """(s, 2) sites with a reading."""
    values: Floats
    """(s,) data about the trend."""
    error: Floats
    """(s,) their variance."""
    trend: Floats
    """(p,) coefficients."""

    def krige(self, xy_m: Floats, values: Floats, block_m: float | None, threads: int) -> tuple[Floats, Floats]:
        """Mean and variance about the trend, micro-scale included, at places (m, 2)."""
        ones = np.ones((len(self.xy_m), 1)), np.ones((len(xy_m), 1))
        found = krige_nearest(
            self.covariance, self.xy_m, ones[0], values, xy_m, ones[1],
            neighbours=_NEIGHBOURS, error_variance=self.error, block_m=block_m, threads=threads,
        )  # fmt: skip
        return found.mean, found.variance + (self.covariance.micro if block_m else 0.0)


def thin_sites(insertions: gpd.GeoDataFrame, domain: Domain) -> tuple[gpd.GeoDataFrame, Domain, Issue]:
    """Insertions of a few hundred sites, and the domain with these sites only.

    Half are spread over all, the others are their nearest: pairs show what fades over a few metres.
    """
    order = morton_order(domain.sites.xy_m)
    spread = order[np.linspace(0, len(order) - 1, FITTED // 2).round().astype(np.int64)]
    nearest = KDTree(domain.sites.xy_m).query(domain.sites.xy_m[spread], k=2)[1][:, 1]
    kept = np.union1d(spread, nearest)
    here = np.isin(domain.site_of, kept)
    sites = Places(**{name: getattr(domain.sites, name)[kept] for name in ("xy_m", "soil", "trend")})
    issue = Issue(
        stage="surfaces",
        code="many-sites",
        what=f"{len(order)} sites are more than one system can hold",
        done=f"the covariance and its scores are those of {len(kept)} sites spread over all; maps and draws are kriged"
        f" from the nearest {_NEIGHBOURS} of all",
    )
    fitted = replace(domain, sites=sites, site_of=np.searchsorted(kept, domain.site_of[here]))
    return insertions[here].reset_index(drop=True), fitted, issue


def condition_all(
    fields: Mapping[str, FittedField], variables: Mapping[str, Variable], domain: Domain, threads: int
) -> dict[str, NearestKriging]:
    """Every field conditioned on all sites; `variables` and `domain` are those of all."""
    out: dict[str, NearestKriging] = {}
    for name, field in fields.items():
        trend = domain.sites.trend
        if field.on_strength:
            strength = out["peak"].krige(domain.sites.xy_m, out["peak"].values, None, threads)[0]
            trend = np.column_stack([trend, strength + domain.sites.trend @ out["peak"].trend])
        out[name] = _condition(field, variables[name], domain.sites.xy_m, trend)
    return out


def _condition(field: FittedField, variable: Variable, xy_m: Floats, trend: Floats) -> NearestKriging:
    mixture, covariance = field.mixture, field.mixture.mean_covariance
    beta = mixture.weight @ mixture.posterior.beta
    about = (trend @ beta)[variable.observations.site]
    scale = variable.scale / field.variable.scale
    about -= (variable.centre - field.variable.centre) / field.variable.scale
    observations = replace(
        variable.observations,
        low=variable.observations.low * scale - about,
        high=variable.observations.high * scale - about,
        error=variable.observations.error * scale**2,
    )
    precision, total = gaussian_pseudodata(covariance, xy_m, observations)
    seen = precision > 0
    return NearestKriging(
        covariance=replace(covariance, noise=0.0),
        xy_m=xy_m[seen],
        values=total[seen] / precision[seen],
        error=1.0 / precision[seen],
        trend=beta,
    )


def map_many_sites(
    nears: Mapping[str, NearestKriging],
    fields: Mapping[str, FittedField],
    domain: Domain,
    *,
    block_m: float | None,
    threads: int,
    progress: Progress,
) -> dict[str, Moments]:
    """Mean and variance of every field over every cell inside, as of `maps.map_fields`."""
    out: dict[str, Moments] = {}
    for done, (name, near) in enumerate(nears.items()):
        mean, variance = near.krige(domain.cells.xy_m, near.values, block_m, threads)
        trend = domain.cells.trend
        if fields[name].on_strength:
            trend = np.column_stack([trend, out["peak"][0]])
            variance = variance + near.trend[-1] ** 2 * out["peak"][1]
        out[name] = mean + trend @ near.trend, variance
        share_of(progress, done, len(nears))(1.0)
    return out


def draw_many_sites(
    nears: Mapping[str, NearestKriging],
    fields: Mapping[str, FittedField],
    domain: Domain,
    n_draws: int,
    *,
    seed: int,
    threads: int,
) -> dict[str, Floats]:
    """Draws of every field as of `draws.draw_fields`: free draws that kriging carries over to the data."""
    out: dict[str, Floats] = {}
    nodes = domain.nodes
    for name, near in nears.items():
        rng = stream_of(name, seed)
        noise = Noise.seeded(rng, n_draws)
        at_nodes, at_data = draw_on_lattice(near.covariance, nodes.xy_m, near.xy_m, noise, negative=NEGATIVE_SPECTRUM)
        at_nodes += np.sqrt(near.covariance.micro) * noise.each(NODES, len(at_nodes)).T
        at_data += np.sqrt(near.covariance.micro + near.error)[:, None] * noise.at(SITES, near.xy_m).T
        drawn = (at_nodes + near.krige(nodes.xy_m, near.values[:, None] - at_data, None, threads)[0]).T
        trend = nodes.trend @ near.trend[: nodes.trend.shape[1]]
        drawn = drawn + (trend + near.trend[-1] * out["peak"] if fields[name].on_strength else trend)
        out[name] = drawn + rng.standard_normal(drawn.shape) if fields[name].variable.binary else drawn
    return out
