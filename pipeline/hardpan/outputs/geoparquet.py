"""Layers for the researcher as GeoParquet, working CRS."""

from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd

from hardpan.core.errors import SettingsError


def check_geoparquet(formats: Iterable[str]) -> None:
    """Refuse the format before any work where its library is not installed.

    Raises
    ------
    SettingsError
        GeoParquet is asked for and pyarrow is missing.
    """
    if "geoparquet" in formats and find_spec("pyarrow") is None:
        raise SettingsError(
            what="geoparquet needs pyarrow", where="outputs.formats", do="install the extra hardpan[parquet]"
        )


def write_geoparquet(path: Path, layer: gpd.GeoDataFrame) -> None:
    """Write one layer."""
    layer.to_parquet(path, index=False)
