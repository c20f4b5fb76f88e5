"""One table says what each kind of event is; every part of the program reads it, so a new kind is a file and a row."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from meterlog import kinds
from meterlog.capture import Notice
from meterlog.capture.live_events import LiveEvents
from meterlog.cli.terminal.record_screen import ScreenDisplay
from meterlog.drawing.palette import VERMILION, kind_colour
from meterlog.events import Event
from meterlog.events.detect import examine
from meterlog.events.live import LiveDetector
from meterlog.events.measure import Watched
from meterlog.findings import findings
from meterlog.findings.evidence import Evidence
from meterlog.kinds import KINDS, Kind
from meterlog.limits import load_limits
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.contents import Contents
from meterlog.session.model import Channel

ROOT = Path(__file__).parent.parent
PRODUCT = [path for folder in ("meterlog", "drivers", "dashboard") for path in sorted((ROOT / folder).rglob("*.py"))]
SCRIPTS = [path for path in sorted((ROOT / "dashboard").rglob("*")) if path.suffix in (".js", ".css")]
A_TABLE = 3
"""So many kinds named side by side are a table of kinds."""


def _named(node: ast.AST) -> int:
    """Return how many kinds a literal names, itself or at the head of its rows."""
    if isinstance(node, ast.Dict):
        heads = [key for key in node.keys if key is not None]
    elif isinstance(node, ast.Tuple | ast.List | ast.Set):
        heads = [one.elts[0] if isinstance(one, ast.Tuple | ast.List) and one.elts else one for one in node.elts]
    elif isinstance(node, ast.BoolOp):
        heads = [side for one in node.values if isinstance(one, ast.Compare) for side in one.comparators]
    elif isinstance(node, ast.Match):
        heads = [case.pattern.value for case in node.cases if isinstance(case.pattern, ast.MatchValue)]
    else:
        return 0
    return sum(isinstance(head, ast.Constant) and head.value in KINDS for head in heads)


def test_no_other_table_of_kinds_exists() -> None:
    for path in PRODUCT:
        text = path.read_text()
        if sum(kind in text for kind in KINDS) < A_TABLE:
            continue
        for node in ast.walk(ast.parse(text)):
            assert _named(node) < A_TABLE, f"{path}:{getattr(node, 'lineno', '')} lists kinds: ask meterlog.kinds"


def test_a_table_of_kinds_is_seen() -> None:
    for text in (
        "A = ('dropout', 'sag', 'gap')",
        "A = {'dropout': 1, 'sag': 2, 'gap': 3}",
        "A = (('dropout', 1), ('sag', 2), ('gap', 3))",
        "kind == 'dropout' or kind == 'sag' or kind == 'gap'",
    ):
        assert max(_named(node) for node in ast.walk(ast.parse(text))) == A_TABLE


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_scripts_and_styles_name_no_kind(path: Path) -> None:
    named = {kind for kind in KINDS if "_" in kind or kind == "dropout"}
    assert not named & set(re.findall(r"\w+", path.read_text()))


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[[], str]:
    """Return what the terminal was sent."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    return lambda: capsys.readouterr().out


@pytest.mark.parametrize("kind", KINDS)
def test_what_rings_on_the_page_rings_in_the_terminal(kind: str, screen: Callable[[], str]) -> None:
    display = ScreenDisplay("a.sqlite", "", keys=False, sound=True)
    display.notice(Notice("event", 1.0, "", 1, Quantity.RESISTANCE, Event(kind, 1, 1.0, 1.0)))
    display.close()
    assert ("\x07" in screen()) == (KINDS[kind].sort == "trouble")


