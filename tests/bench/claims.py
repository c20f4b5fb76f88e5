"""Holds what a comparison and a marker's finding claim against the truth: `python -m tests.bench.claims [draws]`.

Primes with tops of several shapes are read twice by meters of one kind, so that no figure differs in truth. Faults and
markers are drawn so that the markers have nothing to do with the faults (but share the cold with them, or were set
because one was felt), or so that they have.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np

from tests.bench.results import printed
from tests.bench.table import Row, at_least, at_most, show
from tests.comparing.test_coverage import FALLEN, agreement
from tests.findings.test_association import because_it_was_felt, each_moved_after_a_pause, only_while_cold, proved

COVERED, FALSE, TRUE = 0.95, 0.01, 0.95
DRAWS = 1000


def rows(draws: int = DRAWS) -> Iterator[Row]:
    """Coverage by shape, then proofs by cause."""
    for shape in FALLEN:
        for name, said in agreement(shape, draws // 2, seed=150).items():
            yield at_least(f"{name}, {shape} top: agreement of two readings", float(np.mean(said)), COVERED, "")
    for cause, words in ((only_while_cold, "both only while cold"), (because_it_was_felt, "set because it was felt")):
        rng = np.random.default_rng(170)
        share = float(np.mean([proved(cause(rng)) for _ in range(4 * draws)]))
        yield at_most(f"markers that prove nothing ({words}), taken for proof", share, FALSE, "")
    rng = np.random.default_rng(171)
    share = float(np.mean([proved(each_moved_after_a_pause(rng)) for _ in range(draws)]))
    yield at_least("six moves 20 s apart, four in five with a fault, proved", share, TRUE, "")


if __name__ == "__main__":
    with printed("Claims of comparisons and markers"):
        missed = show(rows(*(int(word) for word in sys.argv[1:2])))
    sys.exit(missed > 0)
