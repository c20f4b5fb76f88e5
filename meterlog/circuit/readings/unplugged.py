"""Says which loads are unplugged while something is read or tried: the chain's own, or those of its branches."""

from __future__ import annotations

from collections.abc import Mapping

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import near
from meterlog.circuit.readings.measurement import Measurement
from meterlog.errors import CircuitError


def unplugged_in(row: Mapping[str, object], circuit: Circuit, where: str) -> str:
    """Read `unplugged`: the names of loads, or of connectors at them, commas between.

    Returns:
        The names of the loads, in the circuit's order.

    Raises:
        CircuitError: it names something else.
    """
    said = row.get("unplugged", "")
    if not isinstance(said, str):
        raise CircuitError(f"{where} 'unplugged' must be the name of a load, not {str(said)[:60]}")
    found = set()
    for name in filter(None, (name.strip() for name in said.split(","))):
        k = circuit.part_index.get(name)
        load = next((load for load in circuit.loads if k in (load, *circuit.plug_of(load))), None)
        if load is None:
            loads = [circuit.parts[load].id for load in circuit.loads]
            raise CircuitError(
                f"{where} 'unplugged' must be a load, or a connector at one; '{name[:60]}' is neither"
                + near(name, loads)
            )
        found.add(load)
    return ", ".join(circuit.parts[load].id for load in circuit.loads if load in found)


def names(unplugged: str) -> tuple[str, ...]:
    """The loads that a row names, one by one."""
    return tuple(unplugged.split(", ")) if unplugged else ()


def positions(circuit: Circuit, unplugged: str) -> tuple[int, ...]:
    """The positions of the loads that a row names."""
    return tuple(circuit.part_index[id_] for id_ in names(unplugged))


def loads_out(circuit: Circuit, m: Measurement) -> tuple[int, ...]:
    """The positions of all loads that are unplugged, or replaced by a lamp, while something is read."""
    own = (circuit.load,) if m.load != "connected" else ()
    return (*own, *positions(circuit, m.unplugged))
