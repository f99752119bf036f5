"""What no plan could be written as, known before there is one."""

from hardpan.outputs.geodesy import to_wgs84
from hardpan.outputs.geoparquet import check_geoparquet
from hardpan.outputs.settings import OutputSettings
from hardpan.records.survey import Survey


def check_outputs(survey: Survey, settings: OutputSettings) -> None:
    """Refuse a format whose library is missing, and a paddock that displays cannot place.

    Raises
    ------
    HardpanError
        A format needs a library that is not installed, or the paddock has no place in WGS 84.
    """
    check_geoparquet(settings.formats)
    to_wgs84(survey.paddock.boundary.to_numpy(), survey.crs)
