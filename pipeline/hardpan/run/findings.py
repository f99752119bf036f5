"""What a folder's files say for certain of a configuration, and what is left to ask."""

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from hardpan.run.catalog import read_catalog
from hardpan.run.config import PaddockConfig
from hardpan.survey.inputs.contents import Content, Kind, look_at


@dataclass(slots=True, kw_only=True)
class Findings:
    """What is filled into a template: values by key with the reason, and questions by table."""

    values: dict[str, tuple[object, str]] = field(default_factory=dict)
    asks: dict[str, list[str]] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)
    """What `hardpan check` says of the configuration as it stands, a line each."""

    def sure(self, key: str, value: object, why: str) -> None:
        """Note a value and what says so."""
        self.values[key] = (value, why)

    def ask(self, table: str, question: str) -> None:
        """Note a question, which stands in the table it belongs to."""
        self.asks.setdefault(table, []).append(question)


def find(folder: Path, beside: Path) -> Findings:
    """What the files of `folder` say of a configuration that will lie in the folder `beside`.

    Raises
    ------
    InputError
        There is no such folder.
    """
    soil_types = read_catalog(PaddockConfig.model_construct()).soils
    contents = look_at(folder, soil_types)
    found = Findings()
    _fill_ground(found, contents, folder, beside)
    _fill_probes(found, contents, beside)
    _fill_covariates(found, _of(contents, "raster"), beside)
    for one in _of(contents, "lines"):
        found.ask("sites", f'{one.path.name} {one.why}; if wheel tracks: tramlines = "{_from(one.path, beside)}"')
    for one in _of(contents, "unknown"):
        found.ask("paddock", f"{one.path.name} is not used: {one.why}")
    return found


def _of(contents: Sequence[Content], kind: Kind) -> list[Content]:
    return [one for one in contents if one.kind == kind]


def _from(path: Path, beside: Path) -> str:
    """Path of a file as a configuration in the folder `beside` names it."""
    return Path(os.path.relpath(path.resolve(), beside.resolve())).as_posix()


def _fill_ground(found: Findings, contents: Sequence[Content], folder: Path, beside: Path) -> None:
    boundary = _only(found, _of(contents, "polygons"), "paddock.boundary", beside)
    found.sure("paddock.name", folder.resolve().name, "the folder's name")
    if boundary is not None and "name" in boundary.states:
        found.sure("paddock.name", boundary.states["name"], f"the name of the polygon in {boundary.path.name}")
    if boundary is None and not _of(contents, "polygons"):
        found.ask("paddock", f"no polygon in {folder} can be the boundary: name its file")
    _only(found, _of(contents, "exclusions"), "paddock.exclusions", beside)
    soil = _only(found, _of(contents, "soils"), "soil.polygons", beside)
    if soil is not None:
        found.sure("soil.type_field", soil.states["type_field"], f"its labels are soil types, {soil.path.name}")
    _only(found, _of(contents, "cores"), "soil.cores", beside)


def _only(found: Findings, fit: Sequence[Content], key: str, beside: Path) -> Content | None:
    """The one file that fits a key, which is filled in; of several, none is chosen and the question noted."""
    if len(fit) == 1:
        found.sure(key, _from(fit[0].path, beside), fit[0].why)
        return fit[0]
    table, _, name = key.partition(".")
    for one in fit:
        found.ask(
            table, f'{len(fit)} files may be {name}; is it this, which {one.why}? {name} = "{_from(one.path, beside)}"'
        )
    return None


def _fill_probes(found: Findings, contents: Sequence[Content], beside: Path) -> None:
    readings = _of(contents, "readings")
    if not readings:
        found.ask("probes", "no table of readings was recognised: name its file, and its columns in [probes.columns]")
        return
    if len(readings) == 1:
        found.sure("probes.file", _from(readings[0].path, beside), readings[0].why)
    else:
        paths = ", ".join(f'"{_from(one.path, beside)}"' for one in readings)
        held = "; ".join(f"{one.path.name} {one.why}" for one in readings)
        found.ask("probes", f"{held}; name one, or all where they are of one survey: file = [{paths}]")
    for key, value in _shared(readings):
        found.sure(f"probes.{key}", value, f"from {', '.join(one.path.name for one in readings)}")
    if not all(one.placed for one in readings):
        places = _of(contents, "positions")
        _only(found, places, "probes.positions", beside)
        if not places:
            found.ask("probes", "the readings have no positions, and no file here has: name one in probes.positions")


def _shared(readings: Sequence[Content]) -> Iterator[tuple[str, str]]:
    """What all tables of readings state alike."""
    for key, value in readings[0].states.items():
        if all(one.states.get(key) == value for one in readings):
            yield key, value


def _fill_covariates(found: Findings, rasters: Sequence[Content], beside: Path) -> None:
    sure = [one for one in rasters if one.placed]
    if sure:
        why = "; ".join(f"{one.path.name}: {one.why}" for one in sure)
        found.sure("surfaces.covariates", [_from(one.path, beside) for one in sure], why)
    for one in rasters:
        if not one.placed:
            found.ask("surfaces", f'{one.path.name}, {one.why}: covariates = ["{_from(one.path, beside)}"]')
