"""The drawing of where the probes go."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from meterlog.circuit import load_circuit, template_names
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.readings.measurement import Measurement
from meterlog_dashboard.job.probe_picture import probe_picture, probe_svg, probes

PUMP = load_circuit("pump-feed")
FUSE, RELAY, LAST = PUMP.part_index["fuse"], PUMP.part_index["relay"], len(PUMP.parts) - 1


@pytest.mark.parametrize(
    ("m", "nodes"),
    [
        (Measurement("voltage", "fuse_out"), (FUSE, LAST)),
        (Measurement("voltage_drop", "relay", "relay"), (RELAY - 1, RELAY)),
        (Measurement("current", "fuse", "fuse"), (FUSE - 1, FUSE)),
        (Measurement("resistance", "plug_ground", "battery_minus", "isolated"), (PUMP.node("plug_ground"), LAST)),
        (Measurement("voltage", "relay_coil", "relay_coil", at_coil=True), (RELAY - 1, RELAY - 1)),
    ],
)
def test_each_probe_is_where_the_measurement_says(m: Measurement, nodes: tuple[int, int]) -> None:
    assert probes(PUMP, m) == nodes


@pytest.mark.parametrize("name", template_names())
def test_every_circuit_can_be_drawn_at_each_of_its_places(name: str) -> None:
    circuit = load_circuit(name)
    for id_ in circuit.ids():
        drawn = ElementTree.fromstring(probe_svg(circuit, Measurement("voltage", id_, "battery_minus")))
        words = "".join(drawn.itertext())
        assert "red" in words
        assert "black" in words
        assert all(part.id.split("_")[0][:8] in words for part in circuit.parts)


def test_a_probe_on_a_branch_is_not_drawn_on_the_chain() -> None:
    parts: list[dict[str, object]] = [{"id": "battery", "kind": "battery"}, {"id": "fuse", "kind": "fuse"}]
    parts += [{"id": "left", "kind": "load", "resistance_ohm": 6.0}, {"id": "bolt", "kind": "ground"}]
    beside = {"id": "right_side", "after": "fuse", "part": [{"id": "right", "kind": "load", "resistance_ohm": 6.0}]}
    circuit = circuit_from_table({"part": parts, "branch": [beside], "point": [{"id": "top", "after": "fuse"}]})
    assert not probe_picture(circuit, Measurement("voltage_drop", "right", "right"))
    drawn = "".join(ElementTree.fromstring(probe_svg(circuit, Measurement("voltage", "top"))).itertext())
    assert "left" in drawn
    assert "right" not in drawn
