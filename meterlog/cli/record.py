"""Record one or more meters into a session, and say at the end what happened.

Without --armed everything is kept. With --armed nothing is kept until the condition comes true; then the
readings shortly before it are kept too, so that a two-second pulse is caught whole while both hands are busy.
Conditions: rise LEVEL, fall LEVEL, above LEVEL, below LEVEL, open, closed; 'rise 6V on feed' watches one channel
of several.

The recording ends with --for, --events, the key q or Ctrl-C, or when every replayed source ends; the data is kept
however it ends. In a terminal the keys k c w o m set markers; elsewhere use 'meterlog mark'.
"""

from __future__ import annotations

import argparse
import gc
import math
import queue
import signal
import sys
import time
from contextlib import ExitStack, nullcontext
from pathlib import Path
from shutil import get_terminal_size
from types import FrameType
from typing import Any, Protocol

from meterlog.capture import ArmedCapture, Condition, MeterSetup, Notice, Outcome, Recorder, meter_setups
from meterlog.capture.armed_check import check_channel
from meterlog.capture.button import Button
from meterlog.capture.detection import LaterDetection
from meterlog.capture.frozen import ending_when_frozen
from meterlog.capture.meters import FindsItsDriver
from meterlog.capture.trigger import AFTER_S, BEFORE_S
from meterlog.cli.options.details_and_roles import add_details, add_roles, details, entered_roles
from meterlog.cli.options.told_to import add_told_to, output_for_listeners, telling
from meterlog.cli.terminal.output_streams import lasting_output
from meterlog.cli.terminal.start_cautions import caution_line, start_cautions
from meterlog.cli.terminal.wrap import screen, wrapped
from meterlog.driver import Traffic
from meterlog.errors import EmptySession, LinkAbsent, LinkError, MeterlogError, NoFrameFits, UsageError, bytes_in_words
from meterlog.near_words import MATTER
from meterlog.session import SessionWriter
from meterlog.session.names import create_named
from meterlog.session.writer import COMMIT_INTERVAL_S
from meterlog.settings import read_settings
from meterlog.text.figures import count
from meterlog.text.safe import one_line
from meterlog.text.times import span

EXAMPLE = 'meterlog record --meter "status14:/dev/ttyUSB0?label=pump+feed" --armed "rise 6V" --events 1'

