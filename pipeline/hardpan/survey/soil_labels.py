"""Labels of soil maps: which type of the catalog each means, and which of the catalog is near where none is."""

import difflib
import re
from collections.abc import Iterable, Mapping

from hardpan.core.errors import AmbiguousInputError, InputError
from hardpan.records.issues import Issue
from hardpan.records.soils import SoilType
from hardpan.survey.notes import listed, warned
from hardpan.survey.settings import SoilSettings

UNMAPPED = "unmapped"
"""Type of the catalog for ground of which nothing is known."""


def squeeze(label: str) -> str:
    """Label without case, underscores, hyphens and doubled spaces."""
    return " ".join(re.sub(r"[_\-]+", " ", label).casefold().split())


def refuse_wrong_targets(settings: SoilSettings, soil_types: Mapping[str, SoilType]) -> None:
    """Refuse a label that is mapped to no soil type.

    Raises
    ------
    InputError
        With the names known, and the nearest.
    """
    known = _every_label(soil_types)
    for label, target in settings.mapping.items():
        if squeeze(target) not in known:
            raise InputError(
                what=f"{label!r} is mapped to {target!r}, which is no soil type",
                where="[soil.mapping]",
                right=f"one of {listed(sorted(soil_types), 12)}",
                do=f'write "{label}" = "{_nearest(target, known) or min(soil_types)}"',
            )


def _every_label(soil_types: Mapping[str, SoilType]) -> dict[str, str]:
    """Soil type of each name and label, squeezed; of a label of several the first."""
    found: dict[str, str] = {}
    for name, soil in soil_types.items():
        for label in (name, *soil.labels):
            found.setdefault(squeeze(label), name)
    return found


def _nearest(label: str, known: Mapping[str, str]) -> str | None:
    """Soil type whose name or label is nearest to a text, None where none is near."""
    near = difflib.get_close_matches(squeeze(label), known, n=1, cutoff=0.6)
    return known[near[0]] if near else None


def default_soil(settings: SoilSettings, soil_types: Mapping[str, SoilType]) -> str | None:
    """Soil type of ground without a usable label; the general type of unmapped ground where none is set.

    Raises
    ------
    InputError
        The one that is set is no type of the catalog.
    """
    if settings.default_type is None:
        return UNMAPPED if UNMAPPED in soil_types else None
    found = _match(settings.default_type, settings, soil_types)
    if found is None:
        raise InputError(
            what=f"{settings.default_type!r} is no soil type of the catalog",
            where="soil.default_type",
            right=f"one of {listed(sorted(soil_types))}",
        )
    return found


def _match(label: str, settings: SoilSettings, soil_types: Mapping[str, SoilType]) -> str | None:
    wanted = squeeze(label)
    mapped = {squeeze(key): value for key, value in settings.mapping.items()}
    return _every_label(soil_types).get(squeeze(mapped.get(wanted, wanted)))


def match_labels(
    labels: Iterable[object], settings: SoilSettings, soil_types: Mapping[str, SoilType]
) -> list[str | None]:
    """Soil type of the catalog for each label, None where there is none."""
    return [_match(str(label), settings, soil_types) if str(label).strip() else None for label in labels]


def name_soils(
    labels: list[str], settings: SoilSettings, soil_types: Mapping[str, SoilType], file: str
) -> tuple[list[str], tuple[Issue, ...]]:
    """Soil type of each label, the default where a label is none of the catalog, which is told.

    Raises
    ------
    AmbiguousInputError
        A label is none, and there is no default to take.
    """
    found = match_labels(labels, settings, soil_types)
    unknown = sorted({label.strip() or "(blank)" for label, name in zip(labels, found, strict=True) if name is None})
    if not unknown:
        return [name for name in found if name is not None], ()
    default = default_soil(settings, soil_types)
    every = _every_label(soil_types)
    lines = listed([f'"{one}" = "{_nearest(one, every) or "..."}"' for one in unknown], 3)
    if default is None or (settings.default_type is None and not any(found)):
        raise AmbiguousInputError(
            what=f"soil labels {listed(unknown)} are no types of the catalog ({listed(sorted(soil_types), 12)})",
            where=file,
            do=f"add {lines} to [soil.mapping], or set soil.default_type",
        )
    issue = warned(
        "soil-label",
        f"soil labels {listed(unknown)} are no types of the catalog ({listed(sorted(soil_types), 12)})",
        f"taken as the default type {default}; add {lines} to [soil.mapping]",
        file=file,
        place=f"feature {listed([at + 1 for at, name in enumerate(found) if name is None])}",
    )
    return [name or default for name in found], (issue,)
