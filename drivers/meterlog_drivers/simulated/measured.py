"""The van measured anywhere: a fault, a place for the probes, and the key turned as the measurement wants it.

`MeasuredVan` is what a person with a meter, a test lamp, ears and eyes finds out about it, one act at a time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.from_rows import measurement_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.reading import Quantity
from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.scenario import PLACED, Probe, Run, Scenario, Setup
from meterlog_drivers.simulated.van.battery import Battery
from meterlog_drivers.simulated.van.faults import VanFault, at_fault, without
from meterlog_drivers.simulated.van.supply import Span, Supply
from meterlog_drivers.simulated.van.vehicle import STEP_S, Fault, Signal, Solved, Trip, Vehicle, van_circuit

KEY_ON_S, CRANK_S, STARTS_S = 1.98, 3.63, 1.0
"""The key is turned on, and to start, so long after a lap's beginning; so much cranking later an engine starts, s."""
SETTLED_S = 0.7
"""So long after switching on, what a display averages is all of the settled state, s: two displays."""
TRIPS: Mapping[str, tuple[Trip, Span]] = {
    "off": (Trip(6.6), (0.0, 6.6)),
    "isolated": (Trip(6.6), (0.0, 6.6)),
    "key_on": (Trip(7.92, ((KEY_ON_S, 6.0),)), (KEY_ON_S, KEY_ON_S + 2.0)),
    "prime": (Trip(7.92, ((KEY_ON_S, 6.0),)), (KEY_ON_S, KEY_ON_S + 2.0)),
    "crank": (Trip(9.9, ((KEY_ON_S, 8.8),), ((CRANK_S, 8.5),)), (CRANK_S, 8.5)),
    "run": (
        Trip(14.85, ((KEY_ON_S, 13.5),), ((CRANK_S, CRANK_S + STARTS_S),)),
        (CRANK_S + STARTS_S, 13.5),
    ),
}
"""Says what is done in each state, and the span that its readings are of, s. A lap is a whole number of 0.33 s
displays."""
FULL_SCALE = {"voltage": 20.0, "voltage_drop": 20.0, "current": 40.0, "resistance": None}
"""Says what a person turns the dial to; ohms are left in autorange."""
LAMP_W, LAMP_EXPONENT = 5.0, 0.55
"""A test lamp's watts at 12 V, and the exponent of a filament's current over its voltage (textbook: 0.5-0.6)."""
LAMP_ROUNDS = 6
"""A lamp's resistance follows its voltage: so many rounds settle them within a percent."""
SEEN = ((0.85, "bright"), (0.40, "dim"), (0.15, "glowing"), (0.0, "dark"))
"""From this share of 12 V on a person calls a lamp so. Guesses."""
LEAD_OHM = 0.05
"""A fused lead with its two clips. A guess."""
RUNS_SHARE, SOUND_EMF_V = 0.4, 7.5
"""A pump is heard from this share of a sound one's speed on; what that generates, V. A guess, and this van's figure."""
TURNS_V, TURNS_WELL_V = 5.0, 8.5
"""From these volts while cranking on the starter turns, and turns as usual. Guesses."""
LEAST_LAMP_V = 0.2
"""A cold filament has the resistance that it has at this voltage, V."""


