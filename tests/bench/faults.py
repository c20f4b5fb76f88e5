"""The fault matrix at length: `python -m tests.bench.faults [--scale X]`; what the tests in `tests/faults` do briefly.

Each line: the fault, how often, what is kept, what is said, the verdict. About ten minutes at scale 1.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from meterlog.cli.main import main as command
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.commits import WAL_LIMIT_BYTES
from meterlog.session.summary import summaries
from tests.faults.conftest import Killing, make_session
from tests.faults.test_disk import recorded_until_full
from tests.faults.test_fuzz import FUZZED, fuzzed
from tests.faults.test_killed import MOMENTS, killed
from tests.faults.test_long import log_while_read, recorded_for, shelf, time_of
from tests.faults.test_power_cut import A_COMMIT, COMMITS, power_cuts

Row = tuple[str, str, str, str]
"""The fault, how often, what was seen, what is said."""


class Bench:
    """Where the matrix works, and how long."""

    def __init__(self, base: Path, scale: float) -> None:
        self.base, self.scale = base, scale
        self.good = make_session(base / "good.sqlite", 3000)

    def times(self, count: int) -> int:
        """So many, at this scale."""
        return max(1, round(count * self.scale))

    def kills(self) -> Row:
        """SIGKILL in the middle of every piece of work."""
        killing = Killing()
        found: dict[str, dict[str, int]] = {}
        count = 0
        for work in MOMENTS:
            moments = self.times(60 if work in ("record", "seal", "report") else 100)
            folder = self.base / work
            folder.mkdir()
            found[work] = killed(killing, self.good, folder, work, moments, seed=2)
            count += moments
        killing.close()
        seen = "; ".join(
            f"{work}: {', '.join(f'{n} {what}' for what, n in left.items())}" for work, left in found.items()
        )
        return "SIGKILL at a seeded moment", f"{count}", seen, "'hard (crash)'; 'its recording never began'"

    def cuts(self) -> Row:
        """A power cut while recording."""
        path, copy, sizes = self.base / "growing.sqlite", self.base / "cut.sqlite", []
        with SessionWriter.create(path) as writer:
            channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
            for commit in range(COMMITS):
                first = commit * A_COMMIT
                start_s = writer.monotonic_start_s
                writer.append(
                    channel,
                    [
                        Reading(start_s + i * 0.01, float(i), Quantity.DC_VOLTAGE)
                        for i in range(first, first + A_COMMIT)
                    ],
                )
                writer.flush()
                sizes.append(Path(f"{path}-wal").stat().st_size)
            copy.write_bytes(path.read_bytes())
            Path(f"{copy}-wal").write_bytes(Path(f"{path}-wal").read_bytes())
        folder, cuts = self.base / "cuts", self.times(300)
        folder.mkdir()
        lost = power_cuts((copy, sizes), folder, cuts, seed=3)
        assert lost == 0, f"{lost} acknowledged readings were lost"
        return "power cut: log cut or torn at a byte", f"{cuts}", "every acknowledged reading; sound", "'hard (crash)'"

    def full(self) -> Row:
        """A disk that fills while recording."""
        rng, least = random.Random(4), 10**9
        rooms = self.times(20)
        for i in range(rooms):
            path = self.base / f"full{i}.sqlite"
            kept, said = recorded_until_full(path, rng.randrange(150_000, 900_000))
            with open_reader(path) as reader:
                count = reader.count(1) if reader.channels else 0
            assert count >= kept, f"{kept} were acknowledged, {count} are there"
            assert "kept in it" in said, said
            least = min(least, kept)
        return (
            "disk full while recording",
            f"{rooms}",
            f"every acknowledged reading (at least {least})",
            f"'{said[-45:]}'",
        )

    def long(self) -> Row:
        """48 hours of two meters."""
        flat = recorded_for(self.base / "long.sqlite", max(1.0, 48 * self.scale))
        assert flat.end_mb - flat.start_mb < 25, asdict(flat)
        assert flat.end_handles <= flat.start_handles + 1, asdict(flat)
        seen = (
            f"{flat.readings} readings, {flat.losses} link losses mended, {flat.events} events; {flat.start_mb:.0f} to"
            f" {flat.end_mb:.0f} MB, {flat.start_handles} to {flat.end_handles} handles,"
            f" {flat.bytes_a_reading:.1f} bytes a reading"
        )
        return f"{flat.hours:.0f} h of recording in {flat.took_s:.0f} s", "1", seen, "each loss and return"

    def log(self) -> Row:
        """Two readers that follow a growing file."""
        seconds = max(2.0, 60 * self.scale)
        largest, given, polls = log_while_read(self.base / "log.sqlite", seconds)
        assert largest < 1.5 * WAL_LIMIT_BYTES, largest
        # An hour of ten meters at 3/s is 108,000 readings.
        seen = f"{given} readings, {polls} polls, log at most {largest / 2**20:.1f} MiB (limit {WAL_LIMIT_BYTES >> 20})"
        return f"two readers for {seconds:.0f} s", "1", seen, "-"

    def many(self) -> Row:
        """A folder of thousands of sessions."""
        sessions = self.times(5000)
        folder = shelf(self.good, self.base / "many", sessions)
        cpu_s = time.process_time()
        wall_s = time_of(lambda: list(summaries(folder)))
        cpu_s = time.process_time() - cpu_s
        seen = f"listed in {wall_s:.1f} s, {cpu_s:.1f} s of it computing, {cpu_s / sessions * 1e3:.2f} ms a file"
        return f"a folder of {sessions} sessions", "1", seen, "a row each"

    def later(self) -> Row:
        """A session of a later version."""
        path = self.base / "later.sqlite"
        content = bytearray(self.good.read_bytes())
        content[60:64] = (99).to_bytes(4, "big")
        path.write_bytes(content)
        assert command(["analyze", str(path)]) == 2
        assert path.read_bytes() == content
        return "a session of a later version", "1", "left as it is", "'update meterlog to read it'"

    def fuzz(self) -> Row:
        """Files and addresses with anything in them."""
        folder, times = self.base / "fuzz", self.times(2000)
        folder.mkdir()
        seen = []
        for one in FUZZED:
            taken, refused = fuzzed(one, folder, times, seed=5)
            seen.append(f"{one.__name__.removeprefix('fuzz_')}: {taken} taken, {refused} refused")
        return "mutated files and addresses", f"{times * len(FUZZED)}", "; ".join(seen), "one sentence each"


def main() -> int:
    """Print the matrix."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scale", type=float, default=1.0, help="share of the full length")
    scale = parser.parse_args().scale
    failed = 0
    print("| fault | times | what is kept | what is said | verdict |\n|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as base:
        bench = Bench(Path(base), scale)
        rows: tuple[Callable[[], Row], ...] = (
            bench.kills,
            bench.cuts,
            bench.full,
            bench.later,
            bench.log,
            bench.long,
            bench.many,
            bench.fuzz,
        )
        for row in rows:
            try:
                print("| {} | {} | {} | {} | held |".format(*row()), flush=True)
            except Exception:
                failed += 1
                print(f"| {row.__doc__} | | | | **FAILED** |", flush=True)
                traceback.print_exc()
    return failed


if __name__ == "__main__":
    sys.exit(main())