_TICK_S = 0.1
"""Time between two looks at keys and notices, s: a person feels no delay (a guess)."""
_SWITCH_INTERVAL_S = 0.0002
"""Longest wait of a meter's thread for one that draws, s; it waits twice for each reading (a guess)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add(
        "--meter",
        metavar="ADDRESS",
        action="append",
        required=True,
        help="a meter's address (see 'meterlog meters'); repeat for several",
    )
    add("--out", metavar="FILE", help="the session to make; by default the date and time with .sqlite")
    add("--for", metavar="S", dest="for_s", type=span, help="end after this time, s; also 90min, 8h")
    add("--armed", metavar="CONDITION", help="keep only readings around this condition, for example 'rise 6V'")
    add(
        "--before", metavar="S", type=span, help=f"armed: keep this much before the condition, s (default {BEFORE_S:g})"
    )
    add("--after", metavar="S", type=span, help=f"armed: keep this much after it, s (default {AFTER_S:g})")
    add(
        "--each",
        metavar="S",
        type=span,
        help="begin a new session after each such time, named by its beginning; also 24h",
    )
    add(
        "--save-every",
        metavar="S",
        type=span,
        default=COMMIT_INTERVAL_S,
        help=f"save so often, s (default {COMMIT_INTERVAL_S:g}): 10 spares a memory card; a power cut loses as much",
    )
    add("--wait", action="store_true", help="wait for a meter that is not there yet, as after a computer's start")
    add("--button", metavar="DEVICE", help="each press of a key there sets a marker: /dev/input/event3 (Linux)")
    add("--events", metavar="N", type=_count, help="end after N captures, or, when not armed, after N events")
    add_details(parser)
    add_roles(parser)
    add_told_to(parser)
    add("--raw", action="store_true", help="also keep each meter's raw bytes, beside the session as NAME.meter1.raw")
    add("--plain", action="store_true", help="plain lines instead of the live view")
    add("--quiet", action="store_true", help="print only the two cautions that matter everywhere, and problems")
    add("--no-sound", action="store_true", help="no bell on an alarm")


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number, 1 or more, not '{text}'")
    return int(text)


class Display(Protocol):
    """Shows a recording while it goes on."""

    def notice(self, notice: Notice) -> None:
        """Show something that happened."""
        ...

    def seen(self) -> None:
        """Take what happened until now for seen."""
        ...

    def refresh(self, recorder: Recorder, typing: str | None) -> None:
        """Show the figures, when it is time; `typing` is the marker text that is being typed."""
        ...

    def close(self) -> None:
        """Put the terminal back."""
        ...


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    setups = meter_setups(args.meter)
    armed = _armed(args, setups)
    args.quiet = args.quiet or read_settings().quiet
    sys.setswitchinterval(_SWITCH_INTERVAL_S)
    if args.each is not None and (args.out or args.events):
        raise UsageError("--each names its sessions by date and time, and goes on: leave --out and --events out")
    until_s = time.monotonic() + (math.inf if args.for_s is None else args.for_s)
    opened = nullcontext() if args.button is None else Button(args.button)
    said: set[str] = set()
    kept = False
    with opened as button, output_for_listeners(args.to) as args.told, lasting_output(), _Ends() as ends:
        while True:
            this_until_s = min(until_s, time.monotonic() + (math.inf if args.each is None else args.each))
            with ending_when_frozen():
                outcome = _recorded(args, setups, armed, ends, button, this_until_s, said)
            over = this_until_s == until_s or time.monotonic() < this_until_s or outcome.error is not None
            if over and (outcome.path or outcome.error or not kept):
                return _report(outcome, setups, armed)
            print(f"kept {one_line(str(outcome.path))}" if outcome.path else "no readings came, so no file is left")
            if over:
                return 0  # the sessions before this last one have what came
            kept = kept or outcome.path is not None


def _recorded(
    args: argparse.Namespace,
    setups: list[MeterSetup],
    armed: ArmedCapture | None,
    ends: _Ends,
    button: Button | None,
    until_s: float,
    said: set[str],
) -> Outcome:
    """Record one session; `said` takes in the cautions, each of which is printed once."""
    entered = {**details(args.set), **entered_roles(args.role)}
    notices: queue.SimpleQueue[Notice] = queue.SimpleQueue()
    detection = LaterDetection(entered)
    if args.out:
        writer = SessionWriter.create(args.out, details=entered, save_s=args.save_every)
    else:
        writer = create_named(Path(), entered, args.save_every)
    path = writer.path
    recorder = _recorder(
        setups,
        writer,
        armed=armed,
        events_wanted=args.events,
        detector=detection,
        observer=notices.put,
        raw=args.raw,
        patient=args.wait,
    )
    searching = [setup.meter for setup in setups if isinstance(setup.meter, FindsItsDriver)]
    try:
        if searching:
            print("listening to find the driver that fits", flush=True)
        recorder.start()
        ends.by_flag = True  # readings are kept from here on, so Ctrl-C ends the recording and discards nothing
        detection.load()
    except BaseException:
        recorder.discard()
        raise
    if button is not None:
        button.pressed = lambda: recorder.mark("button")
    for failure in dict.fromkeys(failure for meter in searching for failure in meter.failures):
        print(f"note: {failure}")
    if path.suffix != ".sqlite":
        print(f"note: '{one_line(str(path))}' does not end in .sqlite, so the page does not list it")
    place = said_of_places(setups, entered, args.armed)
    of_meters = [words for one in setups for words in (one.unchecked, one.accuracy_unstated, one.old_zero) if words]
    cautions = [
        *map(caution_line, of_meters),
        *(map(caution_line, MATTER) if args.quiet else start_cautions(place, screen())),
    ]
    for line in [one for one in cautions if one not in said]:
        print(wrapped(line), flush=True)
    said.update(cautions)
    with telling(path, args.to, args.told):
        try:
            _show_until_end(recorder, notices, ends, args, str(path), place, until_s)
        finally:
            outcome = recorder.finish()
            ends.by_flag = False
    return outcome


def said_of_places(setups: list[MeterSetup], entered: dict[str, str], armed: str | None) -> str:
    """Return all that was typed about what is measured, and where: labels, test points, details, the condition."""
    named = [words for setup in setups for words in (*setup.labels, *setup.points)]
    return " ".join([*named, *entered.values(), armed or ""])


def _armed(args: argparse.Namespace, setups: list[MeterSetup]) -> ArmedCapture | None:
    if args.armed is None:
        if args.before is not None or args.after is not None:
            raise UsageError("--before and --after need --armed")
        return None
    condition = Condition.parse(args.armed)
    check_channel(condition, setups)
    before_s = BEFORE_S if args.before is None else args.before
    return ArmedCapture(condition, before_s, AFTER_S if args.after is None else args.after)


def _recorder(setups: list[MeterSetup], writer: SessionWriter, **options: Any) -> Recorder:
    try:
        return Recorder(setups, writer, **options)
    except BaseException:
        writer.close()
        writer.path.unlink(missing_ok=True)
        raise


class _Ends:
    """SIGINT, SIGTERM, SIGHUP (on Windows SIGBREAK) end a recording that has begun as the key does.

    Attributes:
        by_flag: set `asked` instead of raising KeyboardInterrupt.
        asked: whether the end was asked for.
    """

    def __init__(self) -> None:
        self.by_flag = self.asked = False
        self._signals: list[int] = [signal.SIGINT, signal.SIGTERM]
        self._signals += [one for one in [getattr(signal, "SIGBREAK", None)] if one is not None]  # Windows
        hang_up = getattr(signal, "SIGHUP", None)
        if hang_up is not None and signal.getsignal(hang_up) != signal.SIG_IGN:  # started to outlive its terminal
            self._signals.append(hang_up)

    def __enter__(self) -> _Ends:
        self._before = [signal.signal(one, self._take) for one in self._signals]
        return self

    def __exit__(self, *_: object) -> None:
        for one, before in zip(self._signals, self._before, strict=True):
            signal.signal(one, before)

    def _take(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002
        if not self.by_flag:
            raise KeyboardInterrupt
        self.asked = True


def _show_until_end(
    recorder: Recorder,
    notices: queue.SimpleQueue[Notice],
    ends: _Ends,
    args: argparse.Namespace,
    path: str,
    place: str,
    until_s: float,
) -> None:
    """Show what happens until the recording ends. Drawing is imported only now, while bytes already come."""
    from meterlog.cli.terminal.keys import Keys
    from meterlog.cli.terminal.record_keys import RecordKeys
    from meterlog.cli.terminal.record_lines import LineDisplay

    screen = sys.stdout is not None and sys.stdout.isatty() and not args.plain and not args.quiet
    with ExitStack() as stack:
        keyboard = stack.enter_context(Keys()) if screen and Keys.usable() else None
        display: Display = LineDisplay(args.quiet, place)
        if screen:
            from meterlog.cli.terminal.record_screen import ScreenDisplay

            display = ScreenDisplay(path, place, keyboard is not None, not args.no_sound)
        else:
            print(f"recording to {one_line(str(path))}; Ctrl-C ends the recording and keeps the data")
        stack.callback(display.close)
        keys = RecordKeys(lambda name, at_s: recorder.mark(name, time_s=at_s), lambda: recorder.elapsed_s, display.seen)
        over = False
        gc.freeze()  # a full collection of all that was imported would stop every thread for some 25 ms
        while not over:
            over = recorder.wait(min(_TICK_S, max(0.0, until_s - time.monotonic())))
            over = over or ends.asked or keys.ended or time.monotonic() >= until_s
            if keyboard is not None:
                keys.take(keyboard.pressed())
            while not notices.empty():
                display.notice(notices.get())
            display.refresh(recorder, keys.text)
            print(end="", flush=True)


def _report(outcome: Outcome, setups: list[MeterSetup], armed: ArmedCapture | None) -> int:
    """Say at once what was seen, and why it ended where that was not asked for.

    Raises:
        MeterlogError: the recording failed; what was kept before it has been shown.
    """
    _report_armed(outcome, armed)
    try:
        if outcome.path is not None:
            _report_session(outcome.path)
    except MeterlogError:
        if outcome.error is None:  # else that says more: the folder is gone, and the file with it
            raise
    for raw in outcome.raw:
        print(f"the raw bytes are in {raw}")
    if outcome.error is not None:
        raise outcome.error
    without = [
        outcome.failed.get(number) or _silent(setup.meter.name, traffic)
        for number, (setup, traffic) in enumerate(zip(setups, outcome.traffic, strict=True))
        if number in outcome.failed or not traffic.frames_good
    ]
    if outcome.path is None:
        raise without[0] if without else LinkAbsent("no readings came, so no file is left")
    for error in without:
        print(f"meterlog: {one_line(str(error))}", file=sys.stderr)
    return 0


def _report_armed(outcome: Outcome, armed: ArmedCapture | None) -> None:
    if armed is None or outcome.path is None:
        return
    if outcome.captures:
        print(f"\n'{armed.condition.text}' came {count(outcome.captures, 'time')}")
    else:
        print(f"\n'{armed.condition.text}' never came; the last readings, and those around markers, are kept")


def _report_session(path: Path) -> None:
    from meterlog.analysis import analyze
    from meterlog.cli.analyze import as_text, in_short
    from meterlog.session import open_reader
    from meterlog.session.contents import Contents

    with open_reader(path) as reader:
        try:
            reader.need_readings()
        except EmptySession:  # the disk was full before the first of them was written
            return
        found = analyze(Contents.of(reader))
        text = wrapped(f"\n{as_text(found)}")
        print(text, flush=True)
        if sys.stdout is not None and sys.stdout.isatty() and text.count("\n") + 2 > get_terminal_size().lines:
            print(wrapped(in_short(found)), flush=True)  # its beginning has left the screen


def _silent(name: str, traffic: Traffic) -> LinkError:
    """Return the error of a meter that gave no reading."""
    if traffic.question:
        return NoFrameFits(f"no readings came from {name} that can be told: {traffic.question}", name)
    if traffic.never_taught:
        return NoFrameFits(f"no readings came from {name}: what it showed was never taught", name, traffic.never_taught)
    if traffic.first_bytes:
        return NoFrameFits(
            f"no readings came from {name}: bytes came but no frame fits; check the driver and the line settings;"
            f" first bytes {bytes_in_words(traffic.first_bytes)}",
            name,
            traffic.first_bytes,
        )
    return LinkAbsent(f"no readings came from {name}: is the meter on, and its data output switched on?", name)
