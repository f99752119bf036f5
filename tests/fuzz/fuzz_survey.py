"""Coverage-guided fuzzing of the survey: whatever a file holds, only a `HardpanError` may come out, and nothing else.

Not collected by pytest. Needs `atheris` and is run by hand, from the repository's root:

    python tests/fuzz/fuzz_survey.py CORPUS_FOLDER -max_total_time=1200 -max_len=20000 -timeout=10 -rss_limit_mb=1500

The first byte of an input picks what the rest is read as: readings, positions, boundary, soils, cores or raster.
Files given in `SEEDS` (a folder) are turned into a first corpus when CORPUS_FOLDER is empty.
"""

import os
import sys
import tempfile
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["hardpan.survey", "openpyxl", "zipfile"]):
    from hardpan.survey.settings import GridSettings, PaddockSettings, ProbeSettings, SoilSettings
    from hardpan.survey.stage import read_survey

from hardpan.core.errors import HardpanError
from hardpan.records.quantity import Quantity
from hardpan.records.soils import SoilType

SQUARE = (
    '{"type": "Polygon", "coordinates": [[[123.0, -28.025], [123.004, -28.025], [123.004, -28.022], '
    "[123.0, -28.022], [123.0, -28.025]]]}"
)
PROBES = "site,lat,lon,depth_cm,ci_kpa\n" + "".join(
    f"P{site},-28.02{site},123.00{site},{depth},{500 + 40 * depth}\n" for site in (3, 4) for depth in range(0, 50, 5)
).replace("P4,-28.024", "P4,-28.0236").replace("123.004", "123.0035")
PROBES += PROBES.split("\n", 1)[1].replace("P3", "P5").replace("-28.023,", "-28.0235,")
SUFFIXES = (".csv", ".xlsx", ".zip", ".csv", ".geojson", ".shp", ".kml", ".gpkg", ".geojson", ".csv", ".tif", ".asc")
"""By the first byte: readings (0-2), positions (3), boundary (4-7), soils (8), cores (9), raster (10-11)."""

_QUANTITY = Quantity(value=1.0, unit="1", source="design")
SOILS = {
    "sand": SoilType(
        texture="coarse",
        water_texture="sand",
        first_year_gain=_QUANTITY,
        persistence=_QUANTITY,
        persistence_controlled=_QUANTITY,
        seasons=_QUANTITY,
        **({"seasons_controlled": _QUANTITY} if "seasons_controlled" in SoilType.model_fields else {}),
    )
}
FOLDER = Path(tempfile.mkdtemp(prefix="fuzz-survey-"))
(FOLDER / "square.geojson").write_text(SQUARE)
(FOLDER / "good.csv").write_text(PROBES)


def settings_for(kind: int, path: Path):
    """The settings of a survey in which `path` stands for one input."""
    paddock = {"name": "fuzz", "boundary": FOLDER / "square.geojson", "boundary_crs": None}
    probes = {"file": FOLDER / "good.csv"}
    soil = {"default_type": "sand"}
    grid = {"cell_m": 25.0}
    if kind <= 2:
        probes["file"] = path
    elif kind == 3:
        probes["positions"] = path
    elif kind <= 7:
        paddock["boundary"] = path
    elif kind == 8:
        soil["polygons"] = path
        paddock["exclusions"] = path
    elif kind == 9:
        soil["cores"] = path
    else:
        grid["covariates"] = (path,)
    return PaddockSettings(**paddock), ProbeSettings(**probes), SoilSettings(**soil), GridSettings(**grid)


def test_one_input(data: bytes) -> None:
    """Read one input; anything but a survey or a `HardpanError` is a finding."""
    if not data:
        return
    kind = data[0] % len(SUFFIXES)
    path = FOLDER / f"input{SUFFIXES[kind]}"
    path.write_bytes(data[1:])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            read_survey(*settings_for(kind, path), SOILS)
        except HardpanError as error:
            if "\n" in str(error):
                message = f"an error of several lines: {error!s}"
                raise AssertionError(message) from error
    left = {entry.name for entry in FOLDER.iterdir()} - {"square.geojson", "good.csv", path.name}
    path.unlink()
    if left:
        message = f"stray files {left}"
        raise AssertionError(message)


def seed(corpus: Path, folder: Path) -> None:
    """Fill an empty corpus with the files of `folder`, one copy for each input they could stand for."""
    corpus.mkdir(parents=True, exist_ok=True)
    if any(corpus.iterdir()):
        return
    for path in sorted(folder.iterdir()):
        for kind, suffix in enumerate(SUFFIXES):
            if path.suffix == suffix and path.stat().st_size < 20_000:
                (corpus / f"{kind:02d}-{path.name}").write_bytes(bytes([kind]) + path.read_bytes())
    (corpus / "00-good").write_bytes(b"\x00" + PROBES.encode())
    (corpus / "04-square").write_bytes(b"\x04" + SQUARE.encode())


if __name__ == "__main__":
    if "SEEDS" in os.environ and len(sys.argv) > 1:
        seed(Path(sys.argv[1]), Path(os.environ["SEEDS"]))
    atheris.Setup(sys.argv, test_one_input)
    atheris.Fuzz()
