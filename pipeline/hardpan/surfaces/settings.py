"""Settings of the surfaces."""

from typing import Literal

from hardpan.core.settings import InputPath, Settings, setting


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
    precision_mm: float = setting(
        30.0,
        says="Standard deviation of the mapped bottom to aim at; the report says how many more probes",
        unit="mm",
        gt=0,
    )
    slices: bool = setting(False, says="Also map cone index by depth slice")
    threads: int = setting(2, says="Threads of the kriging engine; the result does not depend on it", ge=1)
