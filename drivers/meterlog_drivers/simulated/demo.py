"""The whole job in a minute, with no hardware: a simulated meter on a real port, recorded, analyzed and checked.

First an armed capture of the pump feed at key-on, then a drive with a feed that comes and goes. What the analyzer
finds is compared with what the simulated van truly did; the two sessions stay in a folder.
"""

from __future__ import annotations

import argparse
import contextlib
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from meterlog.analysis import Analysis, analyze
from meterlog.errors import MeterlogError, SessionWriteFailed
from meterlog.session import add_marker, open_reader
from meterlog.session.contents import Contents
from meterlog.text.safe import one_line
from meterlog_drivers.simulated.scenario import Run
from meterlog_drivers.simulated.scenarios import SCENARIOS

EXAMPLE = "meterlog demo"

SEED = 5
"""Fixes what varies by chance, so that every demonstration is the same."""
DRIVE_S = 28.0
"""Length of the recorded drive, s: the demonstration is to end within a minute."""
PLACE_S = 0.7
"""A dropout found may begin so far from the true one: two display intervals, s."""

METERLOG = (sys.executable, "-m", "meterlog")


RECORD_S = 60.0
"""A recording that takes longer has failed, s; twice the longest."""
FIRST_READING_S = 10.0
"""A first reading that takes longer never comes, s; a guess."""
LAST_S = 1.0
"""A dropout so close to the end may be cut off by it, s: three display intervals."""


class StepFailed(Exception):
    """A step of the demonstration did not give what it should."""


@dataclass(frozen=True, slots=True)
class Step:
    """One recording of the demonstration."""

    title: str
    scenario: str
    options: tuple[str, ...]
    path: Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "folder", nargs="?", type=Path, default=Path("demo-sessions"), help="where the sessions go (demo-sessions)"
    )


def run(args: argparse.Namespace) -> int:
    """Do the demonstration; 0 when every step gave what it should."""
    began_s = time.monotonic()
    try:
        args.folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SessionWriteFailed(f"the folder '{args.folder}' cannot be made: {error.strerror}") from error
    stamp = f"{datetime.now().astimezone():%H%M%S}"
    armed = ("--armed", "rise 6V", "--before", "2", "--after", "3.5", "--events", "1")
    prime = Step("a key-on, captured armed", "healthy-prime", armed, args.folder / f"key-on-{stamp}.sqlite")
    drive = Step(
        "a drive with a feed that comes and goes",
        "intermittent-feed",
        ("--for", f"{DRIVE_S:g}"),
        args.folder / f"drive-{stamp}.sqlite",
    )
    failures = []
    for number, (step, check) in enumerate(((prime, _check_prime), (drive, _check_drive)), 1):
        print(f"\n=== {number} of 2: {step.title}", flush=True)
        try:
            _record(step)
            print("\ncompared with what truly happened to the simulated van:", flush=True)
            check(step)
        except (MeterlogError, StepFailed) as error:
            failures.append(str(error))
            print(f"  FAILED: {error}", flush=True)
    print(f"\n=== {'FAILED' if failures else 'done'} after {time.monotonic() - began_s:.0f} s")
    if failures:
        return 1
    _say_what_next(prime.path, drive.path)
    return 0


def _record(step: Step) -> None:
    """Record the scenario from an emulated meter in a process of its own, with the real command."""
    with _emulated(step.scenario) as port:
        words = ("record", "--meter", f"status14:{port}?label=pump+feed&point=plug_feed", *step.options)
        words = (*words, "--set", "vehicle=simulated delivery van", "--out", str(step.path))
        shown = " ".join(f'"{w}"' if " " in w or "&" in w else w for w in map(one_line, words))
        print(f"$ meterlog {shown}", flush=True)
        recorder = subprocess.Popen([*METERLOG, *words, "--plain", "--no-sound"], stdin=subprocess.DEVNULL)
        try:
            _set_markers(SCENARIOS[step.scenario].run(SEED), step.path, recorder)
            status = recorder.wait(RECORD_S)
        except subprocess.TimeoutExpired:
            raise StepFailed("the recording did not end") from None
        finally:
            recorder.terminate()
            recorder.wait()
    if status:
        raise StepFailed(f"'meterlog record' ended with {status}")