def test_a_step_of_resistance_rings_as_in_a_wiggle_test_it_must() -> None:
    assert KINDS["resistance_step"].rings


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_a_row_agrees_with_itself(kind: Kind) -> None:
    assert kind.rings <= kind.about_circuit
    assert kind.fault <= kind.rings
    assert bool(kind.sentence) == bool(kind.limit) == bool(kind.source)
    assert kind.fault <= (bool(kind.sentence) ^ bool(kind.finding)), "a fault that no finding tells of, or two do"
    told_by = ROOT / "meterlog" / "findings" / f"{kind.finding}.py"
    assert not kind.finding or f'"{kind.name}"' in told_by.read_text()
    assert (kind.role == "doubt") == (kind.sort == "doubt")


class _Below9:
    """The machine of the new kind: each reading below 9 V."""

    band = (np.inf, -np.inf)
    until = needs = 0
    looks_for = ("below_nine",)

    def __init__(self, watched: Watched) -> None:
        self.events: list[Event] = []
        self._watched = watched
        self._at = 0

    def advance(self, stop: int) -> None:
        """Look at the readings up to `stop`."""
        for index in range(self._at, stop):
            value, at_s = self._watched.measure.track.value(index), self._watched.measure.track.time(index)
            if value < 9.0:
                self.events.append(Event("below_nine", 1, at_s, at_s, extreme=value, reference=9.0))
        self._at = stop

    def interrupt(self, index: int) -> None:
        """Nothing to forget."""

    def finish(self) -> None:
        """Nothing to end."""


def _one_dip() -> Contents:
    """A session in memory with one feed: eight readings, one of them below 9 V."""
    value = np.array([12.0, 12, 12, 8.5, 12, 12, 12, 12])
    series = Series(np.arange(8.0), value, np.full(8, 0.01, np.float32), np.zeros(8, np.uint16))
    return Contents({1: series}, [Channel(1, "feed", Quantity.DC_VOLTAGE)], duration_s=7.0)


def test_a_new_kind_is_one_file_and_one_row(monkeypatch: pytest.MonkeyPatch, screen: Callable[[], str]) -> None:
    """The file: a module of `meterlog.events` with `machine`. The row: in `meterlog.kinds`. Nothing else is touched."""
    module = ModuleType("meterlog.events.below_nine")
    module.machine = _Below9  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, module.__name__, module)
    row = Kind(
        "below_nine", "BELOW 9", "fall", "trouble", "fault", True, "below_nine",
        "{times} below 9 V{lowest}", "not below 9 V", "a guess", "lowest allowed",
    )  # fmt: skip
    monkeypatch.setitem(kinds.KINDS, row.name, row)
    view, limits = _one_dip(), load_limits(system_v=12.0)

    found, watch = examine(view.channels[0], view.series(1), (), limits.settings)
    assert row.name in watch.faults
    mine = [event for event in found if event.kind == row.name]
    assert [event.start_s for event in mine] == [3.0]

    live = LiveEvents(lambda channel: LiveDetector(channel, limits.settings))
    live.add_channel(view.channels[0])
    for time_s, value in zip(view.series(1).time_s, view.series(1).value, strict=True):
        live.feed(1, [Reading(float(time_s), float(value), Quantity.DC_VOLTAGE, 0.01, Flag.NONE)], 0.0)
    assert any(event.kind == row.name for event in live.found)
    assert live.count >= 1

    said = next(one for one in findings(view, found, limits, {1: watch}) if "below 9 V" in one.text)
    assert said.text.startswith("feed: 1 fall (at 3.0 s) below 9 V, lowest reading 8.50 V")
    assert (said.verdict, said.limit, said.source) == ("outside", "not below 9 V", "a guess")
    assert [(line.channel, line.level, line.words) for line in said.lines] == [(1, 9.0, "lowest allowed")]
    assert mine[0] in Evidence(view, found, limits, {1: watch}).faults_of(view.channels[0])

    display = ScreenDisplay("a.sqlite", "", keys=False, sound=True)
    display.notice(Notice("event", 3.0, "", 1, Quantity.DC_VOLTAGE, mine[0]))
    display.close()
    heard = screen()
    assert "\x07" in heard
    assert "below nine" in heard
    assert kind_colour(row.name) == VERMILION
