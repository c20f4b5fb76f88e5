"""A recorder that is killed, a disk that fills, a folder that goes, a file that is damaged: one sentence, data kept."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from meterlog.errors import NewerSession, NotASession, SessionBusy, SessionError, SessionWriteFailed
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.lock import is_recording, lock_path

RECORDER = """
import sys, time
from meterlog.reading import Quantity, Reading
from meterlog.session.writer import SessionWriter
writer = SessionWriter.create(sys.argv[1])
channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
i = 0
while True:
    writer.append(channel, [Reading(time.monotonic(), float(i + k), Quantity.DC_VOLTAGE, 1.0) for k in range(20)])
    i += 20
    if i % 2000 == 0:
        writer.flush()
        print("kept", i, flush=True)
    print("given", i, flush=True)
    time.sleep(0.002)
"""


def _start(path: Path) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-c", RECORDER, str(path)], stdout=subprocess.PIPE, text=True)


def _kill(process: subprocess.Popen[str]) -> int:
    """Return how many readings the recorder called kept before it was killed."""
    assert process.stdout is not None
    process.send_signal(signal.SIGKILL)
    words = [line.split() for line in process.stdout.read().splitlines()]
    process.stdout.close()
    process.wait()
    return max((int(word[1]) for word in words if word[0] == "kept" and len(word) == 2), default=0)


def _check_killed(path: Path, kept: int) -> int:
    """Return how many readings are there."""
    with open_reader(path) as reader:
        assert reader.ended == "hard"
        # Killed before its first commit, it has not even a channel.
        values = reader.series(1).value.tolist() if reader.channels else []
    assert values == list(map(float, range(len(values))))
    assert len(values) >= kept
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert [file.name for file in path.parent.glob(f"{path.name}*")] == [path.name]
    return len(values)


@pytest.mark.slow
def test_killed_recorders_lose_nothing_acknowledged_and_keep_more(tmp_path: Path) -> None:
    """At most half a second of what was not acknowledged is lost: that is measured by `tests.bench`."""
    rng = random.Random(4)
    more = 0
    for batch in range(16):
        if batch >= 4 and more:  # a busy machine may want more tries until a kill falls between commit and word
            break
        recorders = [(path, _start(path)) for path in (tmp_path / f"{batch}-{i}.sqlite" for i in range(3))]
        for path, process in recorders:
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(rng.uniform(0.02, 0.5))
            kept = _kill(process)
            more += _check_killed(path, kept) > kept
    assert more


def test_a_crashed_session_is_not_locked_for_ever(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    process = _start(path)
    assert process.stdout is not None
    process.stdout.readline()
    assert is_recording(path)
    with pytest.raises(SessionBusy):
        SessionWriter.create(path)
    process.kill()
    process.stdout.close()
    process.wait()
    assert lock_path(path).exists()
    assert not is_recording(path)
    with pytest.raises(SessionWriteFailed, match="exists already"):
        SessionWriter.create(path)
    path.rename(tmp_path / "old.sqlite")
    log = tmp_path / "a.sqlite-wal"
    with pytest.raises(SessionWriteFailed, match="perhaps with readings in it"):
        SessionWriter.create(path)
    log.rename(tmp_path / "old.sqlite-wal")
    with SessionWriter.create(path):
        pass
    with open_reader(tmp_path / "old.sqlite") as reader:
        assert reader.count(1) > 0


def _record_until_failure(writer: SessionWriter, channel: int) -> SessionError:
    give_up = time.monotonic() + 60
    i = 0
    while time.monotonic() < give_up:
        start_s = writer.monotonic_start_s
        try:
            writer.append(channel, [Reading(start_s + i + k, float(i + k), Quantity.DC_VOLTAGE) for k in range(1000)])
        except SessionError as error:
            return error
        i += 1000
        time.sleep(0.001)
    raise AssertionError("the recorder never noticed")


def test_a_removed_folder_ends_the_recording_with_one_sentence(tmp_path: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    writer = SessionWriter.create(folder / "a.sqlite")
    channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
    writer.flush()
    shutil.rmtree(folder)
    error = _record_until_failure(writer, channel)
    assert "removed or moved" in str(error)
    assert writer.failure is not None
    with pytest.raises(SessionWriteFailed):
        writer.close()


LIMITED = """
import resource, sys, time
from meterlog.errors import SessionWriteFailed
from meterlog.reading import Quantity, Reading
from meterlog.session.writer import SessionWriter
writer = SessionWriter.create(sys.argv[1])
channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
writer.flush()
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, resource.RLIM_INFINITY))
kept = 0
try:
    while True:
        times = [(writer.monotonic_start_s + kept + k, float(kept + k)) for k in range(500)]
        writer.append(channel, [Reading(time_s, value, Quantity.DC_VOLTAGE) for time_s, value in times])
        writer.flush()
        kept += 500
