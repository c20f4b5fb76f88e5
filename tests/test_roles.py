"""Checks that what a channel measures is worked out once: by test point, entered role, plain words; else not judged."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.circuit import load_circuit, template_names
from meterlog.events.detect import detect
from meterlog.reading import Quantity
from meterlog.roles import Role, check_role, measurand
from meterlog.series import Series
from meterlog.session.model import Channel

VOLTS = Quantity.DC_VOLTAGE


@pytest.mark.parametrize(
    ("label", "point", "role"),
    [
        ("feed side drop", "", Role.DROP),
        ("", "a3:b7", Role.DROP),
        ("across the fuse", "", Role.DROP),
        ("pump ground", "", Role.DROP),
        ("meter 1", "battery_plus to plug_feed", Role.DROP),
        ("meter 1", "battery to fuse_out, key on", Role.DROP),
        ("meter 2", "plug_ground to battery_minus", Role.DROP),
        ("meter 1", "fuse", Role.DROP),
        ("pump feed", "main_relay", Role.DROP),
        ("meter 1", "relay_coil", Role.CONTROL),
        ("coil of the pump relay", "", Role.CONTROL),
        ("pump feed", "", Role.SUPPLY),
        ("pump feed", "plug_feed to plug_ground", Role.SUPPLY),
        ("pump feed", "plug_feed to battery_minus", Role.SUPPLY),
        ("battery", "battery_plus to body", Role.SUPPLY),
        ("supply", "feed wire to the pump", Role.SUPPLY),
        ("power", "wire to pump", Role.SUPPLY),
        ("meter 1", "fuse_out", Role.SUPPLY),
        ("pump feed", "C12, pin 3", Role.SUPPLY),
        ("meter 1", "", Role.OTHER),
        ("ble AA:BB:CC:DD:EE:FF", "", Role.OTHER),
        ("scpi TCPIP::192.0.2.7::5025::SOCKET", "", Role.OTHER),
        ("text 192.0.2.7:5025", "", Role.OTHER),
        ("fuse", "", Role.OTHER),
        ("relay", "", Role.OTHER),
        ("Kraftstoffpumpe links", "", Role.OTHER),
        ("pompe à essence", "", Role.OTHER),
        ("насос", "", Role.OTHER),
    ],
)
def test_point_first_then_plain_words(label: str, point: str, role: Role) -> None:
    assert measurand(VOLTS, label, point).role is role


def test_what_was_entered_goes_before_words_but_not_before_a_circuits_point() -> None:
    assert measurand(VOLTS, "pump feed", "C12, pin 3", "drop").role is Role.DROP
    assert measurand(VOLTS, "Pumpe", "", "supply").described == "supply (as entered)"
    assert measurand(VOLTS, "pump feed", "fuse", "supply").role is Role.DROP


@pytest.mark.parametrize("name", template_names())
def test_every_place_of_a_shipped_circuit_says_what_is_measured_there(name: str) -> None:
    circuit = load_circuit(name)
    for k, part in enumerate(circuit.parts):
        expected = Role.SUPPLY if k in (0, circuit.load) or part.kind in ("battery", "load", "motor") else Role.DROP
        assert measurand(VOLTS, "meter 1", part.id).role is expected, part.id
    for command in circuit.commands:
        assert measurand(VOLTS, "meter 1", command).role is Role.CONTROL
    for point in circuit.points:
        node = circuit.node(point.id)
        way = next(way for way in (circuit.chain, *circuit.branch_positions) if node in way)
        feed = any(node < load for load in circuit.loads if load in way)
        assert measurand(VOLTS, "meter 1", point.id).role is (Role.SUPPLY if feed else Role.DROP), point.id


@pytest.mark.parametrize(
    ("quantity", "role"),
    [
        (Quantity.DC_CURRENT, Role.CURRENT),
        (Quantity.AC_CURRENT, Role.CURRENT),
        (Quantity.RESISTANCE, Role.RESISTANCE),
        (Quantity.CONTINUITY, Role.RESISTANCE),
        (Quantity.TEMPERATURE, Role.OTHER),
        (Quantity.FREQUENCY, Role.OTHER),
    ],
)
def test_elsewhere_the_quantity_says_it(quantity: Quantity, role: Role) -> None:
    assert measurand(quantity, "pump feed").role is role


def test_a_role_that_the_quantity_cannot_have_is_refused() -> None:
    assert check_role("drop", VOLTS) == ""
    assert check_role("other", Quantity.DC_CURRENT) == ""
    assert (
        check_role("current", VOLTS) == "a DC voltage channel can be supply or drop or control or other, not 'current'"
    )


def test_a_drop_test_over_a_relay_gives_no_dropout_while_the_relay_is_closed() -> None:
    time_s: NDArray[np.float64] = 0.33 * np.arange(200, dtype=np.float64)
    volts = np.where((time_s > 30) & (time_s < 40), 0.4, 12.4)
    series = Series(time_s, volts, np.full(200, 0.01, "f4"), np.zeros(200, "u2"))
    assert detect(Channel(1, "meter 1", VOLTS, "battery_plus to plug_feed"), series) == []
    assert [e.kind for e in detect(Channel(1, "meter 1", VOLTS, "plug_feed"), series)] == ["dropout"]
    assert detect(Channel(1, "meter 1", VOLTS, role="drop"), series) == []
