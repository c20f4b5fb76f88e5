"""The colours of the plots: seen on light and dark, and told apart by colour-blind eyes."""

from __future__ import annotations

from itertools import combinations

import pytest

from meterlog.drawing.palette import (
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    OUTLINES,
    PURPLE,
    ROLES,
    TRACES,
    VERMILION,
    kind_colour,
)
from meterlog.kinds import KINDS

coloraide = pytest.importorskip("coloraide")

ALL = (BLUE, ORANGE, GREEN, VERMILION, PURPLE, GREY)
GROUNDS = ("#ffffff", "#12161a")
LEAST_DIFFERENCE = 10.0
"""CIEDE2000; 2.3 is a just noticeable difference of areas side by side, thin lines and marks want several of them."""


def seen(colour: str, eyes: str) -> object:
    """A colour as eyes see it, by the matrices of Machado, Oliveira and Fernandes (2009), severity 1."""
    whole = coloraide.Color(colour)
    return whole if eyes == "all cones" else whole.filter(eyes, method="machado")


@pytest.mark.parametrize("eyes", ["all cones", "protan", "deutan", "tritan"])
def test_any_two_colours_are_told_apart(eyes: str) -> None:
    differences = {
        (one, other): seen(one, eyes).delta_e(seen(other, eyes), method="2000")  # type: ignore[attr-defined]
        for one, other in combinations(ALL, 2)
    }
    assert min(differences.values()) >= LEAST_DIFFERENCE, min(differences, key=lambda pair: differences[pair])


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("colour", ALL)
def test_every_colour_or_its_outline_is_seen_on_light_and_dark(colour: str, ground: str) -> None:
    edge = OUTLINES.get(colour, colour)
    assert coloraide.Color(edge).contrast(ground, method="wcag21") >= 3.0


def test_kinds_of_events_use_these_colours_only() -> None:
    assert {kind_colour(kind) for kind in KINDS} == set(ROLES.values()) <= set(ALL)


@pytest.mark.parametrize("colour", TRACES)
def test_every_line_has_an_ink_of_4_5_to_1_on_its_ground(colour: str) -> None:
    for ink, ground in zip(TRACES[colour], GROUNDS, strict=True):
        assert coloraide.Color(ink).contrast(ground, method="wcag21") >= 4.5
