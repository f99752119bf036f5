"""Settings of the outputs."""

from collections.abc import Mapping
from typing import Literal

from pydantic import model_validator

from hardpan.core.settings import Settings, setting

Format = Literal[
    "geojson", "shapefile", "geopackage", "isoxml", "geotiff", "report", "job-card", "kml", "geoparquet", "netcdf"
]


class OutputSettings(Settings):
    """The `[outputs]` table."""

    formats: tuple[Format, ...] = setting(
        ("geojson", "shapefile", "geopackage", "isoxml", "geotiff", "report", "job-card"), says="What to write"
    )
    force: bool = setting(
        False, says="Write the files for the display although the soil is too wet to rip; also run --force"
    )
    display_unit: Literal["cm", "mm", "in"] = setting(
        "cm", says="Unit of the display's depth column; left out in US units, inches"
    )
    units: Literal["metric", "us"] = setting(
        "metric", says="Units for people in report, card, tallies and display file"
    )
    isoxml_version: Literal["3.3", "4"] = setting("3.3", says="ISO 11783-10 version of the task data")
    isoxml_shape: Literal["grid2", "grid1", "polygons"] = setting("grid2", says="Shape of the task data")
    grid_cell_m: float | None = setting(
        None, says="Cell of the task grid; half the working width when left out", unit="m", gt=0
    )
    max_grid_side: int = setting(250, says="Most rows and most columns of the task grid; held", ge=10)
    grid_tolerance: float = setting(
        0.01, says="Share a task grid may be off untold in the hectares of a depth", unit="share", gt=0, lt=1
    )
    max_polygons: int = setting(300, says="Most polygons of the display file", ge=1)
    max_vertices: int = setting(10_000, says="Most vertices of the display file", ge=10)
    max_ring_vertices: int = setting(1_000, says="Most vertices of one ring of the display file", ge=4)

    @model_validator(mode="before")
    @classmethod
    def _in_inches(cls, given: object) -> object:
        """The same with inches on the display in US units where nothing was asked for, as run.json then says."""
        if isinstance(given, Mapping) and given.get("units") == "us":
            return {"display_unit": "in", **given}
        return given
