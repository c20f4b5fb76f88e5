"""The circuit: its model, its network, which part is at fault, and what to measure next."""

from meterlog.circuit.load import circuit_from_table, load_circuit, template_names
from meterlog.circuit.model import Circuit, Part, Point

__all__ = ["Circuit", "Part", "Point", "circuit_from_table", "load_circuit", "template_names"]