@dataclass(frozen=True)
class MeasuredVan:
    """The van with something wrong.

    Attributes:
        faults: what.
        seed: of charge, temperature and all else that varies by chance.
    """

    faults: tuple[VanFault, ...] = ()
    seed: int = 0

    @property
    def circuit(self) -> Circuit:
        """Its pump circuit."""
        return van_circuit()

    def repaired(self, *parts: str) -> MeasuredVan:
        """The same with some parts put right."""
        return replace(self, faults=without(self.faults, parts))

    def place(self, row: Mapping[str, object]) -> Measurement:
        """Where the probes are, from `at`, `to`, `state`, `load`, `side` and `quantity`; the rest is left out.

        Raises:
            CircuitError: there is no such place, or it cannot be measured so.
        """
        known = {key: row[key] for key in PLACED if row.get(key)}
        value = "dark" if known.get("quantity") == "lamp" else 0.0
        return measurement_from_row({"quantity": "voltage", **known, "value": value}, self.circuit, "the van:")

    def scenario(self, place: Measurement, turn: int = 0) -> Scenario:
        """Return what a meter shows there, as a scenario; what comes and goes differs from one turn of the key to the
        next."""
        probe = Probe("van", place.at, lambda solved: _between(solved, place))

        def build(_: np.random.Generator) -> Setup:
            vehicle, trip = self._set_up(place, turn)
            return Setup(trip, (probe,), vehicle=vehicle, meter=MeterModel(full_scale=FULL_SCALE[place.quantity]))

        return Scenario("van", place.place, build)

    def shown(self, place: Measurement, turn: int = 0) -> float:
        """Return what a display shows once it is settled, in the quantity's unit; inf for an overload."""
        run = self.scenario(place, turn).run(self.seed)
        return _settled(run, TRIPS[place.state][1])

    def lamp(self, place: Measurement, turn: int = 0) -> str:
        """Return how bright a test lamp is there."""
        vehicle, trip = self._set_up(place, turn)
        span = TRIPS[place.state][1]
        if place.at in self.circuit.commands:
            return _brightness(_median(vehicle.solve(trip).coil(), span))
        at, to = _ends(place)
        a, b = self.circuit.node(at), self.circuit.node(to)
        volts = self.circuit.system_v
        for _ in range(LAMP_ROUNDS):
            hung = replace(vehicle, shunts=(*vehicle.shunts, (a, b, lamp_ohm(volts))))
            volts = abs(_median(hung.solve(trip).voltage(at, to), span))
        return _brightness(volts)

    def came_of(self, tried: Mapping[str, object]) -> str:
        """Return what comes of a trial, from its row in `tried`: `runs`, `dead`, `blew`; or of a look, or a comparison.

        Raises:
            CircuitError: the van has no such part.
        """
        if "observed" in tried:
            return self.look(str(tried["observed"]))
        row = {key: str(value) for key, value in tried.items()}
        if "compared" in row:
            return "differs" if any(fault.part == row["compared"] for fault in self.faults) else "alike"
        shorted = self._shorted()
        if "replaced" in row:
            if shorted and row["replaced"] == "fuse":
                return "blew"
            return "runs" if self.repaired(row["replaced"]).pump_runs() else "dead"
        if "bridged" in row:
            b = self.circuit.part_index[row["bridged"]]
            a = b - 1
        elif shorted:
            return "blew"
        else:
            a, b = self.circuit.node(row.get("feed", "battery")), self.circuit.node(row["into"])
        vehicle, trip = self._set_up(self.place({"at": "battery_plus"}))
        return "runs" if _turns(replace(vehicle, shunts=(*vehicle.shunts, (a, b, LEAD_OHM))), trip) else "dead"

    def pump_runs(self, state: str = "key_on") -> bool:
        """Tell whether the pump is heard."""
        return _turns(*self._set_up(self.place({"at": "battery_plus", "state": state})), state)

    def look(self, key: str) -> str:
        """Return what a person sees or hears; `unknown` where this van has nothing to say about it."""
        answer = _LOOKS.get(key)
        return answer(self) if answer else "unknown"

    def _kind(self, part: str) -> str:
        """Return how a part is at fault; empty where it is not."""
        return next((fault.kind for fault in self.faults if fault.part == part), "")

    def _crank_v(self) -> float:
        return self.shown(self.place({"at": "battery_plus", "state": "crank"}))

    def _clicks(self) -> bool:
        coil_v = self.shown(self.place({"at": "relay_coil", "state": "key_on"}))
        return coil_v >= Vehicle().relay.pull_in_v and self._kind("relay") != "stuck_closed"

    def _fuse_whole(self) -> bool:
        return not self._shorted() and self._kind("fuse") not in ("open", "wrong_size")

    def _shorted(self) -> bool:
        return any(fault.kind in ("short_to_ground", "branch_shorted") for fault in self.faults)

    def _moves(self) -> str:
        return next((fault.part for fault in self.faults if fault.kind == "intermittent"), "no")

    def _set_up(self, place: Measurement, turn: int = 0) -> tuple[Vehicle, Trip]:
        """The vehicle and what is done with it for a measurement: key, plug, a lamp in the load's place."""
        rng = np.random.default_rng([self.seed, 5])
        battery = Battery(charge=float(rng.uniform(0.75, 0.95)), temperature_c=float(rng.uniform(8.0, 25.0)))
        vehicle = Vehicle(supply=Supply(battery, regulated_v=float(rng.uniform(14.0, 14.4))))
        trip = TRIPS[place.state][0]
        if place.state == "run" and self.pump_runs("crank"):
            trip = replace(trip, runs=((trip.cranks[0][1], trip.keyed[0][1]),))
        vehicle, trip = at_fault(
            self.faults, vehicle, trip, np.random.default_rng([self.seed, 6, turn, crc32(place.place.encode())])
        )
        if place.load == "connected":
            return vehicle, trip
        apart = tuple(Fault(self.circuit.parts[k].id, math.inf) for k in self.circuit.plug)
        if place.load == "lamp":
            a, b = (self.circuit.node(end) for end in self.circuit.faces or ())
            vehicle = replace(vehicle, shunts=(*vehicle.shunts, (a, b, lamp_ohm(self.circuit.system_v))))
        return vehicle, replace(trip, faults=(*trip.faults, *apart))


