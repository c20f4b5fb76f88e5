"""Keeps what was found, a line a vehicle, so that a long run may be stopped and gone on with."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

from tests.bench.diagnosis_world.search import Outcome

Row = dict[str, Outcome]


class Kept:
    """The rows of one world and seed, in a file of their own.

    Attributes:
        rows: by (number, sound).
    """

    def __init__(self, folder: Path, world: str, seed: int) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / f"{world.replace(' ', '-')}-{seed}.jsonl"
        self.rows: dict[tuple[int, bool], Row] = {}
        for line in self._path.read_text().splitlines() if self._path.exists() else ():
            k, sound, row = json.loads(line)
            self.rows[k, sound] = {way: _outcome(said) for way, said in row.items()}

    def add(self, k: int, sound: bool, row: Row) -> None:
        """Keep one vehicle's row."""
        self.rows[k, sound] = row
        with self._path.open("a") as file:
            file.write(json.dumps([k, sound, {way: asdict(outcome) for way, outcome in row.items()}]) + "\n")


def _outcome(said: dict[str, object]) -> Outcome:
    claims = said.pop("claims")
    return Outcome(**said, claims=tuple((p, so) for p, so in claims))  # type: ignore[arg-type,attr-defined]
