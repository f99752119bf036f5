"""Text of the job card: its typeface, and what of a name that typeface can print."""

import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from xml.sax.saxutils import escape

import matplotlib as mpl
from reportlab import rl_config
from reportlab.lib.colors import Color, black
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

_RIGHT_TO_LEFT = ("R", "AL", "AN", "RLE", "RLO", "RLI")
"""Classes of letters that need a typesetter for both directions, and Arabic ones joining as well."""

_FACES = {"card": "DejaVuSans.ttf", "card-bold": "DejaVuSans-Bold.ttf"}
"""DejaVu (free licence) comes with matplotlib and knows Latin, Greek and Cyrillic letters."""


def prepare_typesetter() -> None:
    """Make the card's faces known to the typesetter; pictures go in as bytes, not spelled out as text."""
    rl_config.useA85 = 0
    for face in _FACES:
        pdfmetrics.registerFont(_face(face))


@lru_cache
def _face(face: str) -> TTFont:
    return TTFont(face, str(Path(mpl.get_data_path()) / "fonts" / "ttf" / _FACES[face]))


def printable(name: str) -> str:
    """Name with "…" for each run of letters the card cannot print."""
    known = _face("card-bold").face.charToGlyph
    shown = "".join(
        one if ord(one) in known and unicodedata.bidirectional(one) not in _RIGHT_TO_LEFT else "\0" for one in name
    )
    return re.sub(r"\0(?:\s*\0)*", "…", shown)


def paragraph(
    text: object,
    size: float,
    *,
    bold: bool = False,
    ink: Color = black,
    indent: float = 0,
    before: float = 0,
) -> Paragraph:
    """Text as a paragraph of the card; `indent` hangs all lines but the first."""
    style = ParagraphStyle(
        "card", fontName="card-bold" if bold else "card", fontSize=size, leading=1.25 * size, textColor=ink,
        leftIndent=indent, firstLineIndent=-indent, spaceBefore=before, splitLongWords=False,
    )  # fmt: skip
    return Paragraph(escape(str(text)), style)
