"""Meters that a generator makes up are learned with late answers, lost frames and a slip, and never read wrongly."""

from __future__ import annotations

import pytest

from tests.bench.teach import second
from tests.bench.teach.__main__ import judged
from tests.bench.teach.lessons import SHOWN


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1003, 1005, 1006])
def test_one_is_learned_whole_and_nothing_is_read_wrongly(seed: int) -> None:
    score = judged(seed)
    assert score.wrong == 0
    assert (score.taught_read, score.questions <= 15) == (SHOWN, True)


@pytest.mark.slow
def test_of_several_constants_that_fit_none_is_believed_while_they_read_different_digits() -> None:
    assert judged(33006).wrong == 0, "a constant of 31 fits all that was shown under 191"


@pytest.mark.slow
@pytest.mark.parametrize("seed", [7004])
def test_two_numbers_are_learned_whole_and_nothing_is_read_wrongly(seed: int) -> None:
    score = second.judged(seed)
    assert score.wrong == 0
    assert (score.main[0], score.second[0]) == (score.main[1], score.second[1])
