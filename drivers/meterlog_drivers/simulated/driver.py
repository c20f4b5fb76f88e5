"""sim: a scenario at the simulated van, as readings, without bytes or a port.

`sim:healthy-prime?seed=7&interval_s=0.33`. A scenario with several test points is one meter with a column for each.
`seed=` varies what varies by chance, `speed=10` plays it ten times as fast (the readings keep their distances),
`loop=yes` begins again at its end. The meter in front of the van is changed by `interval_s=`, `window_s=` (how long
each display averages), `jitter_s=`, `counts=` (highest number shown) and `noise_counts=`.

`sim:van?fault=relay:1.6&at=plug_feed&state=crank` is the van with that fault, its probes where `at=`, `to=`, `load=`,
`side=` say, its key turned as `state=` says, again and again. `quantity=` is what the dial is on, `repaired=relay` what
was put right since, `turn=3` how often the key was turned before.

`sim:fuse-box?at=F3&since_s=20` is the van's fuse box with the key off: the volts across that fuse, so long after
key-off (long asleep where not said); `at=battery` is the current of a clamp at the battery.
"""

from __future__ import annotations

import threading
import time

from meterlog.address import Address
from meterlog.driver import Connection, Driver, Meter, Traffic
from meterlog.errors import AddressError, did_you_mean
from meterlog.reading import Reading
from meterlog_drivers.simulated.scenario import PLACED, Run, Scenario

VAN = "van"
"""The target that is no scenario: the van measured anywhere."""
FUSE_BOX = "fuse-box"
"""The target that is the van's fuse box with the key off."""
METER_OPTIONS = {
    "interval_s": (0.33, 0.001, 60.0),
    "window_s": (0.3, 0.0005, 60.0),
    "jitter_s": (0.003, 0.0, 10.0),
    "counts": (4000.0, 1000.0, 1e6),
    "noise_counts": (0.35, 0.0, 1000.0),
}
"""Options that are fields of `MeterModel`: a placeholder, the least and the most."""


_OWN = {VAN: frozenset({"fault", "repaired", "turn", *PLACED}), FUSE_BOX: frozenset({"at", "since_s"})}
_OWN_OPTIONS = frozenset[str]().union(*_OWN.values())
"""Options that only some targets have."""


class Simulated(Driver):
    """A scenario at the simulated van."""

    name = "sim"
    summary = "a scenario at the simulated van: sim:healthy-prime?seed=7; 'meterlog emulate --list' lists them"
    verification = "the motor against its analytic solution, the rest against the circuit solver"
    modes = ("V DC", "A DC", "ohm")
    options = frozenset(
        {"seed", "speed", "loop", "fault", "repaired", "turn", "since_s", *PLACED, *METER_OPTIONS} - {"interval_s"}
    )
    silence_is_loss = False

    def moves(self, address: Address) -> bool:
        """See `Driver.moves`."""
        return address.target in (VAN, FUSE_BOX)

    def meter(self, address: Address) -> Meter:
        """The scenario's meter.

        Raises:
            AddressError: no such scenario, or an option is out of bounds.
        """
        placed = self.moves(address)
        made = {VAN: _van, FUSE_BOX: _fuse_box}.get(address.target)
        scenario = scenario_named(address.target) if made is None else made(address)
        if only := sorted((_OWN_OPTIONS - _OWN.get(address.target, frozenset())) & address.options.keys()):
            owner = next(target for target, own in _OWN.items() if only[0] in own)
            raise AddressError(
                f"'{only[0]}' belongs to sim:{owner}: the scenario '{address.target}' has its own faults and places"
            )
        run = scenario.run(_seed(address), together=True, **meter_overrides(address))
        speed = address.number("speed", 1.0, least=0.001, most=1e6)
        return SimulatedMeter(run, speed, address.choice("loop", ("yes", "no"), "yes" if placed else "no") == "yes")


def _seed(address: Address) -> int:
    return round(address.number("seed", 0, most=2**31))


