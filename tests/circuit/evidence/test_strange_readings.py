"""A strange reading is believed, the stranger the same; and right readings never contradict each other."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.fault_cells import single_open
from meterlog.circuit.readings.measurement import Measurement

NAMES = ("pump-feed", "horn", "ignition-supply", "starter-control")
pytestmark = pytest.mark.slow
SLACK = 0.1
"""Near 0 V a probe that does not touch becomes likelier, and takes this much of the belief at the most."""


@cache
def _tool(name: str) -> Diagnoser:
    return Diagnoser(load_circuit(name))


def _battery(tool: Diagnoser, state: str, volts: float) -> float:
    known = tool.weigh([Measurement("voltage", "battery_plus", state=state, value=volts)])
    return tool.chances(known.weight, known.comes_and_goes)[tool.circuit.parts[0].id]


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(NAMES), st.floats(1.0, 11.0), st.floats(0.0, 6.0))
def test_a_battery_is_not_believed_to_be_better_the_worse_it_reads(name: str, volts: float, worse_by: float) -> None:
    tool, worse = _tool(name), max(volts - worse_by, 1.0)
    for state in {"key_on", "crank"} & set(tool.circuit.active):
        assert _battery(tool, state, worse) >= _battery(tool, state, volts) - SLACK


@pytest.mark.parametrize("name", NAMES)
def test_right_readings_on_both_sides_of_an_open_part_contradict_nothing(name: str) -> None:
    tool = _tool(name)
    circuit, cells = tool.circuit, tool.cells
    at_node = {circuit.node(point.id): point.id for point in circuit.points}
    state = "key_on" if "key_on" in circuit.active else circuit.active[0]
    tried = 0
    for k in range(1, len(circuit.parts)):
        cell = single_open(cells, k)
        if cell < 0 or k - 1 not in at_node or k not in at_node:
            continue
        around = [Measurement("voltage", at_node[node], state=state) for node in (k - 1, k)]
        read = [replace(m, value=round(float(tool.network.predict(m).mean[cell]), 2)) for m in around]
        assert not tool.diagnose(read, suggestions=0).inconsistent, circuit.parts[k].id
        tried += 1
    assert tried >= 5
