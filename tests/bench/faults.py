"""The fault matrix at length: `python -m tests.bench.faults [ROW ...] [--scale X]`, what `tests/faults` does briefly.

Each line: the fault, how often, what is kept, what is said, the verdict. Without the names of rows all but `hour` are
done, in half an hour or so at scale 1; `hour` takes its hour. Rows that end in `_tests` run the tests that hold them.
A small disk and a read-only folder want the superuser of a Linux computer.
Without the names of rows the matrix goes to RESULTS.md.
"""

from __future__ import annotations

import argparse
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from contextlib import closing
from dataclasses import asdict
from pathlib import Path

from meterlog.session.commits import WAL_LIMIT_BYTES
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.bench.growing import followed
from tests.bench.results import printed
from tests.conftest import PluggedMeter
from tests.faults.conftest import Killing, command, make_session
from tests.faults.test_disk import filled
from tests.faults.test_fuzz import FUZZED, fuzzed
from tests.faults.test_killed import MOMENTS, killed
from tests.faults.test_links import ENDINGS, Bridge, ended_and_mended
from tests.faults.test_long import log_while_read, recorded_for, shelf
from tests.faults.test_power_cut import grown, half_taken_ins, power_cuts
from tests.faults.test_time import has_readings, stalled

Row = tuple[str, str, str]
"""Counts, what was kept, what is said."""

LIST_GOAL_S, PAGE_GOAL_S = 5.0, 5.0


