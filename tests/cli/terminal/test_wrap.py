"""Text longer than the terminal is broken at words; in a pipe it stays whole."""

from __future__ import annotations

import pytest

from meterlog.cli.terminal.wrap import wrapped, wrapped_at

LINE = "  [within] pump feed: the prime (at 2.7 s) reached 12.09 V +-0.09, 0.0 V below the battery."


def test_at_words_and_with_what_follows_hanging() -> None:
    shown = wrapped_at(f"head\n{LINE}\n\ntail", 40).split("\n")
    assert shown[0] == "head"
    assert shown[-2:] == ["", "tail"]
    assert max(map(len, shown)) <= 40
    assert " ".join(" ".join(shown[1:-2]).split()) == LINE.strip()
    assert all(line.startswith("    ") for line in shown[2:-2])


def test_a_word_that_is_longer_than_the_line_stays_whole() -> None:
    path = "/home/" + "x" * 60 + ".sqlite"
    assert path in wrapped_at(f"it is in {path} now", 40).split("\n")[1]


def test_in_a_pipe_nothing_is_broken(capsys: pytest.CaptureFixture[str]) -> None:
    assert wrapped(LINE * 3) == LINE * 3
    assert capsys.readouterr().out == ""
