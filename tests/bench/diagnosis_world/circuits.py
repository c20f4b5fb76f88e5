"""The circuits of the bench, written for it, as a person would write their file: parts in order, points, minutes."""

from __future__ import annotations

from dataclasses import dataclass, replace

SPEED_UNIT_SHARE = 0.4
"""A speed unit's resistance over the load's, as drawn: it halves the voltage or less."""


@dataclass(frozen=True)
class Drawn:
    """One circuit.

    Attributes:
        name: what to call it.
        active: the states in which it is on when all is well.
        parts: (id, kind, minutes of access); what closes a contact has the contact's name and `_coil`.
        points: (id, the part before it, minutes of access).
        load_a: what its load draws, A.
        motor: the load turns.
        relay: the contact that a coil closes; empty where a hand switches.
        primes: the vehicle's control unit runs it for some seconds at key-on.
    """

    name: str
    active: tuple[str, ...]
    parts: tuple[tuple[str, str, float], ...]
    points: tuple[tuple[str, str, float], ...]
    load_a: float
    motor: bool
    relay: str
    primes: bool

    def index(self, id_: str) -> int:
        """The position of a part."""
        return [part[0] for part in self.parts].index(id_)

    @property
    def load(self) -> int:
        """The position of the load."""
        return next(k for k, part in enumerate(self.parts) if part[1] in ("motor", "load"))

    @property
    def unit_ohm(self) -> float:
        """Return what the drawing says of a speed unit, ohm."""
        return SPEED_UNIT_SHARE * 12 / self.load_a

    @property
    def coil(self) -> str:
        """The name of what closes the relay; empty where there is none."""
        return f"{self.relay}_coil" if self.relay else ""

    @property
    def plug(self) -> tuple[int, ...]:
        """Return what is apart when the load is unplugged: the connectors beside it, or else the load."""
        beside = [k for k in (self.load - 1, self.load + 1) if self.kind(k) == "connector"]
        return tuple(beside) or (self.load,)

    def node(self, id_: str) -> int:
        """The node of a point (after its part) or of `battery_minus`, the last one."""
        if id_ == "battery_minus":
            return len(self.parts) - 1
        return self.index(next(after for name, after, _ in self.points if name == id_))

    def point(self, node: int) -> str:
        """The point at a node; each has one but the last, which is `battery_minus`."""
        if node == len(self.parts) - 1:
            return "battery_minus"
        return next(name for name, after, _ in self.points if self.index(after) == node)

    def last(self, kind: str) -> int:
        """The last part of a kind before the load; -1 where there is none."""
        return max((k for k in range(self.load) if self.kind(k) == kind), default=-1)

    def kind(self, k: int) -> str:
        """The kind of a part by position."""
        return self.parts[k][1]


def _chain(text: str) -> tuple[tuple[tuple[str, str, float], ...], tuple[tuple[str, str, float], ...]]:
    """Read a chain: a line a part, `id kind minutes`, and the point after it, `-> id minutes`, where there is one."""
    parts, points = [], []
    for line in text.strip().splitlines():
        part, _, point = line.partition("->")
        id_, kind, minutes = part.split()
        parts.append((id_, kind, float(minutes)))
        if point:
            points.append((point.split()[0], id_, float(point.split()[1])))
    return tuple(parts), tuple(points)


