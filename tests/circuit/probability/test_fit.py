"""Tests that the quick sums over bad readings are those that plain ones, cell by cell and set by set, give."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.cells import first_healthy
from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.circuit.probability.bad_readings import SECOND_LOOK, log_bad_count
from meterlog.circuit.probability.fit import MOST_BAD, NEGLIGIBLE, Fit
from meterlog.circuit.readings.measurement import Measurement

TOOL = Diagnoser(load_circuit("pump-feed"))
EVERY = 60
"""Of all cells one in so many is summed plainly."""
READ = [
    Measurement("voltage", "battery_plus", value=12.5),
    Measurement("voltage", "fuse_out", value=12.4),
    Measurement("voltage", "relay_out", value=0.1),
    Measurement("voltage", "relay_out", value=11.9),
    Measurement("resistance", "plug_ground", "battery_minus", "isolated", value=0.4),
]


@pytest.fixture(scope="module")
def fit() -> Fit:
    good = first_healthy(TOOL.cells)
    rows = np.append(good, np.arange(0, len(TOOL.cells), EVERY))
    return Fit(TOOL.network.among(rows), READ, range(len(READ))).spread(TOOL.network.good.fresh)


def _log_density(residual: NDArray[np.float64], covariance: NDArray[np.float64], left: list[int]) -> float:
    some, r = covariance[np.ix_(left, left)], residual[left]
    return float(-0.5 * (r @ np.linalg.solve(some, r) + np.linalg.slogdet(some)[1] + len(left) * math.log(2 * math.pi)))


def test_the_likelihood_sums_over_which_readings_are_bad(fit: Fit) -> None:
    count, cells = len(READ), len(fit.mean)
    covariance = fit.covariance(np.arange(cells))
    cost = fit.log_bad + np.log([SECOND_LOOK if before else 1.0 for before in fit.before]) + fit.log_reads_good
    out: list[tuple[int, ...]] = [()] * cells
    sets: list[dict[tuple[int, ...], float]] = [
        {(): _log_density(fit.residual[k], covariance[k], [*range(count)]) + log_bad_count(0, count)}
        for k in range(cells)
    ]
    for bads in range(1, min(count, MOST_BAD) + 1):
        more = []
        for k in range(cells):
            found = {}
            for i in set(range(count)) - set(out[k]):
                bad = [*out[k], i]
                left = [j for j in range(count) if j not in bad]
                density = _log_density(fit.residual[k], covariance[k], left) if left else 0.0
                found[(*out[k], i)] = density + float(cost[k, bad].sum()) + log_bad_count(bads, count)
            more.append(found)
        best = max(float(np.logaddexp.reduce([*one.values()])) for one in sets)
        if max(max(found.values()) for found in more) < best + NEGLIGIBLE:
            break
        out = [max(found, key=lambda bad: found[bad]) for found in more]
        for one, found in zip(sets, more, strict=True):
            one.update(found)
    total, bad_share = fit.likelihood()
    plain = np.array([np.logaddexp.reduce([*one.values()]) for one in sets])
    assert total == pytest.approx(plain, rel=1e-9, abs=1e-7)
    for k, one in enumerate(sets):
        shares = [sum(math.exp(w - plain[k]) for bad, w in one.items() if i in bad) for i in range(count)]
        assert bad_share[k] == pytest.approx(shares, abs=1e-7)
    assert bad_share[0, 2] > 0.5 > bad_share[0, 3]  # of a good vehicle's two readings there the dead one is bad


def test_a_reading_is_expected_from_the_others_that_are_not_bad(fit: Fit) -> None:
    covariance, bad = fit.covariance(np.arange(len(fit.mean))), fit.likelihood()[1]
    given = fit.given_others(bad)
    for k in range(len(fit.mean)):
        for i in range(len(READ)):
            others = [j for j in range(len(READ)) if j != i and bad[k, j] <= 0.5]
            gain = np.linalg.solve(covariance[k][np.ix_(others, others)], covariance[k][others, i])
            assert given.residual[k, i] == pytest.approx(
                fit.residual[k, i] - gain @ fit.residual[k, others], rel=1e-5, abs=1e-5
            )
            variance = covariance[k, i, i] - gain @ covariance[k, others, i]
            assert given.spread[k, i] == pytest.approx(math.sqrt(variance), rel=1e-4)
