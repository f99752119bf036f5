"""A report as its reader sees it, and what in it is metric."""

import re
from html.parser import HTMLParser

VOID = {"meta", "input", "br", "img", "link", "hr", "source"}
UNSEEN = {"script", "style", "pre", "metadata"}

METRIC = re.compile(
    r"(?<![\w/.-])\d[\d.,]*\s?(?:mm|cm|m|ha|kPa|MPa|kN|kW|km/h|L|kg|t)(?:/ha)?(?![\w/])"
    r"|(?<![\w.'])(?<!mol/)(?:mm|cm|m|ha|kPa|MPa|N/cm|kN|kW|kWh|km|km/h|L|kg|t)(?![\w.'])"
    r"|(?:litre|hectare|tonne|kilo|centimet|millimet)"
)
"""A number with a metric unit, or such a unit alone, as in a heading; the test for repellence is told in mol/L."""


class Seen(HTMLParser):
    """Visible text of a page piece by piece, but for the tables with one of the captions `but`."""

    def __init__(self, source: str, but: tuple[str, ...] = ()):
        super().__init__()
        self.but, self.pieces, self.open, self.cells = but, [], [], []
        self.feed(source)

    def handle_starttag(self, tag, attrs):
        if tag in VOID:
            return
        hidden = tag in UNSEEN or dict(attrs).get("aria-label") in self.but
        self.open.append((tag, hidden))
        label = dict(attrs).get("aria-label")
        if label and not any(hidden for _, hidden in self.open):
            self.pieces.append(label)

    def handle_endtag(self, tag):
        assert self.open.pop()[0] == tag

    def handle_data(self, data):
        if data.strip() and not any(hidden for _, hidden in self.open):
            (self.cells if ("td", False) in self.open else self.pieces).append(" ".join(data.split()))


def metric_in(source: str) -> list[str]:
    """What a page for US readers says in metric units, but for titles of sources and the settings as they stand."""
    seen = Seen(source, but=("Sources",))
    return [text for text in (*seen.pieces, *seen.cells) if METRIC.search(text)]
