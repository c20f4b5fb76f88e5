"""A walk in the terminal: a meter that nobody has seen before, on a pseudo-terminal, is taught and then recorded."""

from __future__ import annotations

import random
import re
import sys
import threading
import time
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.session import open_reader
from tests.bench.teach.meters import FUNCTIONS, SIGNED, Display, Meter
from tests.cli.terminal.at_terminal import AtTerminal
from tests.waiting import record_some

if sys.platform == "win32":
    pytest.skip("needs pseudo-terminals", allow_module_level=True)

SEED = 1003
"""A meter with a 16-bit integer in two's complement under a mask, symbol bits, a CRC and a start byte."""
INTERVAL_S = 0.08
"""Between two displays: quicker than a meter, so that the walk is short."""


class Bench:
    """The meter on its port, and the hand at its dial."""

    def __init__(self) -> None:
        from meterlog_drivers.simulated.emulation.ports import PseudoTerminal

        self.meter, self.rng = Meter(SEED), random.Random(1)
        self.display = Display("V", 1, 1234)
        self.port, self.over = PseudoTerminal(), threading.Event()
        self.thread = threading.Thread(target=self._send)

    def _send(self) -> None:
        while not self.over.wait(INTERVAL_S):
            self.port.write(self.meter.frame(self.display))

    def __enter__(self) -> Bench:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.over.set()
        self.thread.join()
        self.port.close()

    def show(self, question: str) -> bool:
        """Do what a question asks, as far as this meter can."""
        functions = {
            "volts DC": "V", "ohms": "ohm", "number in Mohm": "ohm", "a current range": "A", "volts AC": "VAC",
            "a minus": "V", "an overload": "ohm",
        }  # fmt: skip
        here = next((f for words, f in functions.items() if words in question), self.display.function)
        if " Hz" in question or "capacitance" in question or "temperature" in question or "diode" in question:
            return False
        if "duty" in question or here not in self.meter.functions:
            return False
        place = self.rng.randrange(len(FUNCTIONS[here]))
        if like := re.search(r"'(-?[\d.]+) (.*?)'", question):
            unit, decimals = like[2], len(like[1].partition(".")[2])
            here, place = next(
                (f, n) for f in self.meter.functions for n, row in enumerate(FUNCTIONS[f]) if row == (unit, decimals)
            )
        if "leads apart" in question or "'OL" in question:
            self.display = Display("ohm", 4, 0, overload=True)
        else:
            place = 4 if "Mohm" in question else place
            high = self.meter.most - 7 if "as high" in question else self.rng.randrange(self.meter.most)
            self.display = Display(here, place, high, "minus" in question and here in SIGNED)
        time.sleep(4 * INTERVAL_S)
        return True


@pytest.mark.slow
def test_an_unknown_meter_is_taught_by_its_display_and_then_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    profile, out = tmp_path / "meter.toml", tmp_path / "a.sqlite"
    screens: list[str] = []
    with Bench() as bench:

        def answer(prompt: str) -> str:
            screen = capsys.readouterr().out
            typed = bench.display.text if bench.show(screen.split("\n\n")[-1]) else ""
            screens.append(f"{screen}{prompt}{typed}")
            return typed

        monkeypatch.setattr("builtins.input", answer)
        assert main(["meters", "--teach", bench.port.name, "--out", str(profile)]) == 0
        screens.append(capsys.readouterr().out)
        print("\n".join(screens))
        bench.display = Display("V", 0, 12345, minus=True)
        time.sleep(3 * INTERVAL_S)
        meter = f"frames:{bench.port.name}?profile={profile}&label=feed"
        record_some(out, "--meter", meter)
        with open_reader(out) as reader:
            assert set(reader.series(1).value) == {-12.345}
        assert any("Understood" in screen for screen in screens)
        monkeypatch.setattr("builtins.input", lambda _: bench.display.text)
        assert main(["meters", "--check", f"frames:{bench.port.name}?profile={profile}"]) == 0
        assert "checked against the display on" in capsys.readouterr().out
        bench.display = Display("V", 0, 12345, hold=True)
        time.sleep(3 * INTERVAL_S)
        assert main(["record", "--meter", meter, "--for", "1", "--out", str(tmp_path / "b.sqlite")]) != 0
        said = capsys.readouterr()
        assert "this meter shows something that was never taught: teach it" in said.out
        assert "what it showed was never taught" in said.err


@pytest.mark.slow
def test_each_step_is_broken_at_words_on_a_phone_and_a_command_stays_whole(tmp_path: Path) -> None:
    with Bench() as bench, AtTerminal("meters", "--teach", bench.port.name, columns=40, folder=tmp_path) as terminal:
        assert terminal.until("(the digits are not found yet)")
        lines = terminal.shown.splitlines()
        assert max(map(len, lines)) <= 40
        assert "type what it shows, with its unit:" in " ".join(terminal.shown.split())