def lamp_ohm(volts: float) -> float:
    """The resistance of a test lamp's filament at a voltage, ohm."""
    nominal_v = van_circuit().system_v
    share = max(volts, LEAST_LAMP_V) / nominal_v
    return nominal_v**2 / LAMP_W * math.pow(share, 1.0 - LAMP_EXPONENT)


def _between(solved: Solved, place: Measurement) -> Signal:
    """Return what is between the probes."""
    circuit = solved.circuit
    if place.at in circuit.commands:
        return solved.coil()
    if place.quantity == "current":
        return solved.current(circuit.parts[circuit.node(place.at)].id)
    at, to = _ends(place)
    return solved.resistance(at, to) if place.quantity == "resistance" else solved.voltage(at, to)


def _ends(place: Measurement) -> tuple[str, str]:
    """The two parts behind which the probes are; of an unplugged connector on ohms, the load's half."""
    circuit = van_circuit()
    if place.at == place.to:
        k = circuit.part_index[place.at]
        return circuit.parts[k - 1].id, place.at
    halves = place.load == "unplugged" and {place.at, place.to} == set(circuit.faces or ())
    if halves and (place.side == "load" or (place.quantity == "resistance" and not place.side)):
        return circuit.parts[circuit.load - 1].id, circuit.parts[circuit.load].id
    return place.at, place.to


def _settled(run: Run, span: Span) -> float:
    series = run.readings[0]
    values = series.value[(series.time_s >= span[0] + SETTLED_S) & (series.time_s < span[1])]
    return float(np.median(values)) if bool(np.isfinite(values).all()) else math.inf


def _median(signal: Signal, span: Span) -> float:
    return float(np.median(signal.value[round((span[0] + SETTLED_S) / STEP_S) : round(span[1] / STEP_S)]))


def _turns(vehicle: Vehicle, trip: Trip, state: str = "key_on") -> bool:
    """Tell whether the pump turns as one hears it."""
    solved = vehicle.solve(trip)
    emf = Signal(Quantity.DC_VOLTAGE, STEP_S, solved.emf_v, np.zeros(len(solved.emf_v), dtype=bool))
    return _median(emf, TRIPS[state][1]) > RUNS_SHARE * SOUND_EMF_V


def _brightness(volts: float) -> str:
    share = abs(volts) / van_circuit().system_v
    return next(word for least, word in SEEN if share >= least)


def _yes(known: Callable[[MeasuredVan], bool]) -> Callable[[MeasuredVan], str]:
    return lambda van: "yes" if known(van) else "no"


_LOOKS: Mapping[str, Callable[[MeasuredVan], str]] = {
    "prime_heard": _yes(MeasuredVan.pump_runs),
    "prime_heard_after": _yes(MeasuredVan.pump_runs),
    "load_works": _yes(lambda van: van.pump_runs("crank")),
    "fuel_at_rail": _yes(lambda van: van.pump_runs() or van.pump_runs("crank")),
    "relay_clicks": _yes(MeasuredVan._clicks),
    "tachometer_moves": _yes(lambda van: van._crank_v() > TURNS_V),
    "starter_turns": lambda van: "yes" if van._crank_v() > TURNS_WELL_V else "slowly",
    "tachometer_falls": lambda _: "with the engine",
    "engine_lamp_lit": lambda _: "yes",
    "key_lamp_blinks": lambda _: "no",
    "charge_lamp_lit": lambda _: "no",
    "lamps_go_out": lambda _: "no",
    "only_when_hot": lambda _: "no",
    "pump_fuse_feeds_more": lambda _: "no",
    "fuse_whole": _yes(MeasuredVan._fuse_whole),
    "fuse_rating": lambda van: "too_small" if van._kind("fuse") == "wrong_size" else "right",
    "moves_with_harness": MeasuredVan._moves,
}
"""Says what is seen and heard at the van, by the key of the question."""
