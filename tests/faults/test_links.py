"""However a line dies, the recording goes on when it is back; and a file has one recorder."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from meterlog.address import Address
from meterlog.capture import Recorder, meter_setup
from meterlog.cli.main import main
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.errors import NotASession, SessionBusy, SessionWriteFailed
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.lock import RecorderLock
from tests.waiting import until


class Bridge:
    """A meter behind a serial-to-network bridge, which ends each connection as it is told."""

    def __init__(self) -> None:
        driver = load_driver("status14")
        assert isinstance(driver, FramingDriver)
        encoder = driver.encoder(Address.parse("status14:x"))
        self._frame = encoder.encode([Reading(0.0, 12.4, Quantity.DC_VOLTAGE, 0.01, Flag.DC)])
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self.ending: Callable[[socket.socket], None] | None = None
        self.connections = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self) -> None:
        self._server.settimeout(0.1)
        while not self._stop.is_set():
            try:
                peer, _ = self._server.accept()
            except TimeoutError:
                continue
            self.connections += 1
            with peer:
                self._talk(peer)

    def _talk(self, peer: socket.socket) -> None:
        while not self._stop.wait(0.02):
            if self.ending is not None:
                ending, self.ending = self.ending, None
                ending(peer)
                return
            try:
                peer.sendall(self._frame)
            except OSError:
                return

    def close(self) -> None:
        """End it."""
        self._stop.set()
        self._thread.join()
        self._server.close()


def hang_up(peer: socket.socket) -> None:
    """An orderly end."""
    peer.shutdown(socket.SHUT_RDWR)


def reset(peer: socket.socket) -> None:
    """The bridge lost its power: the connection is reset."""
    peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


def babble(peer: socket.socket) -> None:
    """Half a frame, then the end."""
    peer.sendall(b"\xff\x00\x14\x80")
    peer.shutdown(socket.SHUT_RDWR)


ENDINGS = (hang_up, reset, babble)


@pytest.fixture
def bridge() -> Iterator[Bridge]:
    """A meter that is reached over the network."""
    made = Bridge()
    yield made
    made.close()


def ended_and_mended(bridge: Bridge, path: Path, endings: Sequence[Callable[[socket.socket], None]]) -> set[str]:
    """Record while the connection ends again and again; the causes that are told, each loss mended."""
    setup = meter_setup(f"status14:socket://127.0.0.1:{bridge.port}?label=feed")
    recorder = Recorder([setup], SessionWriter.create(path))
    recorder.start()
    for times, ending in enumerate(endings, 1):
        until(lambda: not recorder.silent)
        bridge.ending = ending
        until(lambda times=times: bridge.connections > times)  # type: ignore[misc]
    until(lambda: not recorder.silent)
    outcome = recorder.finish()
    assert outcome.error is None
    with open_reader(path) as reader:
        downs = [change.cause for change in reader.link_changes if not change.up]
        assert len(downs) == len(endings)
        assert len([change for change in reader.link_changes if change.up]) == len(endings) + 1
        assert reader.count(1) == outcome.readings
        assert all("the other end closed the connection" in cause or "gone" in cause for cause in downs)
        assert set(reader.series(1).value.tolist()) == {12.4}
        assert reader.ended == "clean"
    return set(downs)


def test_every_end_of_a_connection_is_a_link_change_and_mended(bridge: Bridge, tmp_path: Path) -> None:
    assert ended_and_mended(bridge, tmp_path / "a.sqlite", ENDINGS)


def test_a_second_recorder_of_a_file_is_refused_and_disturbs_nothing(
    bridge: Bridge, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.sqlite"
    recorder = Recorder([meter_setup(f"status14:socket://127.0.0.1:{bridge.port}")], SessionWriter.create(path))
    recorder.start()
    until(lambda: bool(recorder.channels))
    status = main(["record", "--plain", "--meter", "sim:healthy-prime", "--for", "1", "--out", str(path)])
    assert status == 2
    assert "another recorder is writing" in capsys.readouterr().err
    outcome = recorder.finish()
    with open_reader(path) as reader:
        assert reader.count(1) == outcome.readings > 0
        assert reader.ended == "clean"


def test_a_hundred_recorders_that_want_one_file_give_one_session(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    made: list[SessionWriter] = []
    refusals: list[Exception] = []
    together = threading.Barrier(10)

    def begin() -> None:
        together.wait()
        for _ in range(10):
            try:
                made.append(SessionWriter.create(path))
            except (SessionBusy, SessionWriteFailed) as error:
                refusals.append(error)

    threads = [threading.Thread(target=begin) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(made), len(refusals)) == (1, 99)
    made[0].close()
    assert [file.name for file in tmp_path.iterdir()] == ["a.sqlite"]


def test_a_reader_waits_for_a_recorder_that_is_just_making_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    lock = RecorderLock(path)
    path.touch()
    with pytest.raises(SessionBusy, match="is just being made"):
        open_reader(path)

    SessionWriter.create(tmp_path / "begun.sqlite").close()
    timer = threading.Timer(0.2, (tmp_path / "begun.sqlite").replace, [path])
    timer.start()
    with open_reader(path) as reader:
        assert reader.channels == []
    timer.join()
    lock.release()
    path.write_bytes(b"")
    with pytest.raises(NotASession, match="its recording never began"):
        open_reader(path)
