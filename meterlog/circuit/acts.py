"""Says what a measurement or a trial on a circuit does to the vehicle, and so which cautions apply to it."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.cautions import Act, Doing, applying
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.measurement import QUANTITY, Measurement
from meterlog.circuit.readings.trial import Told, Tried
from meterlog.circuit.readings.unplugged import names


def beginning(circuit: Circuit) -> Act:
    """Describe the start of work on a circuit: everything in it counts."""
    return Act("begin", near=circuit.near_of(circuit.ids()), parts=_kinds(circuit, circuit.ids()))


def measuring(circuit: Circuit, m: Measurement) -> Act:
    """Describe taking a measurement; its value does not matter."""
    ids = (m.at,) if m.quantity == "current" else (m.at, m.to)
    out = names(m.unplugged)
    return Act(
        "measure",
        QUANTITY.get(m.quantity),
        m.state,
        "lamp" if m.quantity == "lamp" else "unplugged" if out and m.load == "connected" else m.load,
        near=circuit.near_of((*ids, *out)),
        parts=_kinds(circuit, ids),
        backprobed=_backprobed(circuit, ids),
        load_a=_amps(circuit, ids),
    )


def trying(circuit: Circuit, doing: Doing, *ids: str) -> Act:
    """Describe feeding a place, bridging or replacing a part; feeding what turns the engine cranks it."""
    state = "crank" if doing != "replace" and circuit.turns_engine else "off"
    return Act(doing, state=state, near=circuit.near_of(ids), parts=_kinds(circuit, ids), load_a=_amps(circuit, ids))


def tried(circuit: Circuit, one: Tried) -> Act:
    """Describe what was tried."""
    out = names(one.unplugged)
    if one.replaced or one.compared:
        return trying(circuit, "replace", one.replaced or one.compared, *out)
    if one.bridged:
        return trying(circuit, "bridge", one.bridged, *out)
    return trying(circuit, "feed", one.feed, one.into, *out)


def tries(circuit: Circuit, told: Iterable[Told]) -> list[Act]:
    """Describe all that was tried; an observation does nothing to the vehicle."""
    return [tried(circuit, one) for one in told if isinstance(one, Tried)]


def cautions_for(circuit: Circuit, measured: Iterable[Measurement], trials: Iterable[Told] = ()) -> tuple[str, ...]:
    """Give the cautions of measurements and trials, each once."""
    return applying(*(measuring(circuit, m) for m in measured), *tries(circuit, trials))


def _kinds(circuit: Circuit, ids: Iterable[str]) -> frozenset[str]:
    kinds = {part.kind for id_ in ids for part in circuit.touched(id_)}
    return frozenset(kinds | ({"coil"} if any(id_ in circuit.commands for id_ in ids) else set()))


def _amps(circuit: Circuit, ids: Iterable[str]) -> float:
    """The most that is carried at some places when all is on, A: what several loads share carries all of theirs."""
    touched = {circuit.part_index[part.id] for id_ in ids for part in circuit.touched(id_)}
    return max((float(circuit.carried_a[k]) for k in touched), default=circuit.load_a)


def _backprobed(circuit: Circuit, ids: Iterable[str]) -> bool:
    """Tell whether a probe goes to a connector at the load."""
    nodes = {circuit.node(id_) for id_ in ids if id_ not in circuit.commands}
    edges = {k for plug in circuit.plug for k in (plug - 1, plug)}
    return bool(nodes & edges)
