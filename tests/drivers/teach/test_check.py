"""A check compares five readings with the display; it is remembered for that meter, and its sessions say so."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from meterlog.capture import Recorder, meter_setups
from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from tests.waiting import record_some, until

if sys.platform == "win32":
    pytest.skip("needs pseudo-terminals", allow_module_level=True)


@contextmanager
def sending(shown: float, frame: bytes = b"") -> Iterator[str]:
    """A status14 meter on a pseudo-terminal that shows one number, some times a second; or one that sends a frame."""
    from meterlog_drivers.simulated.emulation.ports import PseudoTerminal

    port, over = PseudoTerminal(), threading.Event()
    frame = frame or (
        framing_of("status14:x")
        .encoder()
        .encode([Reading(0.0, shown, Quantity.DC_VOLTAGE, 0.01, Flag.DC | Flag.AUTORANGE)])
    )

    def send() -> None:
        while not over.wait(0.02):
            port.write(frame)

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield port.name
    finally:
        over.set()
        thread.join()
        port.close()


def answers(monkeypatch: pytest.MonkeyPatch, *typed: str) -> None:
    """Type these, one after the other, each after the meter had time to send."""
    left = iter(typed)

    def ask(prompt: str) -> str:
        del prompt
        threading.Event().wait(0.1)
        return next(left)

    monkeypatch.setattr("builtins.input", ask)


def test_five_that_agree_are_remembered_and_the_session_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    answers(monkeypatch, *["12.34 V"] * 5)
    with sending(12.34) as port:
        before, after = tmp_path / "before.sqlite", tmp_path / "after.sqlite"
        record_some(before, "--meter", f"status14:{port}?label=feed")
        assert "it was never compared with this meter's display" in capsys.readouterr().out
        assert main(["meters", "--check", f"status14:{port}"]) == 0
        assert "checked against the display on" in capsys.readouterr().out
        record_some(after, "--meter", f"status14:{port}?label=feed")
        said = capsys.readouterr().out
        assert "never compared" not in said
        assert "checked against the display on" in said
        assert main(["analyze", str(before)]) == 0
        assert "checked against" not in capsys.readouterr().out


def test_a_driver_that_reads_something_else_is_not_to_be_trusted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    answers(monkeypatch, "12.34 V", "1.234 V", "", "1.234 V", "")
    with sending(12.34) as port:
        assert main(["meters", "--check", f"status14:{port}"]) == 2
    said = capsys.readouterr()
    assert "reads 12.34 V" in said.err
    assert "where the display shows 1.234 V" in said.err
    assert not (tmp_path / "checks.toml").exists()


@pytest.mark.parametrize(("option", "wrong", "shown"), [("0x3F", "mA", "A"), ("0x30", "A", "mA")])
def test_one_reading_on_a_current_jack_tells_which_chip_it_is(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    option: str,
    wrong: str,
    shown: str,
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    with sending(5.0, b"00500?00<\r\n") as port:
        answers(monkeypatch, f"5.00 {shown}", "", f"5.00 {shown}", "")
        assert main(["meters", "--check", f"digits11:{port}"]) == 2
        asked = capsys.readouterr().err
        assert "A or mA? Where the display shows A add amperes=0x3F to the address, where mA amperes=0x30" in asked
        answers(monkeypatch, *[f"5.00 {shown}"] * 5)
        assert main(["meters", "--check", f"digits11:{port}?amperes={option}"]) == 0
        answers(monkeypatch, f"5.00 {wrong}", "", f"5.00 {wrong}", "")
        assert main(["meters", "--check", f"digits11:{port}?amperes={option}"]) == 2


def test_what_the_frames_leave_open_is_asked_while_recording_and_not_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    out = tmp_path / "a.sqlite"
    with sending(5.0, b"00500?00<\r\n") as port:
        main(["record", "--meter", f"digits11:{port}", "--for", "1", "--out", str(out)])
    said, failed = capsys.readouterr()
    assert "A or mA? Where the display shows A add amperes=0x3F" in failed
    assert said.count("a person must tell: A or mA?") == 1
    assert "5.00" not in said


RECORDED = Path(__file__).parents[3] / "recordings" / "key-on-good-1.sqlite"
DAMAGED = ["[[check]]\nmeter = 1\n", "[[check", "check = 7\n", "[[check]]\nmeter=1\nreads=1\nday=1\nreadings=inf\n"]


@pytest.mark.parametrize("damaged", DAMAGED)
def test_a_damaged_file_of_checks_is_said_before_anything_is_recorded_or_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], damaged: str
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    checks, out = tmp_path / "checks.toml", tmp_path / "a.sqlite"
    checks.write_text(damaged, "utf-8")
    answers(monkeypatch)  # asking would fail: there is nothing to answer
    with sending(12.34) as port:
        for words in (
            ["record", "--meter", f"status14:{port}", "--out", str(out)],
            ["meters", "--check", f"status14:{port}"],
        ):
            assert main(words) == 2
            said = capsys.readouterr().err
            assert "checks.toml" in said
            assert len(said.splitlines()) == 1
    assert not out.exists()
    assert checks.read_text("utf-8") == damaged


def test_a_damaged_file_of_checks_stops_nothing_that_is_no_meter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    (tmp_path / "checks.toml").write_text(DAMAGED[0], "utf-8")
    assert meter_setups(["sim:healthy-prime", f"replay:{RECORDED}"])


def test_a_file_of_checks_that_is_damaged_after_the_start_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    out = tmp_path / "a.sqlite"
    with sending(12.34) as port:
        setups = meter_setups([f"status14:{port}"])
        (tmp_path / "checks.toml").write_text(DAMAGED[0], "utf-8")
        recorder = Recorder(setups, SessionWriter.create(out))
        recorder.start()
        until(lambda: bool(recorder.channels))
        assert recorder.finish().error is None
    with open_reader(out) as reader:
        assert reader.ended == "clean"
