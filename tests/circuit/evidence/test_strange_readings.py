"""A strange reading is believed, the stranger the same; and right readings never contradict each other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.circuit import load_circuit
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.cells import single_open, single_resistive
from meterlog.circuit.model.circuit_file import template_names
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
def test_a_battery_full_at_rest_is_not_believed_the_less_the_more_it_gives_way(name: str) -> None:
    tool, best = _tool(name), 0.0
    if "crank" not in tool.circuit.active:
        pytest.skip("nothing is on while the engine is turned")
    full = Measurement("voltage", "battery_plus", state="off", value=12.7)
    for volts in (8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0):
        slack = SLACK if volts >= 4.0 else 2 * SLACK
        known = tool.weigh([full, Measurement("voltage", "battery_plus", state="crank", value=volts)])
        belief = tool.chances(known.weight, known.comes_and_goes)[tool.circuit.parts[0].id]
        assert belief >= max(best - slack, 0.4), volts
        best = max(best, belief)


def _true_pairs(tool: Diagnoser, k: int) -> Iterator[list[Measurement]]:
    """True readings before and behind part k, for it open and for it with too much resistance."""
    circuit, cells = tool.circuit, tool.cells
    state = "key_on" if "key_on" in circuit.active else circuit.active[0]
    at_node = {circuit.node(point.id): point.id for point in circuit.points if point.id != "battery_minus"}
    before, behind = [n for n in at_node if n < k], [n for n in at_node if n >= k]
    if not before or not behind:
        return
    pairs = {(max(before), min(behind)), (min(before), min(behind)), (max(before), max(behind))}
    resistive = np.flatnonzero(single_resistive(cells) & (cells.part[:, 0] == k))
    for cell in [single_open(cells, k), *resistive[len(resistive) // 2 :][:1]]:
        for ends in sorted(pairs) if cell >= 0 else []:
            around = [Measurement("voltage", at_node[node], state=state) for node in ends]
            yield [replace(m, value=round(float(tool.network.predict(m).mean[cell]), 2)) for m in around]


@pytest.mark.parametrize("name", template_names())
def test_right_readings_on_both_sides_of_a_faulty_part_contradict_nothing(name: str) -> None:
    tool, tried = _tool(name), 0
    for k in range(1, len(tool.circuit.parts)):
        for read in _true_pairs(tool, k):
            assert not tool.diagnose(read, suggestions=0).inconsistent, (tool.circuit.parts[k].id, read)
            tried += 1
    assert tried >= 10