@contextlib.contextmanager
def _emulated(scenario: str) -> Iterator[str]:
    """A simulated meter in its own process; gives the port that it is on."""
    words = [*METERLOG, "emulate", scenario, "--driver", "status14", "--seed", str(SEED)]
    if sys.platform != "linux":  # only there does a pseudo-terminal tell when it is opened
        words += ["--tcp", "0"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        try:
            port = process.stdout.readline().strip() if process.stdout is not None else ""
            if not port:
                raise StepFailed("the simulated meter did not start")
            yield port
        finally:
            process.terminate()


def _set_markers(scenario: Run, path: Path, recorder: subprocess.Popen[bytes]) -> None:
    """Set the scenario's markers into the running session at their moments, as a person would with a key."""
    if scenario.name == "healthy-prime":  # an armed capture: both hands are busy
        return
    first_s = _first_reading_s(path, recorder)
    for marker in scenario.markers:
        at_s = first_s + marker.time_s - float(scenario.readings[0].time_s[0])
        if at_s >= DRIVE_S:
            return
        with open_reader(path) as reader:
            wait_s = reader.monotonic_start_s + at_s - time.monotonic()
        if wait_s > 0:
            with contextlib.suppress(subprocess.TimeoutExpired):
                recorder.wait(wait_s)
        if recorder.poll() is not None:
            return
        add_marker(path, marker.name)
        print(f"{at_s:9.2f} s  marker {marker.name}", flush=True)


def _first_reading_s(path: Path, recorder: subprocess.Popen[bytes]) -> float:
    until_s = time.monotonic() + FIRST_READING_S
    while time.monotonic() < until_s and recorder.poll() is None:
        with contextlib.suppress(MeterlogError), open_reader(path) as reader:
            for channel in reader.channels:
                if reader.count(channel.number):
                    return float(reader.series(channel.number).time_s[0])
        time.sleep(0.05)
    raise StepFailed("no reading came from the simulated meter")


def _analysis(path: Path) -> Analysis:
    with open_reader(path) as reader:
        return analyze(Contents.of(reader))


def _check_prime(step: Step) -> None:
    """The prime is found and its true length lies inside the stated error.

    Raises:
        StepFailed: not so.
    """
    (true,) = SCENARIOS[step.scenario].run(SEED).truth
    primes = [event for event in _analysis(step.path).events if event.kind == "prime_pulse"]
    if len(primes) != 1:
        raise StepFailed(f"{len(primes)} primes were found instead of one")
    found_s, error_s, true_s = primes[0].duration_s, primes[0].duration_error_s, true.duration_s
    if found_s is None or error_s is None or true_s is None or abs(found_s - true_s) > error_s:
        raise StepFailed(f"the prime lasted {true_s} s and was found as {found_s} s, +-{error_s} s")
    print(f"  the prime lasted {true_s:.2f} s and was found as {found_s:.2f} s, +-{error_s:.2f} s: right")


def _check_drive(step: Step) -> None:
    """Every dropout that the readings could show is found, and nothing that did not happen.

    Raises:
        StepFailed: not so.
    """
    run = SCENARIOS[step.scenario].run(SEED)
    analysis = _analysis(step.path)
    with open_reader(step.path) as reader:
        offset_s = float(reader.series(1).time_s[0]) - float(run.readings[0].time_s[0])
        last_s = float(reader.series(1).time_s[-1])
    visible_s = analysis.channels[0].watch.shortest_visible_s
    found = [event for event in analysis.events if event.kind == "dropout"]
    sags = [event for event in analysis.events if event.kind == "sag"]
    true = [event for event in run.truth if event.kind == "dropout" and event.end_s + offset_s < last_s - LAST_S]
    for event in true:
        length_s, begin_s = event.end_s - event.start_s, event.start_s + offset_s
        match = [one for one in found if abs(one.start_s - begin_s) <= PLACE_S]
        said = f"  a dropout of {length_s:.2f} s at {begin_s:.1f} s"
        if match:
            print(f"{said} was found, as {match[0].duration_s or 0:.2f} s +-{match[0].duration_error_s or 0:.2f} s")
        elif length_s < visible_s:
            seen = any(abs(one.start_s - begin_s) <= PLACE_S for one in sags)
            how = "was only seen as a sag" if seen else "was missed"
            print(f"{said} {how}: below {visible_s:.2f} s these readings may miss one, and the analysis says so")
        else:
            raise StepFailed(f"a dropout of {length_s:.2f} s at {begin_s:.1f} s was not found")
    false = [one for one in found if all(abs(one.start_s - e.start_s - offset_s) > PLACE_S for e in true)]
    if false:
        raise StepFailed(f"a dropout at {false[0].start_s:.1f} s was found that did not happen")
    if not found:
        raise StepFailed("no dropout was found")


def _say_what_next(prime: Path, drive: Path) -> None:
    tries: Sequence[tuple[str, str]] = (
        (f"meterlog analyze {drive}", "what happened, once more"),
        (f"meterlog report {prime} {drive} --out report.html", "one page to show the customer"),
        (f"meterlog page {prime.parent}", "both sessions in the browser"),
        ("meterlog emulate --list", "more faults to practise on"),
        ("meterlog meters --listen 5", "then with a meter of your own"),
    )
    print(f"\nThe sessions are {one_line(str(prime))} and {one_line(str(drive))}. Try next:")
    width = max(len(what) for _, what in tries)
    for command, what in tries:
        print(f"  {what:<{width}}  {one_line(command)}")
