"""Fault rates of each kind of part: guesses, which a person can replace."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import near
from meterlog.errors import CircuitError
from meterlog.text.toml import read_toml

DEFAULT_RATES: Mapping[str, float] = {
    "battery": 1.0,
    "connector": 1.5,
    "fuse": 1.5,
    "switch": 1.0,
    "relay_contact": 1.5,
    "command": 1.5,
    "wire": 1.2,
    "resistor": 0.8,
    "motor": 2.5,
    "load": 2.5,
    "ground": 2.0,
    "healthy": 0.15,
    "pair": 0.08,
    "intermittent": 0.10,
}
"""Fault rates of the kinds of parts, relative to each other; `healthy`, `pair` and `intermittent` are shares of all.
GUESSES (no published split exists; makers say that most intermittents are connections or wiring, and that most returned
pumps test good): set a part's `fault_rate`, or give a file of rates."""

OPEN_SHARE: Mapping[str, float] = {
    "connector": 0.35,
    "fuse": 0.85,
    "switch": 0.4,
    "relay_contact": 0.4,
    "wire": 0.5,
    "resistor": 0.8,
    "motor": 0.4,
    "load": 0.7,
    "ground": 0.35,
}
"""Of a part's series faults, the share that is fully open. Guesses, as above."""
OPEN_BATTERY_SHARE = 0.1
"""The same of a battery that is charged: few are open inside. Guess."""


MOST_RATE = 1e6
"""No kind fails so much more often than the others; a larger figure is a slip. A choice."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Fault rates by kind or id, over the defaults; `source` says where they came from."""

    by_name: Mapping[str, float] = field(default_factory=dict)
    source: str = "defaults, which are guesses"

    def of(self, name: str, kind: str) -> float:
        """The rate of a part or command."""
        return self.by_name.get(name, self.by_name.get(kind, DEFAULT_RATES[kind]))


def load_rates(path: str | Path, circuit: Circuit) -> Rates:
    """Rates from a TOML file of `name = number`, the names being kinds, ids, healthy, pair and intermittent.

    Raises:
        CircuitError: no such file, or an entry is wrong.
    """
    try:
        table = read_toml(path, CircuitError).values
    except FileNotFoundError as error:
        raise CircuitError(f"there is no file '{path}'") from error
    known = [*DEFAULT_RATES, *circuit.part_index, *circuit.commands]
    rates: dict[str, float] = {}
    for name, value in table.items():
        if name not in known:
            raise CircuitError(f"{path}: '{name}' is not a kind, part or command{near(name, known)}")
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < MOST_RATE:
            raise CircuitError(f"{path}: '{name}' must be a number from 0 up, not {value!r}")
        rates[name] = float(value)
    return Rates(rates, str(path))


def open_share(circuit: Circuit, k: int) -> float:
    """Of a part's series faults, the share that is fully open."""
    if circuit.charges and k == circuit.load:
        return OPEN_BATTERY_SHARE
    return OPEN_SHARE[circuit.parts[k].kind]


def part_rate(circuit: Circuit, k: int, rates: Rates) -> float:
    """The fault rate of a part: its own `fault_rate`, or that of its id or kind."""
    part = circuit.parts[k]
    return part.fault_rate if part.fault_rate is not None else rates.of(part.id, part.kind)
