"""Puts a log through the program as a user would: a table imported, or a session recorded; then `analyze --json`."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from meterlog.cli.main import main
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter
from tests.bench.detection_world.scene import Scene

Said = dict[str, Any]


class Refused(Exception):
    """A command ended with an error or a traceback; its message."""


@dataclass(frozen=True, slots=True)
class Answer:
    """Holds what the program says of one log."""

    channels: list[Said]
    events: list[Said]
    findings: list[Said]
    text: str = ""

    @property
    def sentences(self) -> list[str]:
        """Every sentence, of findings and events, and the lines of the text that a person reads."""
        lines = [*(f["text"] for f in self.findings), *(e["detail"] for e in self.events)]
        return [*lines, *self.text.splitlines()]


def ask(scene: Scene, folder: Path) -> Answer:
    """Make a session of a scene and analyze it.

    Args:
        scene: read already.
        folder: for the files; theirs are overwritten.

    Raises:
        Refused: a command ended with an error or a traceback.
    """
    session = folder / "log.sqlite"
    session.unlink(missing_ok=True)
    if scene.recorded:
        _record(scene, session)
    else:
        _import(scene, folder / "log.csv", session)
    said = json.loads(_run("analyze", str(session), "--json"))
    return Answer(said["channels"], said["events"], said["findings"], _run("analyze", str(session)))


def _run(*words: str) -> str:
    out, err = io.StringIO(), io.StringIO()
    try:
        with redirect_stdout(out), redirect_stderr(err):
            status = main(list(words))
    except Exception as error:  # whatever it is, a person would see its traceback
        raise Refused(f"{words[0]} ends with a traceback: {error!r}") from error
    if status:
        raise Refused(f"{words[0]} ends with {status}: {err.getvalue().strip()}")
    return out.getvalue()


def _import(scene: Scene, table: Path, session: Path) -> None:
    names = [f"ch{k}" for k in range(1, len(scene.wires) + 1)]
    table.write_text("\n".join([",".join(["time_s", *names, "note"]), *_rows(scene)]) + "\n")
    words = ["import", str(table), "--time", "time_s", "--marker", "note", "--out", str(session)]
    for name, wire in zip(names, scene.wires, strict=True):
        words += ["--value", name, "--quantity", wire.quantity, "--unit", wire.unit, "--label", wire.label]
    for key, value in scene.details.items():
        words += ["--set", f"{key}={value}"]
    _run(*words)


def _rows(scene: Scene) -> list[str]:
    """Write a row a reading, in time order; a marker on the first row at or after it."""
    rows: list[tuple[float, int, str]] = []
    for k, wire in enumerate(scene.wires):
        shown = wire.shown
        for time_s, value, count in zip(shown.time_s, shown.value, shown.resolution, strict=True):
            decimals = max(0, round(-np.log10(count) + 0.3))
            rows.append((float(time_s), k, f"{value:.{decimals}f}" if np.isfinite(value) else "OL"))
    rows.sort(key=lambda row: row[0])
    waiting, lines = sorted(scene.markers), []
    for time_s, k, text in rows:
        note = waiting.pop(0)[1] if waiting and waiting[0][0] <= time_s else ""
        cells = ["" for _ in scene.wires]
        cells[k] = text
        lines.append(",".join([f"{time_s:.3f}", *cells, note]))
    return lines


def _record(scene: Scene, session: Path) -> None:
    """Write the session that a recording leaves: with the meter's own flags and exact markers."""
    started = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
    writer = SessionWriter.create(session, monotonic_start_s=0.0, started_at=started, details=scene.details)
    with writer:
        for wire in scene.wires:
            number = writer.add_channel(wire.label, Quantity(wire.quantity))
            shown = wire.shown
            flags = np.where(np.isfinite(shown.value), 0, int(Flag.OVERLOAD))
            flags = (
                flags | np.where(shown.held > 0, int(Flag.HOLD), 0) | np.where(shown.low > 0, int(Flag.LOW_BATTERY), 0)
            )
            counts = shown.resolution.astype(np.float32)
            writer.append_series(number, Series(shown.time_s, shown.value, counts, flags.astype(np.uint16)))
        for time_s, name in scene.markers:
            writer.add_marker(time_s, name)
