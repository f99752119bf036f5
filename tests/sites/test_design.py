"""Sites shared out among soil types."""

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from hardpan.sites.design import share_out


@given(
    ha=st.lists(st.floats(0.01, 200.0), min_size=1, max_size=6),
    room=st.lists(st.integers(0, 40), min_size=6, max_size=6),
    had=st.lists(st.integers(0, 9), min_size=6, max_size=6),
    count=st.integers(1, 60),
    least=st.integers(1, 5),
)
@example(ha=[0.5, 0.25], room=[0, 4, 0, 0, 0, 0], had=[0] * 6, count=1, least=1)  # no room where one is kept
def test_all_sites_are_shared_out_and_none_goes_where_there_is_no_room(ha, room, had, count, least):
    n = len(ha)
    room = np.array(room[:n])
    count = min(count, int(room.sum()))
    if count == 0:
        return
    out = share_out(count, np.array(ha), least=least, least_ha=0.5, room=room, had=np.array(had[:n]))
    assert out.sum() == count
    assert (out >= 0).all()
    assert (out <= room).all()


def test_a_small_soil_type_has_the_least_number_and_a_sliver_none():
    ha, room = np.array([90.0, 4.0, 0.001]), np.array([999, 99, 1])
    assert share_out(20, ha, least=3, least_ha=0.5, room=room).tolist() == [17, 3, 0]


def test_with_fewer_sites_than_soil_types_the_largest_come_first():
    assert share_out(2, np.array([5.0, 30.0, 20.0]), least=3, least_ha=0.5, room=np.full(3, 99)).tolist() == [0, 1, 1]


def test_sites_that_are_there_count():
    ha, room = np.array([50.0, 50.0]), np.full(2, 99)
    assert share_out(6, ha, least=3, least_ha=0.5, room=room, had=np.array([8, 2])).tolist() == [0, 6]
