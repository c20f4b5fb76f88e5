"""On a small screen the most dangerous caution stays in sight beside the first reading."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from meterlog.cautions import CAUTIONS, DEFERS, applying, sentence
from meterlog.cli.terminal.start_cautions import caution_line, start_cautions
from meterlog.cli.terminal.wrap import wrapped_at
from meterlog.near_words import recording
from meterlog.reading import Quantity

PLACES = ["", "C12, pin 3", "pump feed", "battery plus", "starter", "fan", "tank ground", "lambda heater", "crank test"]
MOST_DANGEROUS = caution_line(CAUTIONS[0].text)


def rows(lines: Sequence[str], columns: int) -> int:
    return sum(len(wrapped_at(line, columns).splitlines()) for line in lines)


@pytest.mark.parametrize("quantity", Quantity, ids=str)
@pytest.mark.parametrize("place", PLACES)
def test_the_most_dangerous_stays_on_the_smallest_screen(place: str, quantity: Quantity) -> None:
    lines = start_cautions(place, (40, 24))
    assert lines[-1] == MOST_DANGEROUS
    general = applying(recording(place))
    its_own = [caution_line(text) for text in applying(recording(place, quantity)) if text not in general]
    below = 10  # what is measured, 2; the live view before anything happened, 8
    assert rows([MOST_DANGEROUS, *its_own], 40) + below <= 24


@pytest.mark.parametrize("place", PLACES)
def test_where_there_is_room_they_stand_in_their_order(place: str) -> None:
    expected = [caution_line(text) for text in (*applying(recording(place)), sentence(DEFERS))]
    assert start_cautions(place, None) == expected
    assert start_cautions(place, (200, 60)) == expected
    assert sorted(start_cautions(place, (40, 24))) == sorted(expected), "nothing is left out"


@pytest.mark.parametrize("place", ["", "C12, pin 3", "pump feed", "battery plus", "fan", "lambda heater", "crank test"])
def test_a_usual_terminal_holds_them_all_with_the_first_reading(place: str) -> None:
    assert start_cautions(place, (80, 24)) == start_cautions(place, None)


@pytest.mark.slow
def test_the_screen_holds_it_with_the_first_reading(tmp_path: Path) -> None:
    at_terminal = pytest.importorskip("tests.cli.terminal.at_terminal", reason="needs pseudo-terminals")
    words = ("record", "--meter", "sim:healthy-prime?label=pump+feed", "--for", "60", "--out", "a.sqlite")
    with at_terminal.AtTerminal(*words, folder=tmp_path) as at:
        at.until("rate")
        at.until("q end")
        shown = on_screen([line for line in at.lines if line])
    dangerous = next(n for n, line in enumerate(shown) if line.startswith("caution: Never probe"))
    end = max(n for n, line in enumerate(shown) if line.startswith("q end"))
    assert any(line.startswith("pump feed  ") for line in shown[dangerous:end])
    assert end - dangerous < 24


def on_screen(lines: Sequence[str]) -> list[str]:
    """The lines without the live views that a later one was drawn over."""
    kept: list[str] = []
    view, begun = range(0), -1
    for line in lines:
        if begun < 0 and line.startswith(("pump feed  ", "recording ")):
            begun = len(kept)
        kept.append(line)
        if line.startswith("q end"):
            del kept[view.start : view.stop]
            view, begun = range(begun - len(view), len(kept)), -1
    return kept
