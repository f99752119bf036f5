"""Memory of this process."""

import sys

import pytest

from hardpan.run.free_memory import give_back, held_bytes

MB = 1e6


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the system is not asked")
def test_what_was_freed_between_things_that_are_kept_goes_back_to_the_system():
    blocks = [bytes(2000) for _ in range(50_000)]
    held, kept = held_bytes(), blocks[-1]
    del blocks
    give_back()
    assert held - held_bytes() > 50 * MB
    assert len(kept) == 2000
