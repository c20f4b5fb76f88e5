"""Checks which driver fits a port: each is told from the others on a real port; noise, silence and doubt too."""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.cli.main import main
from meterlog.driver import open_address
from meterlog.driver.framing import framing_of
from meterlog.driver.probe import candidates, line_settings, probe, probed_drivers
from meterlog.errors import NoFrameFits
from meterlog.reading import Reading
from meterlog.transports import Chunk, LineSettings
from meterlog_drivers.display.every_mode import every_mode
from meterlog_drivers.simulated.emulation.scpi_instrument import ScpiInstrument, ScpiServer

Talk = Callable[[Callable[[int], bytes]], str]


@pytest.fixture
def talking(pseudo_terminal: Callable[[], tuple[int, int]]) -> Iterator[Talk]:
    """Pseudo-terminals on which something is sent every 20 ms."""
    ending = threading.Event()
    threads: list[threading.Thread] = []

    def talk(chunk: Callable[[int], bytes]) -> str:
        master, slave = pseudo_terminal()
        os.set_blocking(master, False)

        def send() -> None:
            for n in range(2000):
                if ending.wait(0.02):
                    return
                try:
                    os.write(master, chunk(n))
                except BlockingIOError:
                    pass  # nobody reads

        threads.append(threading.Thread(target=send))
        threads[-1].start()
        return os.ttyname(slave)

    yield talk
    ending.set()
    for thread in threads:
        thread.join()


def frames(address: str) -> Callable[[int], bytes]:
    """Return what a meter sends: a different frame each time, beginning in the middle of one."""
    encoder = framing_of(address).encoder()
    shown = random.Random(3).sample([r for r in every_mode(encoder) if r.value < 1e300], 40)
    return lambda n: encoder.encode([shown[n % len(shown)]])[5 if n == 0 else 0 :]


FRAMINGS = ["status14", "segments14", "digits11", "digits14", "chars16", "text"]


@pytest.mark.parametrize("name", FRAMINGS)
def test_auto_names_each_driver_from_a_real_port(talking: Talk, name: str) -> None:
    port = talking(frames(f"{name}:x"))
    meter = open_address(f"auto:{port}")[1]
    connection = meter.open()
    readings: list[Reading] = []
    while len(readings) < 5:
        readings += connection.read(1.0) or []
    connection.close()
    assert meter.name == f"{name} on {port} (found by listening)"


@pytest.mark.parametrize("name", FRAMINGS)
def test_meters_shows_the_evidence_and_what_to_type(
    talking: Talk, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    port = talking(frames(f"{name}:x"))
    assert main(["meters", port, "--listen", "2"]) == 0
    out = capsys.readouterr().out
    assert f"  {name} fits: " in out
    assert "frames good, 0 refused, 0 of" in out
    assert f'--meter "{name}:{port}"' in out
    assert ("unverified against hardware" in out) == (name not in ("chars16", "text"))
    assert ("assumed: " in out) == (name in ("digits11", "digits14"))


def test_a_minus_that_is_a_sisters_low_battery_is_asked_and_not_guessed(
    talking: Talk, capsys: pytest.CaptureFixture[str]
) -> None:
    frame = b"11234;40<\r\n"
    assert framing_of("digits11:x?status=judge-first").decoder().feed(frame, 0.0)[0].value == -1.234
    assert framing_of("digits11:x?status=sign-first").decoder().feed(frame, 0.0)[0].value == 1.234
    main(["meters", talking(lambda _: frame), "--listen", "2"])
    assert "cannot tell: the bytes are frames of digits11, but: minus or low battery?" in capsys.readouterr().out


def test_which_current_it_is_is_asked_and_not_guessed(talking: Talk, capsys: pytest.CaptureFixture[str]) -> None:
    port = talking(lambda _: b"00500?00<\r\n")
    main(["meters", port, "--listen", "2"])
    assert "cannot tell: the bytes are frames of digits11, but: A or mA?" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("frame", "driver"),
    [
        (b"123451100\r\n", "five11"),  # as digits11: a diode, with a status that is none
        (bytes.fromhex("aa55400048 2c010000 08 00 00 05 07 21 13 99"), "bcd17"),
    ],
)
def test_a_framing_that_was_published_in_part_is_named_and_asked_about(
    talking: Talk, frame: bytes, driver: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["meters", talking(lambda _: frame), "--listen", "2"])
    assert f"cannot tell: the bytes are frames of {driver}, but: " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("line", "options", "values"),
    [
        (b"12.515 Volt\r\n", "", [12.515]),
        (b"12,525 V\r\n", "profile=decimal-comma", [12.525]),
        (b"12.520 V;4.81 A\r\n", "profile=semicolons", [12.52, 4.81]),
        (b"12,520 V; 4,81 A\r\n", "profile=decimal-comma", [12.52, 4.81]),
    ],
)
def test_auto_reads_lines_of_other_countries(talking: Talk, line: bytes, options: str, values: list[float]) -> None:
    port = talking(lambda _: line)
    heard = probe(port)
    assert str(heard.address) == f"text:{port}" + (f"?{options}" if options else "")
    assert [r.value for r in heard.fits[0].last[-len(values) :]] == values
    assert ("decimal sign" in " ".join(heard.assumed)) == ("comma" in options)


