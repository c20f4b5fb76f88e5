"""A driver from outside that raises anything, anywhere, ends nothing but itself, and is named in one sentence."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

import pytest

from meterlog.capture import Notice, Recorder, meter_setup
from meterlog.cli.main import main
from meterlog.driver import open_address
from meterlog.driver.probe import probe
from meterlog.errors import DriverError, MeterlogError
from meterlog.session import SessionWriter, open_reader
from tests.waiting import until

Install = Callable[[str, str, str], None]


class Plugged(Protocol):
    """A meter on a pseudo-terminal: see tests/conftest.py."""

    port: Path

    def show(self, value: float) -> None: ...


SOURCE = """
import time
from meterlog_drivers.status14 import Status14
{at_import}
class Decoder:
    def __init__(self, inner):
        self._inner, self._left = inner, {good}
    @property
    def traffic(self):
        return self._inner.traffic
    def feed(self, data, arrival_s):
        readings = self._inner.feed(data, arrival_s)
        self._left -= len(readings)
        if self._left <= 0:
            {at_feed}
        return readings
class Outside(Status14):
    name = "{name}"
    def decoder(self, address, byte_time_s):
        {at_decoder}
        return Decoder(super().decoder(address, byte_time_s))
    def one_column(self, address):
        {at_columns}
        return True
    def unsaid(self, address):
        {at_unsaid}
        return ""
