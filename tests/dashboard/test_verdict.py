"""Each finding leads to its place in the curve, and what cursors measure has its error."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from meterlog.loaded import load
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog_dashboard.review.asked import Asked
from meterlog_dashboard.review.cursors import difference, reading_at
from meterlog_dashboard.review.places import Place, places
from meterlog_dashboard.review.verdict import verdict

RECORDINGS = Path(__file__).parents[2] / "recordings"
WHOLE = (-0.5, 40.0)


def test_a_finding_about_events_leads_to_each_of_them() -> None:
    analysis = load(RECORDINGS / "drive-intermittent.sqlite").analysis
    found = {finding.text.split(" (at")[0]: places(finding, analysis.events) for finding in analysis.findings}
    numbers = [place.event for place in found["pump feed: 4 dropouts"]]
    assert numbers == [3, 4, 5, 6]
    assert [analysis.events[n - 1].kind for n in numbers if n is not None] == ["dropout"] * 4
    assert [place.event for place in found["pump feed: the prime"]] == [1]


@pytest.mark.parametrize("path", sorted(RECORDINGS.glob("*.sqlite")), ids=lambda path: path.stem)
def test_the_verdict_comes_first_and_no_place_lies_outside_the_session(path: Path) -> None:
    session = load(path)
    for finding in session.analysis.findings:
        for place in places(finding, session.analysis.events):
            assert -1.0 <= place.start_s <= place.end_s <= session.duration_s + 5.0
    said = json.dumps(verdict(session), cls=PlotlyJSONEncoder)
    for finding in session.analysis.findings:
        assert json.dumps(finding.text.replace("+-", "±"))[1:-1] in said


def test_a_moment_that_is_no_event_is_a_place_too() -> None:
    session = load(RECORDINGS / "drive-intermittent.sqlite")
    finding = next(f for f in session.analysis.findings if "dropouts" in f.text)
    assert places(finding, [])[0] == Place(20.8, 20.8)


def test_a_difference_has_the_errors_of_both_readings() -> None:
    channel = Channel(1, "feed", Quantity.DC_VOLTAGE)  # +-(0.5 % + 2 counts)
    series = Series(
        np.array([0.0, 0.3, 9.0]), np.array([12.0, 0.5, math.inf]), np.full(3, 0.01, "f4"), np.zeros(3, "u2")
    )
    assert difference(channel, series, [0, 1]) == "-11.50 V ±0.10"
    assert difference(channel, series, [0, 2]) == "–"
    assert difference(channel, series, [0, None]) == "–"
    assert [reading_at(series, at_s, 0.3) for at_s in (-0.1, 0.0, 0.29, 0.3, 5.0, 9.1)] == [None, 0, 0, 1, None, 2]


@pytest.mark.parametrize(
    ("query", "span", "refused"),
    [
        ({}, WHOLE, False),
        ({"from": "3", "to": "7.5"}, (3.0, 7.5), False),
        ({"from": "30"}, (30.0, 40.0), False),
        ({"from": "-100", "to": "5"}, (-0.5, 5.0), False),
        ({"from": "7", "to": "3"}, WHOLE, True),
        ({"from": "nan", "to": "inf"}, WHOLE, True),
        ({"from": "x"}, WHOLE, True),
        ({"from": "900", "to": "1000"}, WHOLE, True),
    ],
)
def test_an_address_says_what_is_shown(query: dict[str, str], span: tuple[float, float], refused: bool) -> None:
    found = Asked.of(query, WHOLE)
    assert found.span == span
    assert bool(found.refused) == refused


def test_odd_events_in_an_address_are_none() -> None:
    assert [Asked.of({"event": text}, WHOLE).event for text in ("3", "0", "-1", "²", "x", "9" * 20)] == [3] + [None] * 5
