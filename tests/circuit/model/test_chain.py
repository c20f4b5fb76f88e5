"""Checks the drawn chain, what is named as odd, copper's resistance, and that a written file reads back the same."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.model.chain_text import branch_lines, chain_line, chain_lines, fitted
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import circuit_from_table, template_names
from meterlog.circuit.model.conductor import copper_ohm, typed_gauge_mm2
from meterlog.circuit.model.new_circuit import circuit_toml
from meterlog.circuit.model.oddities import oddities
from meterlog.circuit.model.part import Part, Point
from meterlog.errors import CircuitError
from meterlog.text.toml import parse_toml

README = Path(__file__).parents[3] / "meterlog" / "circuit" / "templates" / "README.md"


def with_part(circuit: Circuit, id_: str, **changes: object) -> Circuit:
    parts = [replace(part, **changes) if part.id == id_ else part for part in circuit.parts]  # type: ignore[arg-type]
    return replace(circuit, parts=tuple(parts))


def test_the_chain_shows_every_part_and_every_place_in_the_order_of_the_current() -> None:
    circuit = load_circuit("pump-feed")
    drawn = chain_lines(circuit)
    named = [line.split()[1] for line in drawn if line.startswith(("  +", "  |", "  *")) and " o " not in line]
    assert named == [part.id for part in circuit.parts]
    places = [line.split(" o ")[1].split(",")[0] for line in drawn if " o " in line]
    assert places == [point.id for point in circuit.points]
    assert any("relay contact, closed by relay_coil" in line for line in drawn)
    assert max(map(len, drawn)) < 80


@pytest.mark.parametrize("name", template_names())
def test_a_narrow_terminal_shows_the_whole_chain_and_its_rails(name: str) -> None:
    drawn = chain_lines(load_circuit(name))
    narrow = list(fitted(drawn, 40))
    assert max(map(len, narrow)) <= 40
    words = [word for line in narrow for word in line.split() if word != "|"]
    assert words == [word for line in drawn for word in line.split() if word != "|"]
    assert {line[2] for line in narrow[narrow.index("") + 1 :]} <= set("+|*-")


@pytest.mark.parametrize("name", template_names())
def test_a_template_is_drawn_in_the_readme_and_has_no_slip(name: str) -> None:
    circuit = load_circuit(name)
    readme = " ".join(README.read_text().split())
    assert all(line in readme for line in (chain_line(circuit), *branch_lines(circuit)))
    assert [odd for odd in oddities(circuit) if "switches the ground side" not in odd] == []


def test_a_wire_has_the_resistance_of_its_copper() -> None:
    assert copper_ohm(1.0, 1.0) == pytest.approx(0.01724)
    rows = '{id = "w", kind = "wire", gauge_mm2 = 1.5, length_m = 4.0}'
    table = f'part = [{{id = "battery", kind = "battery"}}, {rows}, {{id = "lamp", kind = "load"}}]'
    circuit = circuit_from_table(parse_toml(table.encode(), "c", CircuitError).values)
    assert circuit.parts[1].resistance_ohm == pytest.approx(0.01724 * 4 / 1.5)


@pytest.mark.parametrize(
    ("text", "mm2"), [("1.5", 1.5), ("0,75 mm2", 0.75), ("16 AWG", 1.31), ("10 awg", 5.26), ("thick", None)]
)
def test_a_cross_section_is_read_as_people_write_it(text: str, mm2: float | None) -> None:
    found = typed_gauge_mm2(text)
    assert found == (None if mm2 is None else pytest.approx(mm2, rel=0.01))


def test_what_is_odd_is_named() -> None:
    pump = with_part(load_circuit("pump-feed"), "plug_feed_pin", leaks_to="")
    ground_first = replace(pump, parts=(pump.parts[0], Part("strap", "ground"), *pump.parts[1:]))
    assert any("ground 'strap' stands before 'pump'" in odd for odd in oddities(ground_first))
    assert any("relay 'relay' has no 'command'" in odd for odd in oddities(with_part(pump, "relay", command="")))
    assert any("rated 3 A, and the load draws 5 A" in odd for odd in oddities(with_part(pump, "fuse", rating_a=3.0)))
    thin = with_part(pump, "feed_wire", resistance_ohm=0.3)
    assert any("wire 'feed_wire' loses 1.5 V at 5 A" in odd for odd in oddities(thin))
    far = replace(pump, points=(*pump.points[:-1], Point("tank_top", "pump", 600.0)))
    assert any("nobody reaches point 'tank_top' (600 min)" in odd for odd in oddities(far))
    assert any("'pump_minus' and 'tank_top' are the same place" in odd for odd in oddities(far))
    blind = replace(pump, points=(pump.points[0], *pump.points[5:]))
    assert any("no place to measure between plus_clamp, fuse, relay" in odd for odd in oddities(blind))
    unfused = replace(pump, parts=tuple(part for part in pump.parts if part.id != "fuse"), points=pump.points[:2])
    assert any("no fuse stands between battery and load" in odd for odd in oddities(unfused))


def test_two_relays_on_one_command_are_told_apart() -> None:
    text = """part = [{id = "battery", kind = "battery"}, {id = "a", kind = "relay_contact", command = "coil"},
      {id = "b", kind = "relay_contact", command = "coil"}, {id = "lamp", kind = "load"}]"""
    with pytest.raises(CircuitError, match="'a' and 'b' have the same command 'coil'"):
        circuit_from_table(parse_toml(text.encode(), "c", CircuitError).values)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('{id = "w", kind = "fuse", gauge_mm2 = 1.5}', "'gauge_mm2' belongs to a wire"),
        ('{id = "w", kind = "wire", rating_a = 15}', "'rating_a' is what is printed on a fuse"),
        ('{id = "w", kind = "wire", gauge_mm2 = 0}', "'gauge_mm2' must be a number from 0.05"),
        ('{id = "w", kind = "wire", colour = 3}', "'colour' must be text in quotes"),
    ],
)
def test_a_mark_that_does_not_fit_is_refused(row: str, said: str) -> None:
    text = f'part = [{{id = "battery", kind = "battery"}}, {row}, {{id = "lamp", kind = "load"}}]'
    with pytest.raises(CircuitError, match=said):
        circuit_from_table(parse_toml(text.encode(), "c", CircuitError).values)


@pytest.mark.parametrize("name", template_names())
def test_a_written_file_reads_back_the_same(name: str) -> None:
    circuit = load_circuit(name)
    marked = with_part(circuit, circuit.parts[1].id, colour='red/"green"', pins="30-87")
    text, reason = circuit_toml(marked)
    assert reason == ""
    assert circuit_from_table(parse_toml(text.encode(), "c", CircuitError).values) == marked
