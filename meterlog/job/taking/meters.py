"""The meters of a job at their places: those that stay somewhere (`at=`), and the one that is moved about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from meterlog.address import Address
from meterlog.capture.meters import MeterSetup, meter_setups
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.from_rows import measurement_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.driver import load_driver
from meterlog.errors import UsageError
from meterlog.job.job import Job
from meterlog.job.placing import placed
from meterlog.settings import meter_address

AT = "at"
"""The option of a meter's address in a job that names the point it stays at, against battery -."""


@dataclass(frozen=True, slots=True)
class Placed:
    """The meters of one measurement.

    Attributes:
        setups: to record.
        places: what each of them measures.
        watched: the numbers of the meters that give the reading: one, or two whose difference it is.
        by_hand: a person moves the probes of the one that is watched.
    """

    setups: list[MeterSetup]
    places: list[Measurement]
    watched: tuple[int, ...]
    by_hand: bool

    @property
    def elsewhere(self) -> list[int]:
        """The numbers of the others."""
        return [number for number in range(len(self.setups)) if number not in self.watched]


def checked_meters(texts: Sequence[str]) -> tuple[str, ...]:
    """The addresses of a job's meters as they are kept, a saved name resolved: it says nothing on the next computer.

    Raises:
        MeterlogError: one is wrong, or two are the same device.
    """
    split = [_split(text) for text in texts]
    meter_setups([str(address) for address, _ in split])
    return tuple(str(_with(address, AT, point)) if point else str(address) for address, point in split)


def stays(addresses: Sequence[str], circuit: Circuit, m: Measurement) -> bool:
    """Tell whether meters that stay where they are can take a measurement: nothing has to be clipped on."""
    fixed = [_fixed(point, circuit, m) for _, point in map(_split, addresses) if point]
    return bool(_among(fixed, circuit, m))


def place_meters(addresses: Sequence[str], circuit: Circuit, m: Measurement, job: Job) -> Placed:
    """Find the meters that take a measurement: one that stays there, two that stay at its ends, or the one that moves.

    Raises:
        MeterlogError: an address is wrong, two are the same device, a place is not in the circuit.
        UsageError: every meter stays somewhere, and none of them there.
    """
    split = [_split(address) for address in addresses]
    fixed = [(number, _fixed(point, circuit, m)) for number, (_, point) in enumerate(split) if point]
    among = _among([place for _, place in fixed], circuit, m)
    watched = tuple(fixed[k][0] for k in among)
    if not watched:
        watched = tuple(number for number, (_, point) in enumerate(split) if not point)[:1]
    if not watched:
        raise UsageError(f"every meter stays where its 'at=' says, and none is {m.place}: name one without 'at='")
    places = dict(fixed) | ({watched[0]: m} if len(watched) == 1 else {})
    used = [number for number in range(len(split)) if number in places]
    setups = meter_setups([str(placed(split[number][0], places[number], job)) for number in used])
    moved = split[watched[0]][0]
    by_hand = not among and not load_driver(moved.scheme).moves(moved)
    order = tuple(used.index(number) for number in watched)
    return Placed(setups, [places[number] for number in used], order, by_hand)


def _split(text: str) -> tuple[Address, str]:
    address = meter_address(text)
    options = {key: value for key, value in address.options.items() if key != AT}
    return replace(address, options=MappingProxyType(options)), address.options.get(AT, "").strip()


def _fixed(point: str, circuit: Circuit, m: Measurement) -> Measurement:
    """The voltage of a point against battery -, in the same state."""
    row = {"quantity": "voltage", "at": point, "to": BATTERY_MINUS, "state": m.state, "load": m.load, "value": 0.0}
    row["state"] = "off" if m.state == "isolated" else m.state
    return replace(measurement_from_row(row, circuit, "a meter's address:"), value=m.value)


def _among(fixed: Sequence[Measurement], circuit: Circuit, m: Measurement) -> tuple[int, ...]:
    """Which of them measure it: one that is there, or two at its ends; none where neither is."""
    if m.quantity not in ("voltage", "voltage_drop") or m.at_coil:
        return ()
    at, to = circuit.ends(m.at, m.to)
    by_node = {circuit.node(place.at): k for k, place in reversed(list(enumerate(fixed)))}
    if to == circuit.node(BATTERY_MINUS) and at in by_node:
        return (by_node[at],)
    return (by_node[at], by_node[to]) if at in by_node and to in by_node else ()


def _with(address: Address, option: str, value: str) -> Address:
    return replace(address, options=MappingProxyType({**address.options, option: value}))
