"""Whatever is healthy is never 'outside', and whatever is faulty is: on seeded logs of many kinds."""

from __future__ import annotations

import numpy as np
import pytest

from tests.findings.conftest import names_another_explanation
from tests.findings.logs import FAULTY, HEALTHY

SEEDS = range(4)


@pytest.mark.parametrize("kind", HEALTHY)
def test_what_is_healthy_is_never_outside(kind: str) -> None:
    for seed in SEEDS:
        rng = np.random.default_rng([seed, len(kind)])
        found = HEALTHY[kind](rng).analysis(rng).findings
        assert found
        assert [finding.text for finding in found if finding.verdict == "outside"] == [], seed


@pytest.mark.parametrize("kind", FAULTY)
def test_what_is_faulty_is_outside_in_words_that_name_nothing_else(kind: str) -> None:
    for seed in SEEDS:
        rng = np.random.default_rng([seed, len(kind)])
        found = FAULTY[kind](rng).analysis(rng).findings
        outside = [finding.text for finding in found if finding.verdict == "outside"]
        assert outside, (seed, [(finding.verdict, finding.text) for finding in found])
        assert not [text for text in outside if names_another_explanation(text)]
