"""A file name, a label or any other text of a stranger cannot make up a line of any command's output."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli.main import COMMANDS, main
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="its file names hold no control characters")

LIE = "\x1b[2Jx\nfalse line\r\u2028false line"
COLUMN = "volts\u2028false line"

SESSION = [
    ["analyze", "{s}"],
    ["analyze", "{s}", "--limits", "{toml}"],
    ["compare", "--good", "{s}", "{s}"],
    ["diagnose", "--circuit", "pump-feed", "{s}"],
    ["diagnose", "--circuit", "{toml}", "{s}"],
    ["diagnose", "--circuit", "pump-feed", "--measured", "{toml}"],
    ["mark", "{s}", LIE],
    ["details", "{s}"],
    ["details", "{s}", "--set", f"vehicle={LIE}"],
    ["report", "{s}", "--out", "{new}.html"],
    ["export", "{s}", "--out", "{new}.csv"],
    ["export", "{s}", "--out", "{new}.parquet"],
    ["export", "{s}", "--out", LIE],
    ["sessions", "{folder}"],
    ["sessions", "{s}"],
    ["sessions", "{folder}", "--archive", "1"],
    ["sessions", "{folder}", "--restore", LIE],
    ["page", "--port", LIE, "{s}"],
    ["record", "--meter", "replay:{s}", "--out", "{s}"],
    ["follow", "{s}"],
    ["follow", "{s}", "--to", LIE],
]
ENTERED = ["--time", "time", "--value", COLUMN, "--quantity", "dc_voltage", "--unit", "V"]
OTHER = [
    ["circuit", "check", "{toml}"],
    ["circuit", LIE, LIE],
    ["job", "start", "{new}", "--complaint", LIE, "--vehicle", LIE],
    ["job", "status", "{folder}"],
    ["jobs", "{folder}"],
    ["import", "{csv}"],
    ["import", "{csv}", *ENTERED, "--dry-run"],
    ["import", "{csv}", *ENTERED, "--out", "{new}.sqlite"],
    ["import", "{csv}", "--time", LIE, "--value", LIE, "--quantity", LIE, "--out", "{new}.sqlite"],
    ["record", "--meter", "sim:healthy-prime?speed=50&label=a", "--for", "0.2", "--plain", "--out", "{new}.sqlite"],
    ["record", "--meter", LIE],
    ["record", "--meter", "sim:healthy-prime", "--armed", f"rise {LIE}"],
    ["meters", "--listen", LIE],
    ["emulate", LIE],
    ["demo", "{csv}"],
    ["help", LIE],
    ["collect", "{folder}", "--out", "{new}"],
    ["trends", "{folder}", "--all"],
    ["trends", "{folder}", "--where", f"vehicle={LIE}", "--measure", LIE],
    ["normal", "{folder}"],
    ["sweep", LIE],
    ["completion", LIE],
    ["record", "--meter", "sim:healthy-prime", "--to", LIE, "--button", LIE],
    [LIE],
]  # fmt: skip


@pytest.fixture
def places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """A folder of hostile names and what is in it; what names no folder is written beside it."""
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / f"f{LIE}"
    folder.mkdir()
    found = {"folder": folder, "new": folder / f"new{LIE}"}
    found |= {kind: folder / f"{kind}{LIE}.{kind}" for kind in ("toml", "csv", "sqlite")}
    found["toml"].write_text("x = [")
    found["csv"].write_text(f"time,{COLUMN}\n0,1\n1,2\n2,{LIE[:4]}\n")
    with SessionWriter.create(found["sqlite"], details={"vehicle": LIE, LIE: "x"}) as writer:
        channel = writer.add_channel(LIE, Quantity.DC_VOLTAGE, point=LIE, address=LIE, driver=LIE)
        volts = np.where(abs(np.arange(100) - 52) < 2, 0.0, 13.0)
        resolution, flags = np.full(100, 0.01, "f4"), np.zeros(100, "u2")
        writer.append_series(channel, Series(0.33 * np.arange(100, dtype=np.float64), volts, resolution, flags))
        writer.add_marker(1.0, LIE, LIE)
        writer.add_link_change(3.0, LIE, False, LIE)
    return {name: str(path) for name, path in found.items()}


@pytest.mark.parametrize("session", ["sound", "damaged", "absent"])
@pytest.mark.parametrize("words", SESSION, ids=lambda words: " ".join(words[:2]).replace(LIE, "LIE"))
def test_no_command_on_a_session(
    session: str, words: list[str], places: dict[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path(places["sqlite"])
    if session == "absent":
        path.unlink()
    elif session == "damaged":
        path.write_bytes(b"rubbish" * 1000)
    _try(words, places | {"s": str(path)}, capsys)


@pytest.mark.parametrize("words", OTHER, ids=lambda words: " ".join(words[:2]).replace(LIE, "LIE"))
def test_no_other_command(words: list[str], places: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    _try(words, places, capsys)


def _try(words: list[str], places: dict[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    for name, path in places.items():
        words = [word.replace(f"{{{name}}}", path) for word in words]
    assert _ended(words) in (0, 1, 2)
    said = capsys.readouterr()
    assert said.out + said.err, "something is printed"
    for line in (said.out + said.err).splitlines():
        assert not line.lstrip().startswith("false line"), line
        assert line.isprintable() or "\t" in line, line


def _ended(words: list[str]) -> object:
    try:
        return main(words)
    except SystemExit as ended:  # argparse
        return ended.code


def test_every_command_is_tried() -> None:
    assert {words[0] for words in (*SESSION, *OTHER)} >= set(COMMANDS)