PUMP = """
accumulator   battery       1 -> post_plus 1
plus_terminal connector     2 -> box_in 2
pump_fuse     fuse          1 -> box_out 1
pump_relay    relay_contact 6 -> relay_87 6
tank_wire     wire         45 -> tank_plug 15
tank_pin      connector    15 -> sender_plus 18
fuel_pump     motor        50 -> sender_minus 18
return_pin    connector    15 -> tank_return 15
return_wire   wire         25 -> ground_ring 10
body_screw    ground       10 -> body 1
minus_terminal connector    2 -> post_minus 1
"""
LONG_PUMP = """
accumulator   battery       1 -> post_plus 1
plus_terminal connector     2 -> link_in 2
main_link     fuse          3 -> link_out 3
pump_fuse     fuse          1 -> box_out 1
pump_relay    relay_contact 8 -> relay_87 8
crash_switch  switch       12 -> crash_out 12
cabin_wire    wire         30 -> bulkhead 12
bulkhead_pin  connector    12 -> bulkhead_out 12
tank_wire     wire         40 -> tank_plug 15
tank_pin      connector    15 -> sender_plus 20
fuel_pump     motor        60 -> sender_minus 20
return_pin    connector    15 -> tank_return 15
return_wire   wire         25 -> ground_ring 12
body_screw    ground       12 -> body 1
minus_terminal connector    2 -> post_minus 1
"""
FAN = """
accumulator   battery       1 -> post_plus 1
plus_terminal connector     2 -> strip_in 2
strip_fuse    fuse          2 -> strip_out 2
fan_relay     relay_contact 5 -> relay_87 5
fan_wire      wire         20 -> fan_plug 8
fan_pin       connector     8 -> fan_plus 10
fan           motor        25 -> fan_minus 10
fan_ground_pin connector    8 -> fan_return 8
frame_screw   ground        6 -> body 1
minus_terminal connector    2 -> post_minus 1
"""
LAMP = """
accumulator   battery       1 -> post_plus 1
plus_terminal connector     2 -> box_in 2
lamp_fuse     fuse          1 -> box_out 1
column_switch switch       25 -> switch_out 25
front_wire    wire         30 -> holder_feed 4
holder_pin    connector     4 -> lamp_plus 5
bulb          load          5 -> lamp_minus 5
holder_ground_pin connector 4 -> holder_return 4
wing_screw    ground        8 -> body 1
minus_terminal connector    2 -> post_minus 1
"""
STARTER = """
accumulator   battery       1 -> post_plus 1
plus_terminal connector     2 -> box_in 2
start_fuse    fuse          1 -> box_out 1
gear_switch   switch       18 -> relay_30 5
start_relay   relay_contact 5 -> relay_87 5
start_wire    wire         35 -> start_plug 12
start_pin     connector    12 -> solenoid_plus 14
solenoid      load         60 -> starter_case 12
engine_strap  ground       12 -> body 1
minus_terminal connector    2 -> post_minus 1
"""

EVERY = (
    Drawn("pump", ("key_on", "prime", "crank", "run"), *_chain(PUMP), 5.5, True, "pump_relay", True),
    Drawn("long pump", ("key_on", "prime", "crank", "run"), *_chain(LONG_PUMP), 6.5, True, "pump_relay", True),
    Drawn("fan", ("key_on", "run"), *_chain(FAN), 14.0, True, "fan_relay", False),
    Drawn("lamp", ("key_on", "run"), *_chain(LAMP), 4.8, False, "", False),
    Drawn("starter", ("crank",), *_chain(STARTER), 12.0, False, "start_relay", False),
)
SHARES = (0.4, 0.25, 0.12, 0.1, 0.13)
"""Says how often each is asked for: fuel first, for vehicles that crank and do not start."""


def with_speed_unit(drawn: Drawn) -> Drawn:
    """The same with a speed unit behind its relay, whose loss is meant."""
    k = drawn.index(drawn.relay) + 1
    parts = (*drawn.parts[:k], ("speed_unit", "resistor", 12.0), *drawn.parts[k:])
    return replace(drawn, parts=parts, points=(*drawn.points, ("unit_out", "speed_unit", 12.0)))


def as_table(drawn: Drawn) -> dict[str, object]:
    """The circuit as the table of a circuit file."""
    parts: list[dict[str, object]] = []
    for id_, kind, minutes in drawn.parts:
        row: dict[str, object] = {"id": id_, "kind": kind, "access_min": minutes, "near": []}
        if id_ == drawn.relay:
            row["command"] = drawn.coil
        if kind in ("motor", "load"):
            row["current_a"] = drawn.load_a
        if kind == "resistor":
            row |= {"by_design": True, "resistance_ohm": round(drawn.unit_ohm, 2)}
        parts.append(row)
    points = [{"id": id_, "after": after, "access_min": minutes} for id_, after, minutes in drawn.points]
    return {"name": drawn.name, "system_v": 12.0, "active": list(drawn.active), "part": parts, "point": points}
