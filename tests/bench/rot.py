"""Bits that flip in killed sessions, file and log: none may read back silently different.

`python -m tests.bench.rot --count N`
"""

from __future__ import annotations

import argparse
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from meterlog.errors import SessionError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader
from tests.bench.results import write
from tests.bench.table import Row, at_most, markdown, show

CHANNELS, BATCHES = 2, 60
SILENT = "silently different"


def killed_session(folder: Path, *, taken_in: bool) -> Path:
    """A session as a kill leaves it: chunks and tails, nearly all of them in the log or `taken_in` by the file."""
    rng = np.random.default_rng(5)
    folder.mkdir(parents=True)
    path = folder / "killed.sqlite"
    with SessionWriter.create(folder / "growing.sqlite") as writer:
        channels = [writer.add_channel(f"meter {i}", Quantity.DC_VOLTAGE) for i in range(CHANNELS)]
        for batch in range(BATCHES):
            for channel in channels:
                at_s = writer.monotonic_start_s + batch * 10.0
                volts = np.round(12 + 0.05 * rng.standard_normal(100), 2).tolist()
                flags = Flag.DC | Flag.AUTORANGE
                writer.append(
                    channel,
                    [Reading(at_s + 0.1 * k, v, Quantity.DC_VOLTAGE, 0.01, flags) for k, v in enumerate(volts)],
                )
            writer.flush()
            if taken_in and batch == BATCHES - 2:
                with closing(sqlite3.connect(writer.path)) as connection:
                    connection.execute("PRAGMA wal_checkpoint(RESTART)").fetchall()
        shutil.copy(writer.path, path)
        shutil.copy(f"{writer.path}-wal", f"{path}-wal")
    return path


def flips(folder: Path, count: int, *, taken_in: bool, seed: int = 1) -> Counter[str]:
    """Return what became of so many sessions with one flipped bit each."""
    killed = killed_session(folder / "whole", taken_in=taken_in)
    names = [killed.name, f"{killed.name}-wal"]
    contents = [(killed.parent / name).read_bytes() for name in names]
    sound, said = _read(_copied(folder / "sound", names, contents))
    assert not said, said
    assert [len(series) for series in sound] == [100 * BATCHES] * CHANNELS
    rng = random.Random(seed)
    found: Counter[str] = Counter()
    for i in range(count):
        # Half of them in the file, half in the log, whichever is larger.
        which = i % 2
        flipped = [bytearray(content) for content in contents]
        at = rng.randrange(len(flipped[which]))
        flipped[which][at] ^= 1 << rng.randrange(8)
        path = _copied(folder / f"flipped-{i}", names, [bytes(content) for content in flipped])
        outcome = _outcome(path, sound)
        if outcome == SILENT:
            print(f"a bit of byte {at} of {names[which]}, taken in: {taken_in}", file=sys.stderr)
        found[outcome] += 1
        shutil.rmtree(path.parent)
    return found


def _copied(folder: Path, names: Sequence[str], contents: Sequence[bytes]) -> Path:
    folder.mkdir()
    for name, content in zip(names, contents, strict=True):
        (folder / name).write_bytes(content)
    return folder / names[0]


def _read(path: Path) -> tuple[list[Series], str]:
    with open_reader(path) as reader:
        return [reader.series(channel.number) for channel in reader.channels], reader.damage


def _outcome(path: Path, sound: list[Series]) -> str:
    try:
        found, said = _read(path)
    except SessionError:
        return "refused in one sentence"
    if list(map(_content, found)) == list(map(_content, sound)):
        return "the same"
    return "said, the sound part read" if said else SILENT


def _content(series: Series) -> tuple[bytes, ...]:
    return (series.time_s.tobytes(), series.value.tobytes(), series.resolution.tobytes(), series.flags.tobytes())


def rows(count: int = 600) -> Iterator[Row]:
    """The goals."""
    with tempfile.TemporaryDirectory() as name:
        for taken_in in (False, True):
            found = flips(Path(name) / str(taken_in), count // 2, taken_in=taken_in)
            what = "; ".join(f"{n} {outcome}" for outcome, n in found.most_common())
            where = "in the file" if taken_in else "in the log"
            goal = f"of {count // 2} bits flipped in killed sessions with their readings {where}, silently different"
            yield at_most(goal, found[SILENT], 0, "sessions", what)


def main() -> int:
    """Run it; the exit status says whether the goal was met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=600)
    found = list(rows(parser.parse_args().count))
    write("Flipped bits in session files", markdown(found))
    return int(show(found) > 0)


if __name__ == "__main__":
    sys.exit(main())
