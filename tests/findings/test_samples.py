"""The sample recordings are judged as what they are."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.analysis import analyze
from meterlog.findings import Finding
from meterlog.session import open_reader
from meterlog.session.contents import Contents

RECORDINGS = Path(__file__).parents[2] / "recordings"


def judged(name: str) -> list[Finding]:
    """The findings about a sample."""
    with open_reader(RECORDINGS / f"{name}.sqlite") as reader:
        return analyze(Contents.of(reader)).findings


@pytest.mark.parametrize(
    "name", ["key-on-good-1", "key-on-good-2", "key-on-fast-meter", "crank-good", "crank-primes-late", "drop-test-good"]
)
def test_nothing_is_outside_where_nothing_is_wrong(name: str) -> None:
    assert [f.text for f in judged(name) if f.verdict == "outside"] == []


@pytest.mark.parametrize(
    ("name", "said", "verdict"),
    [
        ("key-on-suspect", "below the battery", "cannot tell"),
        ("drop-test-bad-ground", "ground side drop: voltage drop", "outside"),
        ("drop-test-good", "feed side drop: voltage drop", "within"),
        ("drive-intermittent", "dropouts", "outside"),
        ("drive-intermittent", "So it happens at 'bump'", "outside"),
        ("drive-relay-chatter", "on and off in quick succession", "outside"),
        ("crank-good", "charged at", "within"),
        ("crank-good", "while cranking", "within"),
        ("crank-weak-battery", "while cranking", "cannot tell"),
        ("crank-primes-late", "as on the many cars that prime only then", "within"),
        ("key-on-no-command", "repeat the measurement while cranking", "cannot tell"),
        ("key-on-no-command", "never on", "cannot tell"),
        ("parasitic-draw", "Wait longer before judging", "cannot tell"),
        ("wiggle-feed-ohms", "openings", "outside"),
        ("wiggle-ground-ohms", "step", "outside"),
    ],
)
def test_what_is_wrong_is_said(name: str, said: str, verdict: str) -> None:
    found = [f for f in judged(name) if said in f.text]
    assert found, [f.text for f in judged(name)]
    assert found[0].verdict == verdict
