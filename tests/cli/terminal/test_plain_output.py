"""Text that a stranger wrote never steers the terminal: control characters are shown, not sent."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote_plus

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.cli import main
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter
from meterlog.text.safe import one_line

NASTY = "a\x1b]0;owned\x07\x1b[2Jb\x9b31m\x7f\u202ec"
SHOWN = "a\\u001b]0;owned\\u0007\\u001b[2Jb\\u009b31m\\u007f\\u202ec"


def _sent_controls(text: str) -> set[str]:
    return {c for c in text if (ord(c) < 0x20 and c not in "\n\t") or 0x7F <= ord(c) < 0xA0 or c == "\u202e"}


@pytest.fixture
def strangers(tmp_path: Path) -> Path:
    """A session whose every text holds escape sequences and a line end."""
    path = tmp_path / "theirs.sqlite"
    text = f"{NASTY}\nfalse line"
    with SessionWriter.create(path, details={"vehicle": text, text: "x"}) as writer:
        channel = writer.add_channel(text, Quantity.DC_VOLTAGE, point=text, address=text, driver=text)
        volts: NDArray[np.float64] = np.full(100, 13.0)
        volts[51:54] = 0.0
        resolution, flags = np.full(100, 0.01, "f4"), np.zeros(100, "u2")
        writer.append_series(channel, Series(0.33 * np.arange(100, dtype=np.float64), volts, resolution, flags))
        writer.add_marker(1.0, text, text)
        writer.add_marker(2.0, text)
        writer.add_link_change(3.0, text, False, text)
    return path


@pytest.mark.parametrize(
    "words",
    [
        ["analyze", "{}"],
        ["analyze", "{}", "--json"],
        ["compare", "--good", "{}", "{}"],
        ["diagnose", "--circuit", "pump-feed", "{}"],
        ["sessions", "{folder}"],
        ["mark", "{}", NASTY, "--at", "4"],
        ["report", "{}", "--out", "{folder}/" + NASTY.replace("/", "") + ".html"],
        ["export", "{}", "--out", "{folder}/x.csv"],
        [NASTY],
        ["record", "--meter", NASTY],
        ["record", "--meter", f"auto:{NASTY}"],
        ["analyze", NASTY],
    ],
)
def test_no_command_sends_an_escape_sequence(
    words: list[str], strangers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main([word.replace("{}", str(strangers)).replace("{folder}", str(strangers.parent)) for word in words])
    said = capsys.readouterr()
    assert said.out + said.err, "something is printed"
    assert not _sent_controls(said.out + said.err)
    lines = (said.out + said.err).splitlines()
    assert not any(line.startswith("false line") for line in lines), "nor makes up a line of ours"


def test_json_stays_the_same_json(strangers: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze", str(strangers), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["channels"][0]["label"] == f"{NASTY}\nfalse line"


def test_what_is_shown_instead_tells_which_character_it_was() -> None:
    assert one_line(NASTY) == SHOWN
    assert one_line("Ölpumpe 5 Ω\n") == "Ölpumpe 5 Ω\\u000a"


def test_the_live_view_draws_but_passes_no_sequence_of_a_label(
    pseudo_terminal: Callable[[], tuple[int, int]], tmp_path: Path
) -> None:
    master, slave = pseudo_terminal()
    meter = f"sim:healthy-prime?speed=10&label={quote_plus(NASTY)}"
    words = [sys.executable, "-m", "meterlog", "record", "--meter", meter, "--out", str(tmp_path / "a.sqlite")]
    with subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=slave, stderr=slave) as process:
        os.set_blocking(master, False)
        shown = b""
        while process.poll() is None or not shown:
            try:
                shown += os.read(master, 65536)
            except BlockingIOError:
                continue
        try:
            shown += os.read(master, 1 << 20)
        except BlockingIOError:
            pass
    text = shown.decode(errors="replace")
    assert SHOWN in text
    assert "\x1b[2K" in text, "it does draw"
    assert [s for s in ("\x1b]0;owned", "\x1b[2J", "\x9b31m", "\u202e") if s in text] == []