def test_a_profile_is_drafted_for_lines_that_no_driver_knows(
    talking: Talk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    port = talking(lambda n: b"ch1=12.5%02d;mode=VDC;\r\n" % (n % 100))
    with pytest.raises(NoFrameFits, match=r"no driver knows; 'meterlog meters .* --out meter.toml' writes a profile"):
        open_address(f"auto:{port}")[1].open()
    assert main(["meters", port, "--out", "mine.toml"]) == 0
    out = capsys.readouterr().out
    assert 'pattern = "ch1={number};mode={unit};"' in out
    assert f'meterlog meters --check "text:{port}?profile=mine.toml"' in out
    connection = open_address(f"text:{port}?profile=mine.toml")[1].open()
    readings: list[Reading] = []
    while not readings:
        readings += connection.read(1.0) or []
    connection.close()
    assert 12.5 <= readings[0].value < 12.6
    assert main(["meters", port, "--out", "mine.toml"]) == 2
    assert "mine.toml" in capsys.readouterr().err


def test_no_file_is_written_where_nothing_is_drafted(
    talking: Talk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mine.toml"
    assert main(["meters", talking(lambda _: b"12.515 Volt\r\n"), "--listen", "1", "--out", str(path)]) == 2
    assert "no profile was drafted" in capsys.readouterr().err
    assert not path.exists()
    assert main(["meters", "--out", str(path)]) == 2


@pytest.mark.parametrize("seed", range(3))
def test_noise_is_said_to_be_untellable(talking: Talk, seed: int) -> None:
    rng = random.Random(seed)
    port = talking(lambda _: rng.randbytes(12))
    with pytest.raises(NoFrameFits, match=r"cannot tell: \d+ bytes came that fit no driver; first bytes "):
        open_address(f"auto:{port}?listen_s=2")[1].open()


def test_bare_numbers_are_not_given_a_unit_by_guess(talking: Talk) -> None:
    port = talking(lambda n: b"%d.%02d\r\n" % (12, n % 100))
    with pytest.raises(NoFrameFits, match=r"cannot tell.*without units.*quantity=dc_voltage"):
        open_address(f"auto:{port}")[1].open()


def test_silence_is_said_to_be_silence(talking: Talk, capsys: pytest.CaptureFixture[str]) -> None:
    port = talking(lambda _: b"")
    assert main(["meters", port, "--listen", "0.6"]) == 0
    assert "nothing came: are the meter and its data output on" in capsys.readouterr().out


def test_two_drivers_that_fit_alike_are_doubt(talking: Talk, monkeypatch: pytest.MonkeyPatch) -> None:
    from meterlog_drivers.status14 import Status14

    class Sister(Status14):
        name = "sister14"

    drivers = probed_drivers()[0]
    monkeypatch.setattr("meterlog.driver.probe.probed_drivers", lambda: ([*drivers, Sister()], []))
    port = talking(frames("status14:x"))
    with pytest.raises(NoFrameFits, match="the bytes fit status14 and sister14 equally well"):
        open_address(f"auto:{port}")[1].open()


def test_nothing_is_written_to_a_port_unless_asked(capsys: pytest.CaptureFixture[str]) -> None:
    heard: list[bytes] = []

    class Ear(ScpiInstrument):
        def receive(self, data: bytes):  # type: ignore[no-untyped-def]
            heard.append(data)
            return super().receive(data)

    with ScpiServer(Ear(list)) as server:
        url = server.url
        assert main(["meters", url, "--listen", "0.8"]) == 0
        assert "--ask" in capsys.readouterr().out
        assert heard == []
        assert main(["meters", url, "--listen", "0.8", "--ask"]) == 0
        out = capsys.readouterr().out
    assert "scpi answers when asked: METERLOG,SCRIPTED,0,1" in out
    assert f'--meter "scpi:{url}"' in out


class OneSpeed:
    """A transport that gives good bytes under one line setting and garbage under all others, as a real line does."""

    name = "a line"
    byte_time_s = 0.001

    def __init__(self, line: LineSettings, right: LineSettings, chunk: Callable[[int], bytes]) -> None:
        self._right, self._chunk, self._n = line[:4] == right[:4], chunk, 0

    def open(self) -> OneSpeed:
        return self

    def read(self, timeout_s: float) -> Chunk | None:
        time.sleep(min(timeout_s, 0.005))
        self._n += 1
        data = self._chunk(self._n)
        return Chunk(data if self._right else bytes(b ^ 0xA5 for b in data), time.monotonic())

    def write(self, data: bytes) -> None:
        raise AssertionError(f"wrote {data!r}")

    def close(self) -> None: ...


@pytest.mark.parametrize("name", FRAMINGS)
def test_the_line_settings_are_found_too(name: str) -> None:
    driver = framing_of(f"{name}:x").driver
    for right in driver.lines:
        finding = probe("COM7", transport=lambda line, r=right: OneSpeed(line, r, frames(f"{name}:x")))  # type: ignore[misc]
        assert finding.address is not None
        assert finding.address.scheme == name
        assert finding.line is not None
        assert finding.line[:4] == right[:4]
        first = driver.lines[0]
        assert finding.address.options.get("baud") == (str(right.baud) if right.baud != first.baud else None)


def test_settings_that_differ_only_in_the_control_outputs_are_tried_once() -> None:
    settings = line_settings(probed_drivers()[0])
    assert len({s[:4] for s in settings}) == len(settings)
    assert LineSettings(2400, 8, "N", 1, dtr=True, rts=False) in settings, "segments14 needs its outputs set"
    assert settings[0].baud in (2400, 9600)


def test_no_framing_takes_another_ones_frames() -> None:
    for name in FRAMINGS:
        encoder = framing_of(f"{name}:x").encoder()
        data = b"".join(encoder.encode([r]) for r in every_mode(encoder))
        tried = candidates(probed_drivers()[0])
        for candidate in tried:
            candidate.feed(data, 0.0)
        assert {c.driver.name for c in tried if c.fits} == {name}
        assert {c.driver.name for c in tried if c.good > 1} <= {name, "text"}


def test_an_absent_port_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meters", "/dev/no-such-port", "--listen", "1"]) == 0
    assert "/dev/no-such-port" in capsys.readouterr().out
    assert main(["meters", "--listen", "0"]) == 2
    assert "--listen wants" in capsys.readouterr().err


def test_the_driver_list_names_every_driver_and_how_it_was_checked(capsys: pytest.CaptureFixture[str]) -> None:
    from meterlog.driver import driver_names, load_driver

    assert main(["meters", "--drivers"]) == 0
    out = capsys.readouterr().out
    for name in driver_names():
        assert f"{name}: {load_driver(name).summary}" in out
        assert f"checked: {load_driver(name).verification}" in out


def test_an_address_from_a_finding_can_be_typed() -> None:
    finding = probe("COM7", transport=lambda line: OneSpeed(line, LineSettings(19230), frames("digits11:x")))
    assert finding.address == Address.parse(str(finding.address))
    assert str(finding.address) == "digits11:COM7?baud=19230"