class Bench:
    """The folder and the length of the matrix. Each method is a row; its docstring names the fault."""

    def __init__(self, base: Path, scale: float) -> None:
        self._base, self._scale = base, scale
        self._good = make_session(base / "good.sqlite", 3000)

    def _times(self, count: int) -> int:
        return max(1, round(count * self._scale))

    def _folder(self, name: str) -> Path:
        folder = self._base / name
        folder.mkdir()
        return folder

    def _killed(self, works: Iterable[str]) -> tuple[str, str]:
        found, moments = [], self._times(100)
        with closing(Killing()) as killing:
            for work in works:
                left = killed(killing, self._good, self._folder(work), work, moments, seed=2)
                found.append(f"{work}: " + ", ".join(f"{n} {what}" for what, n in sorted(left.items())))
        return f"{moments} moments each", "; ".join(found)

    def kill_recording(self) -> Row:
        """SIGKILL while recording, sealing, making the file"""
        return *self._killed(
            ("record", "seal", "create")
        ), "'hard (crash)', 'ended without being closed', 'never began'"

    def kill_marking(self) -> Row:
        """SIGKILL while setting markers"""
        return *self._killed(("mark",)), "nothing: each marker is there or it is not"

    def kill_writing(self) -> Row:
        """SIGKILL while exporting, importing, reporting"""
        works = [work for work in MOMENTS if work.startswith(("export", "import", "report"))]
        return *self._killed(works), "nothing: the name is free, the same command makes it"

    def power(self) -> Row:
        """Power cut while recording: log cut or torn at a byte; file half changed while it takes in its log"""
        source, cuts = grown(self._folder("growing")), self._times(300)
        folder = self._folder("cuts")
        lost = power_cuts(source, folder, cuts, seed=3), half_taken_ins(source, folder, cuts, seed=4)
        assert lost == (0, 0), f"{lost} acknowledged readings were lost"
        return f"{cuts} + {cuts}", "every acknowledged reading; integrity ok; one plain file", "'hard'"

    def disk(self) -> Row:
        """A small disk (tmpfs) fills while recording"""
        rng, rooms, least = random.Random(4), self._times(20), 10**9
        said = ""
        for i in range(rooms):
            kept, found, said = filled(self._folder(f"disk{i}"), rng.randrange(300_000, 2_000_000))
            assert found >= kept, (kept, found)
            least = min(least, kept)
        kept_words = f"every acknowledged reading (at least {least}), read on the full disk and after"
        return f"{rooms}", kept_words, f"'the disk ... {said[said.index('is full') :]}'"

    def disk_tests(self) -> Row:
        """Full disk and read-only folder under every command"""
        return _as_tests("tests/faults/test_disk.py"), "what was there; nothing half-made", "'... full', '... written'"

    def clock_tests(self) -> Row:
        """The wall clock steps by hours, summer time ends, the computer is suspended"""
        files = ("tests/faults/test_time.py", "tests/capture/test_suspension.py")
        return _as_tests(*files), "every time on the one clock", "the gap of a suspension; else nothing"

    def stall(self) -> Row:
        """The recorder stands still for minutes, longer than the system keeps what comes"""
        seconds, folder = max(2.0, 120 * self._scale), self._folder("stall")
        meter = PluggedMeter(folder / "meter")
        try:
            events = stalled(meter, folder / "a.sqlite", seconds, has_readings)
        finally:
            meter.unplug()
        assert all(event["kind"] == "gap" for event in events), events
        said = events[0]["detail"] if events else "no gap: all of it waited"
        return f"{seconds:.0f} s", "all before and after, and what the system kept", f"'{said}'"

    def links(self) -> Row:
        """A connection ends: orderly, reset, in the middle of a frame"""
        times = self._times(34)
        with closing(Bridge()) as bridge:
            causes = ended_and_mended(bridge, self._folder("links") / "a.sqlite", ENDINGS * times)
        return f"{3 * times}", "every reading; each loss mended", "; ".join(sorted(f"'{cause}'" for cause in causes))

    def link_tests(self) -> Row:
        """Each way a serial port dies or refuses; two recorders, one file"""
        files = (
            "tests/transports/test_serial_line.py",
            "tests/transports/test_usb_port.py",
            "tests/faults/test_links.py",
        )
        passed = _as_tests(*files, "tests/capture/test_supervisor.py", "tests/capture/test_recorder.py")
        return (
            passed,
            "the recording goes on; the first recorder's file is untouched",
            "the cause of each, one sentence",
        )

    def later(self) -> Row:
        """A session of a later version"""
        folder = self._folder("later")
        path = folder / "later.sqlite"
        content = bytearray(self._good.read_bytes())
        content[60:64] = (99).to_bytes(4, "big")
        path.write_bytes(content)
        refused = ["analyze", "export", "report", "mark", "compare", "diagnose"]
        words = {
            "export": ("--out", folder / "a.csv"),
            "report": ("--out", folder / "a.html"),
            "mark": ("x", "--at", "1"),
            "compare": ("--good", self._good),
            "diagnose": ("--circuit", "pump-feed", "--json"),
        }
        for name in refused:
            said = command(name, path, *words.get(name, ()))
            assert (said.status, "update meterlog to read it" in said.err) == (2, True), (name, said)
        assert "update meterlog to read it" in command("sessions", folder).out
        assert path.read_bytes() == content
        assert [file.name for file in folder.iterdir()] == [path.name]
        return f"{len(refused) + 1} commands", "the file, byte for byte", "'update meterlog to read it'"

    def damaged_tests(self) -> Row:
        """Session files damaged in 35 ways, under 12 commands"""
        return (
            _as_tests("tests/faults/test_damaged.py"),
            "the other sessions",
            "one sentence each; 'sessions' lists them",
        )

    def readers(self) -> Row:
        """Two readers on a file that grows as fast as it can"""
        seconds = max(2.0, 60 * self._scale)
        largest, given, polls = log_while_read(self._base / "log.sqlite", seconds)
        assert largest < 1.5 * WAL_LIMIT_BYTES, largest
        log = f"log at most {largest / 2**20:.1f} MiB (limit {WAL_LIMIT_BYTES >> 20})"
        return f"{seconds:.0f} s", f"{given} readings in order, {polls} polls, {log}", "-"

    def hour(self) -> Row:
        """Two programs follow a recording for an hour"""
        seconds = max(10.0, 3600 * self._scale)
        hour = followed(self._folder("hour") / "a.sqlite", seconds)
        kept = (
            f"{hour.readings} readings to both, {hour.looks} looks; log at most {hour.log_bytes / 2**20:.1f} MiB, mean"
            f" {hour.log_mean_bytes / 2**20:.1f}; recorder {hour.start_mb:.0f} to {hour.end_mb:.0f} MB,"
            f" {hour.start_handles} to {hour.end_handles} handles"
        )
        return f"{seconds:.0f} s", kept, "-"

    def days(self) -> Row:
        """48 hours of recording, accelerated"""
        flat = recorded_for(self._base / "long.sqlite", max(1.0, 48 * self._scale))
        assert flat.end_mb - flat.start_mb < 25, asdict(flat)
        assert flat.end_handles <= flat.start_handles + 1, asdict(flat)
        kept = (
            f"{flat.readings} readings, {flat.losses} link losses mended, {flat.events} events; {flat.start_mb:.0f} to"
            f" {flat.end_mb:.0f} MB, {flat.start_handles} to {flat.end_handles} handles,"
            f" {flat.bytes_a_reading:.1f} bytes a reading"
        )
        return f"{flat.hours:.0f} h in {flat.took_s:.0f} s", kept, "each loss, its cause, its return"

    def many(self) -> Row:
        """A folder of thousands of sessions"""
        sessions = self._times(5000)
        folder = shelf(self._good, self._base / "many", sessions)
        wall_s = time.perf_counter()
        cpu_s = time.process_time()
        said = command("sessions", folder)
        list_s, wall_s = time.process_time() - cpu_s, time.perf_counter() - wall_s
        assert said.out.count(".sqlite") == sessions
        client = build(folder, Access(LOOPBACK, 80, lan=None, announce=lambda _: None)).server.test_client()
        asked = {
            "output": "view.children",
            "outputs": {"id": "view", "property": "children"},
            "inputs": [
                {"id": "address", "property": "pathname", "value": "/sessions"},
                {"id": "address", "property": "search", "value": ""},
            ],
            "changedPropIds": ["address.pathname"],
        }
        page_s = []
        for _ in range(2):
            began_s = time.process_time()
            answer = client.post("/_dash-update-component", json=asked)
            page_s.append(time.process_time() - began_s)
            assert re.search(r"\d+ sessions", answer.get_data(as_text=True))
        assert list_s < LIST_GOAL_S, f"listed in {list_s:.1f} s"
        assert page_s[0] < PAGE_GOAL_S, f"shown in {page_s[0]:.1f} s"
        kept = (
            f"processor time: `sessions` {list_s:.1f} s ({wall_s:.0f} s by the clock), the page {page_s[0]:.1f} s, then"
            f" {page_s[1]:.2f} s"
        )
        return (
            f"{sessions} files",
            kept,
            "a row each; the page: 'the newest ... are shown', how many it has still to look through",
        )

    def fuzz(self) -> Row:
        """Mutated files, addresses, page requests and markers"""
        folder, times = self._folder("fuzz"), self._times(2000)
        kept = []
        for one in FUZZED:
            taken, refused = fuzzed(one, folder, times, seed=5)
            kept.append(f"{one.__name__.removeprefix('fuzz_')}: {taken} taken, {refused} refused")
        return f"{times * len(FUZZED)}", "; ".join(kept), "one sentence each"


