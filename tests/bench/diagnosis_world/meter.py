"""Takes a reading as a person does: the meter loads the circuit, has an error, and is sometimes not where it should be.

A request and a reading are the rows of a `measured` file.
"""

from __future__ import annotations

import math

import numpy as np

from tests.bench.diagnosis_world.circuits import Drawn
from tests.bench.diagnosis_world.vehicle import Vehicle, ohms, solved

Row = dict[str, object]
LAMP_OHM = 28.0
"""A test lamp of 5 W."""
OVERLOAD_OHM = 30e6
MOST_IN_SERIES_A = 10.0
"""The current jack of a hand-held meter is fused at this."""
BAD_WAYS = ("no contact", "slip", "next pin", "unplugged")
BAD_SHARES = (0.5, 0.15, 0.2, 0.15)
"""Says how readings go wrong, and how often each. Guesses."""


def read(vehicle: Vehicle, request: Row, bad_share: float, rng: np.random.Generator) -> Row:
    """The request with a `value` as it is noted."""
    way = str(rng.choice(BAD_WAYS, p=BAD_SHARES)) if rng.random() < bad_share else ""
    asked = dict(request)
    if way == "next pin":
        asked = _next_pin(vehicle.drawn, asked, rng)
    if way == "unplugged" and asked["load"] == "connected" and asked["quantity"] != "resistance":
        asked["load"] = "unplugged"
    value = _shown(vehicle, asked, rng)
    if way == "no contact":
        value = math.inf if request["quantity"] == "resistance" else round(float(rng.normal(0, 0.01)), 2)
    if way == "slip" and math.isfinite(value):
        value = _slip(value, rng)
    return {**request, "value": "open" if math.isinf(value) else value}


def _next_pin(drawn: Drawn, asked: Row, rng: np.random.Generator) -> Row:
    """The same one place further along the chain."""
    at = str(asked["at"])
    if at == drawn.coil or asked["quantity"] == "current":
        return asked
    node = min(max(drawn.node(at) + int(rng.choice([-1, 1])), 0), len(drawn.parts) - 1)
    return asked if drawn.point(node) == asked["to"] else {**asked, "at": drawn.point(node)}


def _slip(value: float, rng: np.random.Generator) -> float:
    """A typed number with a digit lost, two of them changed, or its point moved."""
    text = f"{value:g}"
    way = int(rng.integers(3))
    if way == 0 and len(text) > 2:
        return round(value / 10, 3)
    digits = [k for k, c in enumerate(text) if c.isdigit()]
    if way == 1 and len(digits) > 1:
        a, b = digits[0], digits[1]
        swapped = list(text)
        swapped[a], swapped[b] = swapped[b], swapped[a]
        return float("".join(swapped))
    return round(value + float(rng.choice([-1.0, 1.0, 3.0])), 2) if value > 3 else value


def _shown(vehicle: Vehicle, asked: Row, rng: np.random.Generator) -> float:
    quantity, state = str(asked["quantity"]), str(asked["state"])
    drawn, at = vehicle.drawn, str(asked["at"])
    if quantity == "resistance":
        return _ohms_shown(vehicle, asked, rng)
    if at == drawn.coil:
        _, volts = solved(vehicle, state, "connected", (), rng)
        value = vehicle.coil_v.get(state, 0.0) * float(volts[0]) - rng.uniform(0, 0.3)
        return round(max(value, 0.0) * (1 + rng.uniform(-0.005, 0.005)), 2)
    if quantity == "current":
        network, volts = solved(vehicle, state, str(asked["load"]), (), rng)
        return round(network.amps(at, volts) * (1 + rng.uniform(-0.02, 0.02)) + rng.normal(0, 0.03), 2)
    a, b = drawn.node(at), drawn.node(str(asked["to"]))
    shunts = [(a, b, vehicle.meter_ohm)]
    if asked["load"] == "lamp":
        shunts.append((a, b, LAMP_OHM))
    _, volts = solved(vehicle, state, str(asked["load"]), tuple(shunts), rng)
    value = float(volts[a] - volts[b])
    return round(value * (1 + rng.uniform(-0.006, 0.006)) + 0.01 * int(rng.integers(-2, 3)), 2)


def _ohms_shown(vehicle: Vehicle, asked: Row, rng: np.random.Generator) -> float:
    drawn = vehicle.drawn
    a, b = drawn.node(str(asked["at"])), drawn.node(str(asked["to"]))
    value = ohms(vehicle, min(a, b), max(a, b), str(asked["load"]), rng) + vehicle.lead_ohm
    if value > OVERLOAD_OHM:
        return math.inf
    return float(f"{value * (1 + rng.uniform(-0.01, 0.01)) + rng.uniform(0, 0.1):.3g}")
