"""Layers for the researcher as GeoParquet, working CRS; what no plan could be written as, known before there is one."""

from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd

from hardpan.core.errors import SettingsError
from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.settings import OutputSettings
from hardpan.records.survey import Survey


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


def check_outputs(survey: Survey, settings: OutputSettings) -> None:
    """Refuse a format whose library is missing, and a paddock that displays cannot place.

    Raises
    ------
    HardpanError
        A format needs a library that is not installed, or the paddock has no place in WGS 84.
    """
    check_geoparquet(settings.formats)
    to_wgs84(survey.paddock.boundary.to_numpy(), survey.crs)