"""


def outside(install: Install, name: str, defects: dict[str, str], good: int = 0) -> None:
    """Install a driver like status14, with a statement at each place where it misbehaves."""
    places = {f"at_{place}": "pass" for place in ("import", "feed", "decoder", "columns", "unsaid")}
    given = {f"at_{place}": statement for place, statement in defects.items()}
    source = SOURCE.format(name=name, good=good, **{**places, **given})
    install(f"{name}-package", source, f"{name} = {name}_package:Outside")


@pytest.fixture
def showing(plug_in: Callable[[], Plugged]) -> Iterator[Callable[[], Plugged]]:
    """Meters that show 12.3 V over and over."""
    ending, threads = threading.Event(), list[threading.Thread]()

    def make() -> Plugged:
        meter = plug_in()

        def show() -> None:
            while not ending.wait(0.02):
                try:
                    meter.show(12.3)
                except BlockingIOError:
                    pass  # nobody reads

        threads.append(threading.Thread(target=show))
        threads[-1].start()
        return meter

    yield make
    ending.set()
    for thread in threads:
        thread.join()


@pytest.mark.parametrize(
    ("defects", "said"),
    [
        ({"feed": "raise ValueError('no\\nway')"}, "failed while listening and was left out: ValueError: no way"),
        ({"feed": "raise SystemExit(3)"}, "failed while listening and was left out: SystemExit: 3"),
        ({"feed": "return self.feed(data, arrival_s)"}, "was left out: RecursionError: "),
        ({"decoder": "1 / 0"}, "the driver 'odd' failed: ZeroDivisionError: "),
        ({"import": "raise SystemExit('bye')"}, "of odd-package fails to load: SystemExit: bye"),
        ({"unsaid": "raise KeyError('x')"}, "failed while listening and was left out: KeyError: 'x'"),
    ],
)
def test_listening_names_it_and_finds_what_the_others_find(
    install: Install,
    showing: Callable[[], Plugged],
    capsys: pytest.CaptureFixture[str],
    defects: dict[str, str],
    said: str,
) -> None:
    outside(install, "odd", defects)
    port = showing().port
    assert main(["meters", str(port), "--listen", "1"]) == 0
    out = capsys.readouterr().out
    assert sum(said in line for line in out.splitlines()) == 1
    assert f'record it:  meterlog record --meter "status14:{port}"' in out
    assert main(["meters", "--drivers"]) == 0


def test_auto_takes_the_driver_that_works(install: Install, showing: Callable[[], Plugged]) -> None:
    outside(install, "odd", {"feed": "raise ValueError"}, good=3)
    meter = open_address(f"auto:{showing().port}?listen_s=1")[1]
    meter.open().close()
    assert meter.name.startswith("status14 on ")
    assert getattr(meter, "failures") == ("the driver 'odd' failed while listening and was left out: ValueError",)  # noqa: B009


def test_one_that_fails_while_asking_is_left_out(install: Install, plug_in: Callable[[], Plugged]) -> None:
    outside(install, "odd", {"unsaid": "pass\n    def ask(self, target):\n        raise TimeoutError('late')"})
    heard = probe(str(plug_in().port), 0.5, ask=True)
    assert heard.answered is None
    assert heard.failures == ("the driver 'odd' failed while asking and was left out: TimeoutError: late",)


def test_an_address_of_a_driver_with_a_defect_is_refused_in_one_line(
    install: Install, capsys: pytest.CaptureFixture[str]
) -> None:
    outside(install, "odd", {"columns": "raise AttributeError('nothing')"})
    assert main(["record", "--meter", "odd:/dev/ttyS9"]) == 2
    assert capsys.readouterr().err == "meterlog: the driver 'odd' failed: AttributeError: nothing\n"


def test_a_decoder_that_raises_ends_its_meter_and_the_others_go_on(
    install: Install, showing: Callable[[], Plugged], tmp_path: Path
) -> None:
    outside(install, "brittle", {"feed": "raise ValueError('no such digit')"}, good=20)
    bad, good = showing().port, showing().port
    told: list[Notice] = []
    writer = SessionWriter.create(tmp_path / "a.sqlite")
    meters = [meter_setup(f"brittle:{bad}?label=bad"), meter_setup(f"status14:{good}?label=good")]
    recorder = Recorder(meters, writer, observer=told.append)
    recorder.start()
    sentence = f"the driver 'brittle' failed, so nothing more comes from brittle on {bad}: ValueError: no such digit"
    until(lambda: any(sentence in notice.text for notice in told))
    before = recorder.channels[2].count
    until(lambda: recorder.channels[2].count > before + 5)
    assert not recorder.wait(0)
    assert recorder.silent == {0}
    outcome = recorder.finish()
    assert outcome.error is None
    assert [str(error) for error in outcome.failed.values()] == [sentence]
    with open_reader(tmp_path / "a.sqlite") as reader:
        assert (0 < reader.count(1) < 20, reader.ended) == (True, "clean")
        down = [change for change in reader.link_changes if not change.up]
        assert [(change.channel, change.cause) for change in down] == [(1, sentence)]


def test_the_only_meters_decoder_that_raises_ends_the_recording_and_keeps_the_data(
    install: Install, showing: Callable[[], Plugged], tmp_path: Path
) -> None:
    outside(install, "brittle", {"feed": "raise SystemExit(1)"}, good=20)
    recorder = Recorder([meter_setup(f"brittle:{showing().port}")], SessionWriter.create(tmp_path / "a.sqlite"))
    recorder.start()
    until(lambda: recorder.wait(0.01))
    outcome = recorder.finish()
    assert isinstance(outcome.error, DriverError)
    assert (0 < outcome.readings < 20, outcome.path) == (True, tmp_path / "a.sqlite")


@pytest.mark.slow
@pytest.mark.parametrize("hang", ["while True: pass", "time.sleep(1e6)"])
def test_a_decoder_that_hangs_keeps_no_recording_from_ending(
    install: Install, showing: Callable[[], Plugged], tmp_path: Path, hang: str
) -> None:
    outside(install, "hanging", {"feed": hang}, good=20)
    bad, good, out = showing().port, showing().port, tmp_path / "a.sqlite"
    words = ["--meter", f"hanging:{bad}", "--meter", f"status14:{good}", "--out", str(out)]
    process = subprocess.Popen(
        [sys.executable, "-m", "meterlog", "record", *words],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    until(lambda: out.exists() and kept(out) > 20)
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=30)
    assert (process.returncode, said) == (0, b"")
    with open_reader(out) as reader:
        assert reader.ended == "clean"
        assert 0 < reader.count(1) < 20


def kept(path: Path) -> int:
    try:
        with open_reader(path) as reader:
            return reader.count(2) if len(reader.channels) == 2 else 0
    except MeterlogError:  # it is just being made
        return 0


def test_a_framing_of_ones_own_is_written_against_meterlog_framing() -> None:
    from meterlog import framing
    from meterlog.driver import framing as inside

    assert framing.FramingDriver is inside.FramingDriver
    assert set(framing.__all__) >= {"Decoder", "Encoder", "FramingDriver", "JoinsMidway", "framing_of"}