def _as_tests(*files: str) -> str:
    """Run tests that hold a row; how many passed.

    Raises:
        RuntimeError: one did not.
    """
    words = [sys.executable, "-m", "pytest", "-q", "-n0", *files]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    counted = Counter("".join(re.findall(r"^([.a-zA-Z]+) *\[ *\d+%\]$", done.stdout, re.MULTILINE)))
    if done.returncode or not counted["."]:
        raise RuntimeError(f"{counted} {done.stdout[-3000:]} {done.stderr[-300:]}")
    return f"{counted['.']} tests" + (f" ({counted['s']} skipped)" if counted["s"] else "")


ROWS = tuple(name for name in vars(Bench) if not name.startswith("_"))


def matrix(rows: list[str], scale: float) -> int:
    """Print the matrix; how many rows failed."""
    failed = 0
    print("| fault | how often | what is kept | what is said | verdict |\n|---|---|---|---|---|")
    for name in rows:
        with tempfile.TemporaryDirectory() as base:
            bench = Bench(Path(base), scale)
            row = getattr(bench, name)
            began_s = time.monotonic()
            try:
                found = row()
                took = f"held, {time.monotonic() - began_s:.0f} s"
                print(f"| {row.__doc__} | {' | '.join(found)} | {took} |", flush=True)
            except Exception:
                failed += 1
                print(f"| {row.__doc__} | | | | **FAILED** |", flush=True)
                traceback.print_exc()
    return failed


def main() -> int:
    """Print the matrix; the exit status is how many rows failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("rows", nargs="*", metavar="ROW", choices=[*ROWS, []], help=f"one of {', '.join(ROWS)}")
    parser.add_argument("--scale", type=float, default=1.0, help="share of the full length")
    args = parser.parse_args()
    rows = args.rows or [row for row in ROWS if row != "hour"]
    if args.rows:
        return matrix(rows, args.scale)
    with printed("Faults", markdown=True):
        return matrix(rows, args.scale)


if __name__ == "__main__":
    sys.exit(main())
