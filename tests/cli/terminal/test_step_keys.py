"""The keys while a step waits: each gives one answer, and a figure begins a reading."""

from __future__ import annotations

import pytest

from meterlog.cli.terminal.step_keys import CANNOT_REACH, HELP, NOT_HERE, Answer, StepKeys


@pytest.mark.parametrize(
    ("typed", "answer"),
    [
        ("\r", Answer("take")),
        ("12.4\r", Answer("typed", "12.4")),
        ("topen\r", Answer("typed", "open")),
        ("t1\x7f12,3 V\n", Answer("typed", "12,3 V")),
        ("ld", Answer("typed", "lamp dim")),
        ("lk", Answer("typed", "lamp dark")),
        ("c", Answer("skip", CANNOT_REACH)),
        ("N", Answer("skip", NOT_HERE)),
        ("r", Answer("repeat")),
        ("q", Answer("end")),
        ("\x04", Answer("end")),
        ("t\r", None),
        ("tq\x1b", None),
        ("lx", None),
        ("lq", Answer("end")),
        ("x y", None),
        ("1\x1bq", Answer("end")),
    ],
)
def test_keys_become_an_answer(typed: str, answer: Answer | None) -> None:
    keys = StepKeys()
    found = None
    for key in typed:
        found = found or keys.take(key)
    assert found == answer
    assert (keys.text, keys.lamp) == (None, False)


def test_the_keys_are_listed_on_demand() -> None:
    keys = StepKeys()
    assert keys.take("?") is None
    assert keys.help
    for key in "tlcnrq":
        assert any(line.startswith(f"{key}  ") or f"    {key}  " in line for line in HELP)
    assert all(len(line) <= 40 for line in HELP)
