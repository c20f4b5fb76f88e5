"""Nine cases from practice: what was found comes first, or 'healthy' where nothing was wrong."""

import tomllib
from pathlib import Path

import pytest

from meterlog.circuit.diagnosis import diagnose
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.readings.from_file import load_measured

CASES = sorted((Path(__file__).parent / "cases").glob("*.toml"))


def test_there_are_cases() -> None:
    assert len(CASES) >= 9


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_what_was_found_ranks_first(path: Path) -> None:
    circuit = load_circuit(path)
    found = diagnose(circuit, *load_measured(path, circuit))
    ranking = [(h.part, h.probability) for h in found.hypotheses] + [("healthy", found.healthy)]
    ranking.sort(key=lambda entry: -entry[1])
    print(f"\n{path.stem}: {found.verdict}")
    for part, probability in ranking[:6]:
        print(f"  {probability:6.1%}  {part}")
    truth = tomllib.loads(path.read_text("utf-8"))["truth"]
    allowed = ["healthy"] if truth.get("healthy") else truth["parts"]
    assert ranking[0][0] in allowed
    assert found.verdict.startswith("healthy") == bool(truth.get("healthy"))
