"""Column names of the tables that cross walls, in one place."""

INSERTION = ("insertion", "site", "replicate", "x_m", "y_m", "date", "stop", "stop_mm", "source_file", "source_row")
"""Per-insertion coordinates of `Profiles.readings`."""

PAN = (
    "insertion",
    "site",
    "date",
    "state",
    "soft_to_mm",
    "missed",
    "doubt",
    "top_mm",
    "top_sd_mm",
    "bottom_mm",
    "bottom_kind",
    "bottom_low_mm",
    "bottom_high_mm",
    "bottom_sd_mm",
    "peak_kpa",
    "peak_sd_kpa",
    "peak_kind",
    "peak_depth_mm",
    "excess_kpa_mm",
    "seen",
    "reached_mm",
    "layer_mm",
    "next_mm",
    "geometry",
)
"""Columns of `PanFeatures.insertions`."""

TALLY = ("zone", "item", "quantity", "unit", "price", "amount", "low", "high")
"""Columns of `Ledger.lines` and of tallies.csv."""

ZONE = ("zone", "kind", "soil_type", "area_ha", "geometry")
"""First columns of `Zones.table`."""

PLAN = (
    "zone",
    "kind",
    "soil_type",
    "area_ha",
    "depth_mm",
    "setup",
    "spacing_mm",
    "speed_kmh",
    "passes",
    "runner_up_cost_per_ha",
    "breach_probability",
    "loosened_share",
    "net_per_ha",
    "net_low_per_ha",
    "net_high_per_ha",
    "loss_probability",
    "geometry",
)
"""Columns of `Plan.zones`."""