except SessionWriteFailed as error:
    print(kept)
    print(error)
try:
    writer.close()
except SessionWriteFailed as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the size limit is a POSIX one")
def test_a_file_that_cannot_grow_keeps_what_was_written(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, timeout=60, check=True
    )
    kept, sentence, at_close = done.stdout.splitlines()
    assert "cannot be written" in sentence or "full" in sentence
    assert at_close == sentence
    assert "Traceback" not in done.stderr
    with open_reader(path) as reader:
        values = reader.series(1).value.tolist()
        assert reader.ended == "hard"
    assert int(kept) > 0
    assert values == list(map(float, range(len(values))))
    assert len(values) >= int(kept)


def test_a_missing_folder_is_one_sentence_and_nothing_is_made(tmp_path: Path) -> None:
    with pytest.raises(SessionWriteFailed, match=r"the folder .* is not there"):
        SessionWriter.create(tmp_path / "absent" / "a.sqlite")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b"time_s,value\n0,1\n", "not a session"),
        (b"SQLite format 3\x00", "not a session"),
        (bytes(200), "not a session"),
    ],
)
def test_what_is_no_session_is_said_to_be_none(tmp_path: Path, content: bytes, sentence: str) -> None:
    path = tmp_path / "a.sqlite"
    path.write_bytes(content)
    with pytest.raises(NotASession, match=sentence):
        open_reader(path)
    assert path.read_bytes() == content
    with pytest.raises(NotASession, match="no file"):
        open_reader(tmp_path / "absent.sqlite")
    with pytest.raises(NotASession, match="folder"):
        open_reader(tmp_path)


def test_another_programs_database_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE recording (started_at)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(NotASession, match="another program"):
        open_reader(path)
    assert path.read_bytes() == before


def test_a_later_format_is_refused_and_left_as_it_is(session: Path) -> None:
    content = bytearray(session.read_bytes())
    content[60:64] = struct.pack(">I", 99)
    session.write_bytes(content)
    with pytest.raises(NewerSession, match="update meterlog"):
        open_reader(session)
    assert session.read_bytes() == content


def test_a_table_whose_name_is_no_text_is_damage_and_no_traceback(session: Path) -> None:
    """Damage what the database says of it: bytes that are no text."""
    session.write_bytes(session.read_bytes().replace(b"tablerecordingrecording", b"table\xb3ecordingrecordin\xb3"))
    with pytest.raises(NotASession, match="damaged"):
        open_reader(session)


def test_damage_anywhere_is_one_of_our_sentences_or_counted_or_harmless(session: Path, tmp_path: Path) -> None:
    whole = session.read_bytes()
    with open_reader(session) as reader:
        sound = reader.series(1)
    rng = random.Random(9)
    sentences, counted = [], 0
    for i in range(150):
        damaged = bytearray(whole)
        if i % 10 == 0:
            del damaged[rng.randrange(100, len(damaged)) :]
        else:
            at = rng.randrange(100, len(damaged) - 64)
            size = rng.choice((1, 64))
            damaged[at : at + size] = rng.randbytes(size)
        path = tmp_path / f"damaged{i}.sqlite"
        path.write_bytes(damaged)
        try:
            with open_reader(path) as reader:
                _ = (reader.details, reader.markers, reader.link_changes, reader.duration_s, reader.ended)
                for channel in reader.channels:
                    found = reader.series(channel.number)
                    reader.overview(channel.number, 0.0, 1000.0, 10)
                    counted += reader.lost > 0
                    assert len(found) + reader.lost == len(sound)
                    same = np.searchsorted(sound.time_s, found.time_s)
                    assert found.time_s.tobytes() == sound.time_s[same].tobytes()
                    assert found.value.tobytes() == sound.value[same].tobytes()
        except SessionError as error:
            sentences.append(str(error))
        path.unlink()
    assert len(sentences) > 10
    assert counted > 10
    assert not [sentence for sentence in sentences if "\n" in sentence]
