"""Text from outside, made fit for every file it may be written to."""

import re

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
"""Control characters but tab and line ends, halves of pairs, and code points that are no characters: XML, HTML and most
readers refuse them."""
_LINE_END = re.compile("[\r\n\u2028\u2029]+")


def clean(text: str) -> str:
    """The text on one line, each control character replaced by U+FFFD."""
    if text.isprintable():
        return text
    return _CONTROL.sub("\ufffd", _LINE_END.sub(" ", text))


def has_control(text: str) -> bool:
    """Whether the text holds a control character other than tab and line ends."""
    return _CONTROL.search(text) is not None
