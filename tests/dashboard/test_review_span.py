"""The stretch of time that Review shows, after what a person did."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.events.event import Event
from meterlog_dashboard.review_span import MOVES, Session, dragged

times = st.floats(0.0, 1e5)


@given(st.floats(0.0, 1e6), st.tuples(times, times), st.sampled_from(MOVES))
def test_no_button_leaves_the_session(duration_s: float, ends: tuple[float, float], move: str) -> None:
    session = Session(duration_s)
    start_s, end_s = session.moved(move, session.clipped(*dragged(ends)))
    assert session.whole[0] - 1e-6 <= start_s < end_s <= session.whole[1] + 1e-6


def test_closer_halves_and_wider_doubles_around_the_middle() -> None:
    session = Session(1000.0)
    assert session.moved("closer", (400.0, 600.0)) == (450.0, 550.0)
    assert session.moved("wider", (400.0, 600.0)) == (300.0, 700.0)
    assert session.moved("later", (400.0, 600.0)) == (500.0, 700.0)


def test_an_event_comes_into_view_with_its_surroundings() -> None:
    event = Event("dropout", 1, 500.0, 500.4)
    assert Session(1000.0).on_event(event, (0.0, 1000.0)) == pytest.approx((497.0, 503.4))
    assert Session(1000.0).on_event(event, (495.0, 505.0)) == (495.0, 505.0)


def test_a_growing_session_is_followed_only_where_its_end_was_in_view() -> None:
    assert Session(110.0).followed((80.0, 101.0), 100.0) == (90.0, 111.0)
    assert Session(110.0).followed((-1.0, 101.0), 100.0) == (-1.0, 111.0)
    assert Session(110.0).followed((20.0, 40.0), 100.0) == (20.0, 40.0)
