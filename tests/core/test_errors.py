"""Text from outside: what is replaced, and that nobody's letters are."""

from collections.abc import Mapping

import pytest

from hardpan.core.errors import InputError, SettingsError, clean, has_control
from hardpan.core.settings import Settings, parse


@pytest.mark.parametrize("text", ["pad A", "Grünland Süd", "北の畑", "P\t1", "50 % clay – loam", "a\u200db"])
def test_letters_of_any_script_stay(text):
    assert clean(text) == text
    assert not has_control(text)


@pytest.mark.parametrize("code", [0x00, 0x07, 0x0B, 0x1B, 0x7F, 0x85, 0xD800, 0xFFFE])
def test_control_characters_are_replaced(code):
    assert clean(f"a{chr(code)}b") == "a\ufffdb"
    assert has_control(chr(code))


def test_line_ends_become_blanks():
    assert clean("a\r\nb\u2028c") == "a b c"


def test_a_message_carries_no_control_character_to_the_terminal():
    assert (
        str(InputError(what="no column '\x1b[31mred'", where="p\x00.csv")) == "p\ufffd.csv: no column '\ufffd[31mred'"
    )


class _Table(Settings):
    name: str
    labels: Mapping[str, str] = {}


@pytest.mark.parametrize(
    ("values", "key"), [({"name": "pad\x00A"}, "name"), ({"name": "a", "labels": {"x": "\x1b"}}, "labels.x")]
)
def test_settings_with_a_control_character_are_refused_by_key(values, key):
    with pytest.raises(SettingsError, match=f"{key} holds a control character"):
        parse(_Table, values, file="c.toml")
