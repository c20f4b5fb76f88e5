"""The characteristics that carry readings are found by what they can do."""

from __future__ import annotations

import pytest
from bleak.assigned_numbers import CharacteristicPropertyName
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.service import BleakGATTService
from bleak.uuids import normalize_uuid_str

from meterlog.errors import LinkAbsent
from meterlog.transports.ble_services import serial_pair, short

NORDIC = "6e400001-b5a3-f393-e0a9-e50e24dcca9e"
Offer = dict[str, list[tuple[str, list[CharacteristicPropertyName]]]]


def services(offer: Offer) -> list[BleakGATTService]:
    """bleak's own objects for what a peripheral offers; the last ones first, as bleak may well list them."""
    built: list[BleakGATTService] = []
    handle = 0
    for service_uuid, characteristics in offer.items():
        handle += 1
        service = BleakGATTService(None, handle, normalize_uuid_str(service_uuid))
        declared = []
        for uuid, properties in characteristics:
            handle += 1
            declared.append(
                BleakGATTCharacteristic(None, handle, normalize_uuid_str(uuid), properties, lambda: 20, service)
            )
        for characteristic in reversed(declared):
            service.add_characteristic(characteristic)
        built.insert(0, service)
    return built


def pair(offer: Offer, service: str = "", notify: str = "", write: str = "") -> tuple[str, str]:
    """Return what is chosen, as short UUIDs."""
    long = [normalize_uuid_str(uuid) if uuid else "" for uuid in (service, notify, write)]
    chosen = serial_pair(services(offer), long[0], long[1], long[2], "the meter")
    return short(chosen.incoming.uuid), short(chosen.outgoing.uuid) if chosen.outgoing is not None else ""


def test_one_characteristic_both_ways() -> None:
    assert pair({"ffe0": [("ffe1", ["notify", "write-without-response"])]}) == ("ffe1", "ffe1")


@pytest.mark.parametrize("swapped", [False, True])
def test_directions_come_from_the_properties_whatever_the_numbers_say(swapped: bool) -> None:
    two, three = f"6e400002{NORDIC[8:]}", f"6e400003{NORDIC[8:]}"
    incoming, outgoing = (two, three) if swapped else (three, two)
    assert pair({NORDIC: [(incoming, ["notify"]), (outgoing, ["write"])]}) == (incoming, outgoing)


def test_a_known_serial_service_wins_over_others_that_notify() -> None:
    offer: Offer = {
        "180f": [("2a19", ["notify"])],
        "fff0": [("fff4", ["notify"])],
        "49535343-fe7d-4ae5-8fa9-9fafd205e455": [("abcd", ["notify"]), ("abce", ["write"])],
    }
    assert pair(offer) == ("abcd", "abce")


def test_the_only_one_that_notifies_is_it() -> None:
    offer: Offer = {"180f": [("2a19", ["notify"])], "fff0": [("fff1", ["read"]), ("fff4", ["indicate"])]}
    assert pair(offer) == ("fff4", "")


def test_a_named_service_and_characteristic_are_taken() -> None:
    offer: Offer = {
        "fff0": [("fff1", ["notify"]), ("fff2", ["notify"]), ("fff3", ["write"])],
        "ffe0": [("ffe1", ["notify", "write"])],
    }
    assert pair(offer, service="fff0", notify="fff2") == ("fff2", "fff3")
    assert pair(offer, notify="fff2") == ("fff2", "fff3")
    assert pair(offer, service="fff0", write="ffe1") == ("fff1", "ffe1")


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "several characteristics that notify.*fff0/fff1"),
        ({"service": "aaaa"}, "no service aaaa; it has fff0/fff1"),
        ({"notify": "fff9"}, "no characteristic fff9 that notifies"),
        ({"service": "fff0", "write": "fff9"}, "no characteristic fff9 to write to"),
    ],
)
def test_what_does_not_fit_is_said_with_what_there_is(asked: dict[str, str], words: str) -> None:
    offer: Offer = {"fff0": [("fff1", ["notify"]), ("fff2", ["notify"])]}
    with pytest.raises(LinkAbsent, match=words):
        pair(offer, **asked)


def test_a_peripheral_without_readings_is_told() -> None:
    with pytest.raises(LinkAbsent, match="none but housekeeping"):
        pair({"180f": [("2a19", ["read"])]})