def _van(address: Address) -> Scenario:
    """The van with the fault and the probes that the address says.

    Raises:
        MeterlogError: there is no such fault or place.
    """
    from meterlog_drivers.simulated.measured import MeasuredVan
    from meterlog_drivers.simulated.van.faults import HIDDEN, faults_named

    options = address.options
    seed = _seed(address)
    van = MeasuredVan(faults_named(options.get("fault", HIDDEN), seed), seed)
    van = van.repaired(*options.get("repaired", "").split(","))
    return van.scenario(van.place({"at": "plug_feed", **options}), round(address.number("turn", 0, most=1e6)))


def _fuse_box(address: Address) -> Scenario:
    """The fuse box with the probes where the address says.

    Raises:
        AddressError: it has no such fuse.
    """
    from meterlog_drivers.simulated.van.fuse_box import ASLEEP_S, OFF, FuseBox

    since_s = address.number("since_s", ASLEEP_S, most=1e6)
    return FuseBox(_seed(address)).scenario(address.options.get("at", OFF), since_s)


def scenario_named(name: str) -> Scenario:
    """The scenario of that name.

    Raises:
        AddressError: there is none; with the nearest and all.
    """
    from meterlog_drivers.simulated.scenarios import SCENARIOS

    if name in SCENARIOS:
        return SCENARIOS[name]
    hint = did_you_mean(name, SCENARIOS)
    raise AddressError(f"there is no scenario '{name}'{hint}; there are {', '.join(SCENARIOS)}")


def meter_overrides(address: Address) -> dict[str, float]:
    """The options that change the meter in front of the van.

    Raises:
        AddressError: one is out of bounds.
    """
    return {
        option: address.number(option, default, least=least, most=most)
        for option, (default, least, most) in METER_OPTIONS.items()
        if option in address.options
    }


class SimulatedMeter:
    """A run of a scenario as a meter: each test point a column."""

    def __init__(self, run: Run, speed: float, loop: bool) -> None:
        self.run = run
        self._speed, self._loop = speed, loop

    @property
    def name(self) -> str:
        """The scenario."""
        return f"simulated {self.run.name}"

    @property
    def columns(self) -> int:
        """The number of the scenario's test points."""
        return len(self.run.probes)

    def column_label(self, column: int) -> str:
        """The name that a person would give that channel."""
        return self.run.probes[column].label

    def open(self) -> Connection:
        """Begin the scenario."""
        return _Playing(self.run, self._speed, self._loop)


class _Playing:
    """Gives each reading when its time has come, anchored at the moment of opening."""

    def __init__(self, run: Run, speed: float, loop: bool) -> None:
        self.traffic = Traffic()
        self._run, self._speed, self._loop = run, speed, loop
        self._opened_s = self._lap_s = time.monotonic()
        self._waiting = run.displays(tuple(range(len(run.probes))), self._lap_s)
        self._next = 0
        self._closed = threading.Event()

    def read(self, timeout_s: float) -> list[Reading] | None:
        """See `Connection.read`."""
        if self._next >= len(self._waiting):
            if not self._loop:
                return None
            self._lap_s += self._run.lap_s
            self._waiting = self._run.displays(tuple(range(len(self._run.probes))), self._lap_s)
            self._next = 0
        wait_s = self._due_s(self._next) - time.monotonic()
        if wait_s > 0 and (self._closed.wait(min(wait_s, timeout_s)) or wait_s > timeout_s):
            return []
        begin, now_s = self._next, time.monotonic()
        while self._next < len(self._waiting) and self._due_s(self._next) <= max(now_s, self._due_s(begin)):
            self._next += 1
        readings = self._waiting[begin : self._next]
        self.traffic.frames_good += len(readings)
        return readings

    def close(self) -> None:
        """Let go."""
        self._closed.set()

    def _due_s(self, index: int) -> float:
        return self._opened_s + (self._waiting[index].time_s - self._opened_s) / self._speed
