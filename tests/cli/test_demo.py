"""demo: checks what it shows and says so with its exit status (`python -m tests.bench.demo` runs it whole)."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli import main
from meterlog.series import Series
from meterlog.session import SessionWriter
from meterlog_drivers.simulated import demo
from meterlog_drivers.simulated.scenario import Run
from meterlog_drivers.simulated.scenarios import SCENARIOS


def write(path: Path, run: Run, until_s: float = np.inf) -> None:
    """The run's first channel as a session."""
    with SessionWriter.create(path) as writer:
        number = writer.add_channel("pump feed", run.quantity(0))
        series: Series = run.readings[0].between(0.0, until_s)
        writer.append_series(number, series)
        for marker in run.markers:
            if marker.time_s < until_s:
                writer.add_marker(marker.time_s, marker.name)


def recording(**instead: str) -> Callable[[demo.Step], None]:
    """A recorder that writes what the scenario shows, or another scenario in its place."""

    def record(step: demo.Step) -> None:
        name = instead.get(step.scenario.replace("-", "_"), step.scenario)
        write(step.path, SCENARIOS[name].run(demo.SEED), demo.DRIVE_S)

    return record


def test_all_is_well_when_the_sessions_show_what_happened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "_record", recording())
    assert main(["demo", str(tmp_path / "sessions")]) == 0
    printed = capsys.readouterr().out
    assert "right" in printed
    assert printed.count("was found, as") >= 2
    assert len(list((tmp_path / "sessions").glob("*.sqlite"))) == 2
    assert "meterlog analyze" in printed, "it says what to try next"


@pytest.mark.parametrize(
    ("instead", "words"),
    [
        ({"healthy_prime": "no-command"}, "0 primes were found instead of one"),
        ({"intermittent_feed": "link-lost"}, "no dropout was found"),
        ({"intermittent_feed": "relay-chatter"}, "was not found"),
    ],
)
def test_a_step_that_gave_something_else_fails_the_demonstration(
    instead: dict[str, str],
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(demo, "_record", recording(**instead))
    assert main(["demo", str(tmp_path)]) == 1
    printed = capsys.readouterr().out
    assert words in printed
    assert "FAILED" in printed
    assert "Try next" not in printed


def test_a_meter_that_does_not_start_fails_the_demonstration(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "METERLOG", (sys.executable, "-c", "pass"))
    assert main(["demo", str(tmp_path)]) == 1
    assert "the simulated meter did not start" in capsys.readouterr().out


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("in the way", "utf-8")
    assert main(["demo", str(tmp_path / "file")]) == 2
    assert "cannot be made" in capsys.readouterr().err
