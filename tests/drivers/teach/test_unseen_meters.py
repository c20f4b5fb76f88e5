"""Meters that a generator makes up are learned with late answers, lost frames and a slip, and never read wrongly."""

from __future__ import annotations

import pytest

from tests.bench.teach.__main__ import SHOWN, judged


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1003, 1005, 1006])
def test_one_is_learned_whole_and_nothing_is_read_wrongly(seed: int) -> None:
    score = judged(seed)
    assert score.wrong == 0
    assert (score.taught_read, score.questions <= 15) == (SHOWN, True)
