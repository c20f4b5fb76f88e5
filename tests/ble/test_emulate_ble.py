"""`meterlog emulate --ble`: a person without a BLE meter, or a radio, records one all the same."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from meterlog.session import open_reader


def test_what_it_prints_to_type_records_the_scenario(need: Callable[[object, str], None], tmp_path: Path) -> None:
    need(sys.platform == "linux", "the simulated Bluetooth service is for Linux")
    need(shutil.which("dbus-daemon"), "no dbus-daemon (apt install dbus)")
    meterlog = [sys.executable, "-m", "meterlog"]
    command = [*meterlog, "emulate", "healthy-prime", "--ble", "--speed", "10"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as emulator:
        assert emulator.stdout is not None
        printed = ""
        while "begins when" not in printed:
            line = emulator.stdout.readline()
            assert line, printed
            printed += line
        assert re.match(r"([0-9A-F]{2}:){5}[0-9A-F]{2}\n", printed)
        (setting,) = re.findall(r"export (\S+)", printed)
        (record,) = re.findall(r"meterlog (record .*)", printed)
        name, _, value = setting.partition("=")
        out = tmp_path / "van.sqlite"
        subprocess.run(
            [*meterlog, *shlex.split(record), "--for", "2", "--out", str(out)],
            env={**os.environ, name: value},
            stdout=subprocess.DEVNULL,
            check=True,
        )
        emulator.terminate()
        assert emulator.wait(60) == 0
    assert not Path(value.partition("=")[2]).exists()  # the bus is gone with it
    with open_reader(out) as reader:
        series = reader.series(1)
        assert len(series) > 3
        assert series.value.max() > 11.0
