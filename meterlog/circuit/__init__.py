"""The circuit: its model, its network, which part is at fault, and what to measure next."""

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import circuit_from_table, load_circuit, template_names
from meterlog.circuit.model.part import Part, Point

__all__ = ["Circuit", "Part", "Point", "circuit_from_table", "load_circuit", "template_names"]
