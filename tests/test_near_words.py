"""Checks that a recording has the cautions of its quantity and place, from plain words, and no others."""

from __future__ import annotations

import pytest

from meterlog.cautions import CAUTIONS, FUEL, GAS, HIGH_CURRENT, MOVING, NEAR, applying
from meterlog.near_words import MATTER, recording
from meterlog.reading import Quantity

TEXT = {caution.name: caution.text for caution in CAUTIONS}
EVERYWHERE = {"restraint", "high voltage", "moves", "drive"}


def names(words: str, quantity: Quantity | None = None) -> set[str]:
    texts = applying(recording(words, quantity))
    return {name for name, text in TEXT.items() if text in texts}


@pytest.mark.parametrize(
    ("words", "near"),
    [
        ("pump feed", {FUEL}),
        ("Injector 3, pin 2", {FUEL}),
        ("battery_plus", {GAS, HIGH_CURRENT}),
        ("B+ at the alternator", {HIGH_CURRENT, MOVING}),
        ("C12, pin 3", set()),
        ("dome lamp", set()),
        ("", set()),
    ],
)
def test_words_tell_what_a_place_is_near(words: str, near: set[str]) -> None:
    assert set(recording(words).near or ()) == near


def test_what_says_nothing_of_its_place_has_the_few_that_hold_everywhere() -> None:
    assert names("C12, pin 3") == EVERYWHERE
    assert names("C12, pin 3", Quantity.DC_VOLTAGE) == EVERYWHERE | {"back-probe"}
    assert names("", Quantity.RESISTANCE) == EVERYWHERE | {"dead circuit", "ohms mislead"}


def test_a_place_adds_its_own_and_a_turning_engine_too() -> None:
    assert names("pump feed") == EVERYWHERE | {"fuel", "rail pressure", "eyes"}
    assert {"exhaust", "belts and fan"} <= names("crank test")
    assert {"battery gas", "high current", "eyes"} <= names("battery")
    assert {"clamp to crank", "current jack"} <= names("battery, cranking", Quantity.DC_CURRENT)


def test_every_hazard_has_words() -> None:
    every = "fuel airbag battery fan exhaust starter tank"
    assert set(recording(every).near or ()) == set(NEAR)


def test_the_two_that_matter_are_among_those_of_every_recording() -> None:
    assert len(MATTER) == 2
    assert set(MATTER) <= set(applying(recording("")))


def test_current_has_its_cautions_wherever_it_is_recorded() -> None:
    for words in ("", "C12, pin 3", "pump feed", "dome lamp"):
        assert {"clamp to crank", "current jack"} <= names(words, Quantity.DC_CURRENT)


def test_only_a_meter_at_the_posts_alone_is_not_told_to_back_probe() -> None:
    for words in ("battery", "Battery plus: DC voltage", "battery + DC voltage"):
        assert "back-probe" not in names(words, Quantity.DC_VOLTAGE)
    for words in ("battery feed at C12", "battery dome lamp", "supply", "DC voltage"):
        assert "back-probe" in names(words, Quantity.DC_VOLTAGE)


def test_how_long_to_crank_is_said_where_the_engine_turns() -> None:
    assert "starter" in names("crank test")
    assert "starter" not in names("pump feed")
