"""Checks faults of the key, the coil and the contact: what is on when it must not be, or off in one position only."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser, Diagnosis
from meterlog.circuit.faults.cells import first_healthy
from meterlog.circuit.readings.measurement import Measurement

TOOL = Diagnoser(load_circuit("pump-feed"))


def volts(at: str, value: float, state: str = "key_on") -> Measurement:
    return Measurement("voltage", at, value=value, state=state)


WORKS = [volts("fuse_out", 12.3), volts("pump_plus", 12.1), volts("pump_minus", 0.03)]

NO_CURRENT = Measurement("current", "fuse", state="off", value=0.0)


def found(*measured: Measurement) -> Diagnosis:
    return TOOL.diagnose(measured, suggestions=0)


@pytest.mark.parametrize(
    ("measured", "part", "fault"),
    [
        ([volts("relay_coil", 12.2), volts("relay_out", 12.1), volts("relay_coil", 0.0, "crank"),
          volts("relay_out", 0.0, "crank")],
         "relay_coil", "half_commanded"),
        ([volts("relay_coil", 0.0), volts("relay_coil", 10.5, "crank"), volts("relay_coil", 0.0, "run"),
          volts("relay_out", 0.0, "run")],
         "relay_coil", "half_commanded"),
        ([volts("relay_coil", 4.9), volts("relay_out", 0.0), volts("fuse_out", 12.4)],
         "relay_coil", "weakly_commanded"),
        ([*WORKS, volts("relay_out", 12.5, "off"),
          Measurement("resistance", "fuse_out", "relay_out", "isolated", value=0.3)], "relay", "stuck_closed"),
        ([*WORKS, volts("relay_out", 12.5, "off"), volts("plug_feed", 12.4, "off"),
          volts("pump_minus", 0.03, "off"), NO_CURRENT, NO_CURRENT],
         "feed_wire", "fed_elsewhere"),
        ([volts("relay_out", 2.3, "off"), volts("body", 0.02, "off"), volts("pump_minus", 2.35, "off"),
          volts("ground_eyelet", 2.3, "off")], "ground_bolt", "high_resistance"),
        ([volts("battery_plus", 12.7), volts("battery_plus", 6.0, "crank"), volts("relay_out", 5.8, "crank")],
         "battery", "weak"),
    ],
)  # fmt: skip
def test_what_the_key_the_coil_or_a_contact_does_wrong_is_named(
    measured: list[Measurement], part: str, fault: str
) -> None:
    top = found(*measured).hypotheses[0]
    assert (top.part, top.fault) == (part, fault)
    assert top.probability > 0.5  # more likely than all else together


def test_a_vehicle_that_never_primes_may_have_any_fault() -> None:
    """No command at key-on, by design, and an open wire as the cranking shows."""
    crank = [volts("relay_coil", 0.0), volts("relay_coil", 10.4, "crank"), volts("switch_out", 10.4, "crank")]
    top = found(*crank, volts("plug_feed", 0.0, "crank"), volts("plug_feed", 0.01, "crank")).hypotheses[0]
    assert top.part == "feed_wire"
    assert top.probability > 0.8


def test_a_circuit_that_works_is_looked_at_with_the_key_off_too() -> None:
    following = TOOL.diagnose([*WORKS, Measurement("current", "fuse", value=4.9)], suggestions=40).next
    assert "off" in {s.measurement.state for s in following}


def test_a_feed_past_a_closed_contact_takes_its_share_of_the_current_from_the_fuse() -> None:
    cells = TOOL.cells
    amps = TOOL.network.predict(Measurement("current", "fuse", state="run")).mean
    fed = [amps[k] for k in np.flatnonzero(cells.fed_at >= 0) if cells.fed_ohm[k] < 0.1]
    good = amps[first_healthy(cells)]
    assert fed
    assert all(0.3 * good < one < 0.9 * good for one in fed)


@pytest.mark.parametrize("level", [6.2, 7.9, 10.0])
def test_a_feed_of_some_resistance_is_named_at_every_level_that_it_leaves(level: float) -> None:
    first = found(volts("fuse_out", 12.4), volts("body", 0.02), *[volts("relay_out", level, "off")] * 2).hypotheses[0]
    assert (first.part, first.fault) == ("feed_wire", "fed_elsewhere")
