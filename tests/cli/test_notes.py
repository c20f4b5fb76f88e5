"""Every command that rests on a session says that it ended hard or is damaged."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter


def session(path: Path, ended: str) -> Path:
    readings = [Reading(0.25 * k, 12.4, Quantity.DC_VOLTAGE, 0.01) for k in range(120)]
    with SessionWriter.create(path, monotonic_start_s=0.0) as writer:
        writer.append(writer.add_channel("pump feed", Quantity.DC_VOLTAGE, point="plug_feed"), readings)
        writer.add_marker(1.0, "key-on")
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE recording SET ended = ?", (ended,))
    connection.close()
    return path


@pytest.mark.parametrize(
    ("ended", "said"), [("hard", "ended without being closed"), ("damaged", "its log was damaged"), ("clean", "")]
)
@pytest.mark.parametrize(
    "words",
    [
        "analyze {bad}",
        "analyze {bad} --json",
        "export {bad} --out {here}/out.csv",
        "compare --good {good} {bad}",
        "compare --good {bad} {good} --json",
        "report {bad} --out {here}/out.html",
        "diagnose --circuit pump-feed {bad} --json",
    ],
)
def test_it_is_said_beside_the_result(
    words: str, ended: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad, good = session(tmp_path / "bad.sqlite", ended), session(tmp_path / "good.sqlite", "clean")
    main([word.format(bad=bad, good=good, here=tmp_path) for word in words.split()])
    notes = [line for line in capsys.readouterr().err.splitlines() if line.startswith("note: ")]
    about = [line for line in notes if "closed" in line or "damaged" in line]
    assert len(about) == (1 if said else 0)
    assert said in "".join(about)
