"""Settings of the surfaces."""

from typing import Annotated, Literal

from pydantic import Field

from hardpan.core.settings import InputPath, Settings, setting
from hardpan.geostat import MICRO, PRIOR_HIGH, PRIOR_RANGE_FACTOR, SILL


class PriorSettings(Settings):
    """The `[surfaces.priors]` table: what is usual of a pan; few or bounded readings lean on it, many overrule it.

    The scatter of a depth is that of readings over the slope they cross the threshold at. Between ten insertions of a
    plot of 18 x 84 m cone index scatters by 15 % to 39 %, by 24 % in the middle plot (`nichols2020`), its peak by 10 %
    and more. A site is smaller: usual is the plot that scatters least, 15 % of 2,500 kPa over some 15 kPa/mm, which is
    25 mm, and the middle plot is a `noise_factor` away. Slopes lie between 5 kPa/mm, where a hard layer fades out
    below and a bottom scatters more, and 40 above it, where a top scatters less; readings of a paddock overrule this.
    """

    thickness_mm: float = setting(
        150.0, says="Usual thickness of a pan; where no bottom is seen the bottom is so far below the top",
        unit="mm", source="design", gt=0,
    )  # fmt: skip
    mean_sd_mm: float = setting(
        80.0, says="Standard deviation of a paddock's mean thickness about the usual one", unit="mm", gt=0
    )
    thickness_sd_mm: float = setting(
        45.0, says="Usual standard deviation of the thickness over one paddock", unit="mm", gt=0
    )
    noise_mm: float = setting(
        25.0, says="Usual standard deviation of a top or bottom between insertions of one site",
        unit="mm", source="nichols2020", gt=0,
    )  # fmt: skip
    peak_spread: float = setting(
        0.2,
        says="Usual standard deviation of the logarithm of the peak over one paddock",
        unit="ratio",
        source="unverified",
        gt=0,
    )
    peak_mean_sd: float = setting(
        0.2,
        says="Where no insertion passed its peak, the mean of the peak's logarithm lies peak_spread above that of the"
        " hardest readings, with this standard deviation",
        unit="ratio",
        source="unverified",
        gt=0,
    )
    peak_noise: float = setting(
        0.1, says="Usual standard deviation of the logarithm of the peak between insertions of one site",
        unit="ratio", source="nichols2020", gt=0,
    )  # fmt: skip
    noise_factor: float = setting(
        1.6,
        says="Factor either way within which the scatter between insertions lies two times in three",
        unit="ratio",
        source="nichols2020",
        gt=1,
    )
    range_m: float | None = setting(
        None, says="Usual effective range of a variable; a quarter of the paddock's diagonal when left out",
        unit="m", gt=0,
    )  # fmt: skip
    range_factor: float = setting(
        PRIOR_RANGE_FACTOR, says="Factor either way within which the range lies two times in three", unit="ratio", gt=1
    )
    structure_high: float = setting(
        PRIOR_HIGH[SILL],
        says="Standard deviation of the spatial structure over that of the readings, higher one time in twenty",
        unit="ratio",
        gt=0,
    )
    micro_high: float = setting(
        PRIOR_HIGH[MICRO], says="The same of what changes from one site to the next metre", unit="ratio", gt=0
    )


class StructureSettings(Settings):
    """Parameters of a variable's covariance that are given and not fitted; what is left out is fitted.

    Variances are in the variable's unit squared: mm² for top and bottom, of the logarithm for the peak, of the latent
    field for the presence of a pan.
    """

    range_m: float | None = setting(None, says="Effective range: at it the correlation is down to 5 %", unit="m", gt=0)
    sill: float | None = setting(None, says="Variance of the spatial structure", gt=0)
    micro: float | None = setting(None, says="Variance between sites next to each other", gt=0)


class VarianceSettings(StructureSettings):
    """The same with the scatter of repeated insertions."""

    noise: float | None = setting(None, says="Variance between insertions of one site", gt=0)


class CovarianceSettings(Settings):
    """The `[surfaces.covariance]` table."""

    pan: StructureSettings = setting(StructureSettings(), says="Given covariance of the presence of a pan")
    top: VarianceSettings = setting(VarianceSettings(), says="Given covariance of the top, mm²")
    bottom: VarianceSettings = setting(VarianceSettings(), says="Given covariance of the bottom, mm²")
    peak: VarianceSettings = setting(VarianceSettings(), says="Given covariance of the logarithm of the peak")


class SurfaceSettings(Settings):
    """The `[surfaces]` table."""

    cell_m: float = setting(5.0, says="Cell of the working grid", unit="m", gt=0)
    covariates: tuple[InputPath, ...] = setting((), says="Rasters used as trend, e.g. apparent conductivity")
    covariates_crs: str | None = setting(None, says="CRS of covariate rasters whose file states none")
    covariates_nodata: float | None = setting(None, says="Nodata value of covariate rasters that declare none")
    family: Literal["auto", "exponential", "spherical", "matern32", "matern52"] = setting(
        "auto", says="Covariance family; auto = lowest AIC"
    )
    form: Literal["auto", "plain", "stretched", "nested"] = setting(
        "auto",
        says="Covariance alike in all directions, stretched along one, or of two ranges; auto = clearly lowest AIC",
    )
    trend: tuple[Literal["soil", "covariates", "coordinates"], ...] = setting(
        ("soil", "covariates"), says="What enters the trend"
    )
    draws: int = setting(200, says="Conditional draws carried to depth and money", ge=20, le=5000)
    node_m: float = setting(20.0, says="Spacing of the nodes at which draws are joint", unit="m", gt=0)
    block: bool = setting(True, says="Predict the mean of a cell instead of a point")
    clay_spread: float = setting(
        0.15,
        says="Usual spread of the depth to clay within a soil type, standard deviation over depth; a choice",
        unit="share",
        gt=0,
        le=1,
    )
    clay_map_error: float = setting(
        0.15,
        says="Standard error of the depth to clay that the soil map states for a soil type, over the depth; a choice",
        unit="share",
        gt=0,
        le=1,
    )
    core_error_mm: float = setting(
        20.0, says="Standard error of the depth to clay read from a core; a choice of this tool", unit="mm", gt=0
    )
    clay_doubt: float = setting(
        0.3,
        says="Chance that a hard layer below the pan is not the clay; near 1 it is hardly evidence; a choice",
        unit="share",
        gt=0,
        lt=1,
    )
    precision_mm: float = setting(
        30.0,
        says="Standard deviation of the mapped bottom to aim at; the report says how many more probes",
        unit="mm",
        told_only=True,
        gt=0,
    )
    slices: bool = setting(False, says="Also map cone index by depth slice")
    deeper_than_mm: tuple[Annotated[float, Field(gt=0)], ...] = setting(
        (), says="Depths for which to map the probability that the pan goes deeper, from the draws", unit="mm"
    )
    priors: PriorSettings = setting(PriorSettings(), says="What is usual of a pan before its readings are looked at")
    covariance: CovarianceSettings = setting(
        CovarianceSettings(), says="Parameters of the covariances that are given, not fitted"
    )
    threads: int = setting(2, says="Threads of the kriging engine; the result does not depend on it", ge=1)
