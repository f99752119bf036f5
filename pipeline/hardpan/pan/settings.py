"""Settings of pan detection."""

from typing import Literal

from hardpan.core.settings import Settings, setting


class PanSettings(Settings):
    """The `[pan]` table."""

    critical_kpa: float = setting(
        2500.0, says="Cone index above which roots are taken to be stopped", unit="kPa", source="pmc4950291", gt=0
    )
    hysteresis_kpa: float = setting(
        200.0,
        says="A pan begins and ends once resistance is this far from the threshold over the least thickness",
        unit="kPa",
        ge=0,
    )
    min_thickness_mm: float = setting(
        50.0, says="Thinner hard layers are not a pan, thinner soft gaps do not end it", unit="mm", ge=0
    )
    crust_mm: float = setting(100.0, says="A hard layer that ends above this depth is a crust", unit="mm", ge=0)
    search_to_mm: float = setting(700.0, says="A pan that starts deeper is out of a ripper's reach", unit="mm", gt=0)
    stone_ratio: float = setting(
        1.8, says="A single reading this many times harder than both neighbours is a stone", gt=1
    )
    noise_share: float = setting(
        0.08, says="Standard deviation of a reading, as a share of its value", source="unverified", ge=0, lt=1
    )
    sensitivity_kpa: tuple[float, ...] = setting(
        (1500.0, 2000.0, 2500.0), says="Thresholds of the sensitivity run", unit="kPa", told_only=True, min_length=1
    )
    moisture_model: Literal["none", "busscher-leao", "dasilva-kay", "silva"] = setting(
        "none", says="Published moisture normalisation; needs moisture at the same depth"
    )
    reference_theta: float = setting(0.25, says="Water content the readings are moved to", unit="m3/m3", gt=0, lt=1)
    clay_pct: float | None = setting(
        None, says="Clay content, needed by the models dasilva-kay and silva", unit="%", ge=0, le=100
    )
    organic_carbon_pct: float | None = setting(
        None, says="Organic carbon, needed by the model dasilva-kay", unit="%", ge=0, le=100
    )
    slice_mm: float = setting(100.0, says="Thickness of the depth slices", unit="mm", gt=0)
