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
        k = circuit.commands.get(id_, circuit.part_index.get(id_, -1))
        k = circuit.part_index[circuit.point_of[id_].after] if id_ in circuit.point_of else k
        for passed in (*circuit.upstream[k], k, *circuit.downstream[k]):
            assert circuit.parts[passed].id.split("_")[0][:8] in words


def test_a_probe_on_a_branch_is_drawn_on_the_way_through_it() -> None:
    parts: list[dict[str, object]] = [{"id": "battery", "kind": "battery"}, {"id": "fuse", "kind": "fuse"}]
    parts += [{"id": "left", "kind": "load", "resistance_ohm": 6.0}, {"id": "bolt", "kind": "ground"}]
    beside = [
        {
            "id": f"{name}_side",
            "after": "fuse",
            "part": [{"id": f"{name}_wire", "kind": "wire"}, {"id": name, "kind": "load", "resistance_ohm": 6.0}],
        }
        for name in ("right", "third")
    ]
    circuit = circuit_from_table({"part": parts, "branch": beside, "point": [{"id": "top", "after": "fuse"}]})

    def drawn(m: Measurement) -> str:
        return "".join(ElementTree.fromstring(probe_svg(circuit, m)).itertext())

    assert "left" in drawn(Measurement("voltage", "top"))
    assert "right" not in drawn(Measurement("voltage", "top"))
    assert "right" in drawn(Measurement("voltage_drop", "right", "right"))
    assert "left" not in drawn(Measurement("voltage_drop", "right", "right"))
    assert not probe_picture(circuit, Measurement("voltage", "right_wire", "third_wire")), "no one way passes both"
