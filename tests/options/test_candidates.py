"""The candidate depths, set-ups and numbers of tines."""

import pytest

from hardpan.core.errors import SettingsError
from hardpan.options.candidates import tine_counts


def test_more_tines_than_the_ripper_has_are_refused(catalog):
    assert tine_counts(catalog.ripper) == (7, 5, 3, 1)
    assert tine_counts(catalog.ripper, 4) == (4,)
    with pytest.raises(SettingsError, match="at most the 7"):
        tine_counts(catalog.ripper, 8)
