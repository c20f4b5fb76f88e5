"""Drives the product as a user does: a circuit file, readings entered as rows, and its answers as `--json` has them."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from meterlog.circuit import circuit_from_table
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.from_rows import measurement_from_row, trial_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told, Tried
from meterlog.errors import CircuitError
from tests.bench.diagnosis_world.circuits import Drawn, as_table
from tests.bench.diagnosis_world.faults import OUTSIDE
from tests.bench.diagnosis_world.search import Bench, Outcome
from tests.bench.diagnosis_world.worlds import Case

MOST_READINGS = 24
SURE, LEAST_CLAIM = 0.9, 0.05
"""The product's word for sure is 90 %; claims below 5 % are not judged."""
REPLACE_FUSE_FROM = 0.6
"""A fuse costs nothing: from this probability on a person puts a new one in."""
PLACE = ("at", "to", "state", "load", "side")
WARMING = "fails_when_warm"
KINDS = ("voltage", "voltage_drop", "current", "resistance")


@lru_cache(maxsize=16)
def _diagnoser(key: str) -> Diagnoser:
    return Diagnoser(circuit_from_table(json.loads(key), "bench"))


def diagnoser(drawn: Drawn) -> Diagnoser:
    """One diagnoser a circuit and process."""
    return _diagnoser(json.dumps(as_table(drawn)))


def answers(said: Mapping[str, Any]) -> dict[str, float]:
    """Every answer with its probability."""
    found = {str(h["part"]): float(h["probability"]) for h in said["hypotheses"]}
    return found | {"healthy": float(said["healthy"]), OUTSIDE: float(said.get("outside", 0.0))}


def follow(case: Case, bench: Bench) -> Outcome:
    """Follow the product's suggestions until it has none."""
    tool = diagnoser(bench.vehicle.drawn)
    measured: list[Measurement] = []
    tried: list[Told] = [Observed("only_when_hot", "yes")] if case.hot else []
    claims: list[tuple[float, bool]] = []
    first_sure: bool | None = None
    slowest, top = 0.0, ""
    while True:
        began = time.perf_counter()
        said: dict[str, Any] = tool.diagnose(measured, tried, suggestions=1, sentences=False).as_json()
        slowest = max(slowest, time.perf_counter() - began)
        chances = answers(said)
        top = max(chances, key=lambda id_: chances[id_])
        if measured:
            claims += [(p, id_ in case.right) for id_, p in chances.items() if p >= LEAST_CLAIM]
            if first_sure is None and chances[top] >= SURE:
                first_sure = top in case.right
        if fuse := _blown(said, bench.vehicle.drawn, tried):
            row = {"replaced": fuse, "result": bench.replace_fuse()}
            tried.append(trial_from_row(row, tool.circuit, "bench"))
            continue
        following = [s for s in said["next"] if s["measure"] in KINDS or s.get("observed") == WARMING]
        if not following or len(measured) >= MOST_READINGS:
            break
        if following[0].get("observed") == WARMING:
            tried.append(Observed(WARMING, bench.warm()))
            continue
        measured.append(_entered(bench, following[0], tool))
    tale = f"{bench.tale}; {' '.join(str(t) for t in tried)} => {said['verdict'][:160]}"
    return Outcome(
        case.fault, top, top in case.right, first_sure, len(measured), bench.minutes, tuple(claims), slowest, tale
    )


def _blown(said: Mapping[str, Any], drawn: Drawn, tried: list[Told]) -> str:
    """The fuse that a person replaces now; empty where there is no such call."""
    fuse = drawn.parts[drawn.last("fuse")][0]
    top = said["hypotheses"][0] if said["hypotheses"] else None
    if any(isinstance(one, Tried) for one in tried) or top is None or top["probability"] < REPLACE_FUSE_FROM:
        return ""
    blown = (top["part"] == fuse and top["fault"] == "open") or top["fault"] == "short_to_ground"
    return fuse if blown else ""


def _entered(bench: Bench, wanted: Mapping[str, Any], tool: Diagnoser) -> Measurement:
    """Take what is suggested and enter it; a value that the product refuses is read again."""
    asked = {"quantity": wanted["measure"], **{key: wanted[key] for key in PLACE if key in wanted}}
    while True:
        row = bench.note(dict(asked))
        try:
            return measurement_from_row(row, tool.circuit, "bench")
        except CircuitError:
            bench.taken.pop()
