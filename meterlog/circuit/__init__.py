"""The circuit: its model, its network, which part is at fault, and what to measure next."""

from meterlog.circuit.model.circuit import Circuit, Part, Point
from meterlog.circuit.model.circuit_file import circuit_from_table, load_circuit, template_names

__all__ = ["Circuit", "Part", "Point", "circuit_from_table", "load_circuit", "template_names"]
