"""The linear mixed model of a field whose covariance is to be fitted."""

from dataclasses import dataclass, replace

import numpy as np

from hardpan.core.arrays import Bools, Floats, Ints
from hardpan.geostat.covariance import Family
from hardpan.geostat.observations import Observations


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixedModel:
    """Linear mixed model of m observations at n sites with p trend columns."""

    xy_m: Floats
    """(n, 2) sites."""
    trend: Floats
    """(n, p) trend columns X at the sites."""
    trend_precision: Floats
    """(p,) prior precision of the trend coefficients, 0 for flat."""
    observations: Observations
    """Scaled to about unit variance: the bounds of the search are for such."""
    family: Family
    free: Bools
    """(8,) parameters that are fitted."""
    fixed: Floats
    """(8,) values of those that are not; a sill of -inf leaves the structures out."""
    bounds: Floats
    """(8, 2)."""
    groups: Ints | None = None
    """(n,) group of each site, where the likelihood is to be the sum over groups, each with a trend of its own:
    its cost grows with the number of sites then, not with its third power. None: that of all sites together."""

    def split(self) -> list[tuple["MixedModel", Bools]]:
        """Models of the groups with their observations (m,); groups without any are left out.

        Examples
        --------
        >>> from hardpan.geostat.parameters import N_PARAMETERS
        >>> seen = Observations(site=np.arange(4), low=np.ones(4), high=np.ones(4), error=np.zeros(4))
        >>> nothing, ends = np.zeros(N_PARAMETERS), np.zeros((N_PARAMETERS, 2))
        >>> model = MixedModel(
        ...     xy_m=np.zeros((4, 2)), trend=np.ones((4, 1)), trend_precision=np.zeros(1), observations=seen,
        ...     family="exponential", free=nothing > 0, fixed=nothing, bounds=ends, groups=np.array([0, 1, 1, 0]),
        ... )  # fmt: skip
        >>> [here.tolist() for _, here in model.split()]
        [[True, False, False, True], [False, True, True, False]]
        """
        parts, groups = [], np.zeros(len(self.xy_m), dtype=np.int64) if self.groups is None else self.groups
        for group in np.unique(groups):
            sites: Bools = groups == group
            observations, here = self.observations.at_sites(sites)
            model = replace(
                self, xy_m=self.xy_m[sites], trend=self.trend[sites], observations=observations, groups=None
            )
            parts.append((model, here))
        return [(model, here) for model, here in parts if here.any()]
