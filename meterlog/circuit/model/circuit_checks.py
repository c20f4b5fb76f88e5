"""Refuses circuits that cannot be: ids used twice, a chain without battery or load, figures that contradict."""

from __future__ import annotations

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.dangerous_names import refuse_dangerous
from meterlog.circuit.model.part import BATTERY_MINUS, near
from meterlog.errors import CircuitError

MOST_PARTS = 40
"""A path from battery + to battery - has a dozen parts; pairs of faults grow with the square (40 parts: some 2 s). The
parts of branches count too."""
LEAST_V, MOST_V = 1.0, 60.0
"""A system's voltage: extra-low voltage ends at the second, what is above is out of scope. The first is a guess."""
SHORT_OF_LOAD = 1.5
"""A load that needs this many times the system voltage for its own current is a slip. A guess."""


def check_circuit(circuit: Circuit, source: str) -> None:
    """Refuse what no circuit can be.

    Raises:
        CircuitError: naming the part, point or key.
    """
    seen: set[str] = set()
    branches = (branch.id for branch in circuit.branches)
    for id_ in [*(p.id for p in circuit.parts), *(p.id for p in circuit.points), *circuit.commands, *branches]:
        if id_ in seen:
            raise CircuitError(f"{source}: the id '{id_}' is used twice")
        seen.add(id_)
        refuse_dangerous(id_, f"{source}:")
    _check_chain(circuit, source)
    _check_loads(circuit, source)
    _check_commands(circuit, source)
    refuse_dangerous(circuit.name, f"{source}:")
    if circuit.system_v > MOST_V:
        raise CircuitError(
            f"{source}: 'system_v' is {circuit.system_v:g} V; above {MOST_V:g} V a circuit is out of scope"
        )
    _check_places(circuit, source)
    _check_leaks(circuit, source)


def _check_places(circuit: Circuit, source: str) -> None:
    for point in circuit.points:
        if point.after not in circuit.part_index:
            raise CircuitError(
                f"{source}: point '{point.id}' is after '{point.after}', which is not a part"
                + near(point.after, circuit.part_index)
            )


def _check_leaks(circuit: Circuit, source: str) -> None:
    known = [*circuit.point_of, BATTERY_MINUS]
    for k, part in enumerate(circuit.parts):
        if part.leaks_to and part.leaks_to not in known:
            wrong = f"{source}: part '{part.id}': 'leaks_to' must be a point, not '{part.leaks_to}'"
            raise CircuitError(wrong + near(part.leaks_to, known))
        if part.leaks_to and circuit.node(part.leaks_to) in circuit.across(k):
            raise CircuitError(
                f"{source}: part '{part.id}' leaks to '{part.leaks_to}', which is its own end: nothing would flow; name"
                " the point that the water leads to, such as the other contact of the plug"
            )


def _check_commands(circuit: Circuit, source: str) -> None:
    by_command: dict[str, str] = {}
    for part in circuit.parts:
        other = by_command.setdefault(part.command, part.id) if part.command else part.id
        if other != part.id:
            raise CircuitError(
                f"{source}: '{other}' and '{part.id}' have the same command '{part.command}': one coil closes"
                " one contact here; give each its own, for example with the pin's number behind it"
            )


def _check_chain(circuit: Circuit, source: str) -> None:
    if len(circuit.parts) > MOST_PARTS:
        raise CircuitError(
            f"{source}: {len(circuit.parts)} parts with those of branches: at most {MOST_PARTS} are allowed"
        )
    if len(circuit.parts) < 2 or circuit.parts[0].kind != "battery":
        raise CircuitError(
            f"{source}: the first 'part' must be of kind battery, and the others follow in the direction of the current"
        )
    for part in circuit.parts[1:]:
        if part.kind == "battery":
            raise CircuitError(
                f"{source}: part '{part.id}' is a second battery: all batteries together are the first part, and"
                " 'system_v' is their voltage"
            )
    if not any(part.kind in ("motor", "load") for part in circuit.parts[: len(circuit.chain)]):
        raise CircuitError(f"{source}: no 'part' is of kind motor or load: what does the circuit feed?")
    if all(part.fault_rate == 0 for part in circuit.parts):
        raise CircuitError(f"{source}: every part has fault_rate = 0, so nothing could be at fault")


def _check_loads(circuit: Circuit, source: str) -> None:
    for part in circuit.parts:
        wanted_v = (part.current_a or 0.0) * (part.resistance_ohm or 0.0)
        if part.kind in ("motor", "load") and wanted_v > SHORT_OF_LOAD * circuit.system_v:
            raise CircuitError(
                f"{source}: part '{part.id}': {part.current_a:g} A through {part.resistance_ohm:g} ohm need"
                f" {wanted_v:.3g} V, but the system has {circuit.system_v:g} V"
            )
    for k, part in enumerate(circuit.parts):
        if part.kind in ("motor", "load") and part.resistance_ohm is None and k not in circuit.loads:
            beside = next(one for one in circuit.loads[::-1] if one < k or one == circuit.load)
            raise CircuitError(
                f"{source}: part '{part.id}' is a second load, in series with '{circuit.parts[beside].id}': give"
                " its resistance_ohm, or a branch of its own if it is in parallel"
            )
