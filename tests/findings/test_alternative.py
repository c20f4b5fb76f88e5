"""Checks that what another explanation is named for is never 'outside'."""

from __future__ import annotations

from dataclasses import replace

import pytest

from meterlog.findings.finding import Alternative, Finding
from meterlog.kinds import KINDS, Kind
from tests.findings.conftest import Bench, names_another_explanation

OTHER = Alternative("It may be the probe.", "What decides: a clip.")


def test_outside_beside_another_explanation_cannot_be_built() -> None:
    with pytest.raises(ValueError, match="beside another explanation"):
        Finding("feed: 0 V. It may be the probe. What decides: a clip.", "", "", "outside", alternative=OTHER)
    with pytest.raises(ValueError, match="beside another explanation"):
        replace(Finding("feed: 0 V.", "", "", "cannot tell").unless(OTHER), verdict="outside")


def test_another_explanation_is_said_with_what_decides_and_outside_becomes_cannot_tell() -> None:
    found = Finding("feed: 0 V.", "", "", "outside", -1.0, 0.1).unless(OTHER)
    assert found.text == "feed: 0 V. It may be the probe. What decides: a clip."
    assert (found.verdict, found.margin) == ("cannot tell", -1.0)
    assert Finding("feed: 12 V.", "", "", "within").unless(OTHER).verdict == "within"


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_a_kind_names_what_else_it_may_be_only_with_what_decides(kind: Kind) -> None:
    assert bool(kind.otherwise) == bool(kind.decides)
    assert not (kind.about_circuit and names_another_explanation(kind.sentence))


@pytest.mark.parametrize(
    ("kind", "ours"), [("dropout", "own choice: half of the usual level"), ("chatter", "own choice: 4 changes or more")]
)
def test_what_no_standard_says_is_not_called_a_standards(bench: Bench, kind: str, ours: str) -> None:
    """Both once cited standards whose figures are 90 and 10 %."""
    number = bench.channel("ignition feed", 12.5)
    bench.event(kind, number, 10.0, 10.5, extreme=0.0, reference=12.5)
    found = bench.judge("(at 10.0 s)")
    assert found.source.startswith(ours)
    assert "contact held" in found.limit
