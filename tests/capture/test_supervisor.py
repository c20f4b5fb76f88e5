"""A supervisor opens again what can be mended, and gives up with one sentence on what cannot."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field

from meterlog.address import Address
from meterlog.capture.meters import MeterSetup
from meterlog.capture.supervisor import FIRST_PAUSE_S, Supervisor
from meterlog.driver import Traffic
from meterlog.errors import DriverError, LinkAbsent, LinkLost, MeterlogError, NoFrameFits
from meterlog.reading import Accuracy, Quantity, Reading

READING = Reading(0.0, 1.0, Quantity.DC_VOLTAGE)
Step = list[Reading] | Exception | None


@dataclass
class Script:
    """A meter and its connections that do what is written: one list a connection, or a failure to open."""

    openings: list[list[Step] | MeterlogError]
    opened_s: list[float] = field(default_factory=list)
    closed: int = 0
    name: str = "script"

    def open(self) -> Script:
        self.opened_s.append(time.monotonic())
        steps = self.openings.pop(0) if self.openings else []
        if isinstance(steps, MeterlogError):
            raise steps
        self.steps = steps
        return self

    @property
    def traffic(self) -> Traffic:
        return Traffic(frames_good=1)

    def read(self, timeout_s: float) -> list[Reading] | None:
        if not self.steps:
            time.sleep(min(timeout_s, 0.01))
            return []
        step = self.steps.pop(0)
        if isinstance(step, Exception):
            raise step
        return step

    def close(self) -> None:
        self.closed += 1


class Heard:
    """Keeps what a supervisor tells."""

    def __init__(self) -> None:
        self.count = 0
        self.links: list[tuple[bool, str]] = []
        self.error: MeterlogError | None = None
        self.over = threading.Event()

    def readings(self, meter: int, readings: list[Reading]) -> None:
        assert meter == 0
        self.count += len(readings)

    def link(self, meter: int, up: bool, cause: str, ago_s: float = 0.0) -> None:
        assert meter == 0
        assert ago_s >= 0.0
        self.links.append((up, cause))

    def never_taught(self, meter: int, frame: bytes, question: str) -> None:
        raise AssertionError(f"{meter}: {frame!r} {question}")

    def waiting_for(self, meter: int, text: str) -> None:
        raise AssertionError(f"{meter}: {text}")

    def ended(self, meter: int, error: MeterlogError | None) -> None:
        assert meter == 0
        self.error = error
        self.over.set()


def supervise(script: Script, timeout_s: float = 60.0) -> Heard:
    heard = Heard()
    setup = MeterSetup(Address("script", ""), script, (), (), Accuracy(), None, None)
    supervisor = Supervisor(0, setup, heard)
    supervisor.start()
    assert supervisor.wait_opened() is None
    assert heard.over.wait(timeout_s)
    supervisor.join(1.0)
    return heard


def test_a_lost_link_is_opened_again_with_pauses_that_double() -> None:
    absent = LinkAbsent("not yet")
    script = Script([[[READING], LinkLost("gone")], absent, absent, [[READING, READING], None]])
    heard = supervise(script)
    assert heard.count == 3
    assert [up for up, _ in heard.links] == [True, False, True]
    assert heard.links[1] == (False, "gone")
    assert heard.error is None
    pauses = [b - a for a, b in zip(script.opened_s, script.opened_s[1:], strict=False)]
    least_s = [FIRST_PAUSE_S, 2 * FIRST_PAUSE_S, 4 * FIRST_PAUSE_S]
    assert all(pause >= least - 0.01 for pause, least in zip(pauses, least_s, strict=True))
    assert script.closed == 2


def test_a_source_that_is_over_ends_it() -> None:
    script = Script([[[READING], None]])
    assert supervise(script).error is None
    assert script.closed == 1


def test_a_framing_that_never_fitted_is_given_up() -> None:
    script = Script([[NoFrameFits("none fit")]])
    assert isinstance(supervise(script).error, NoFrameFits)
    assert script.closed == 1


def test_a_framing_that_fitted_before_is_tried_again() -> None:
    heard = supervise(Script([[[READING], NoFrameFits("noise")], [[READING], None]]))
    assert (heard.count, heard.error) == (2, None)


def test_a_defect_in_a_driver_is_one_sentence_not_a_traceback() -> None:
    script = Script([[[READING], ZeroDivisionError("by zero")]])
    error = supervise(script).error
    assert isinstance(error, DriverError)
    assert str(error) == "the driver 'script' failed, so nothing more comes from script: ZeroDivisionError: by zero"
    assert isinstance(error.__cause__, ZeroDivisionError)
    assert script.closed == 1


def test_a_first_opening_that_fails_is_told_to_who_started_it() -> None:
    heard = Heard()
    setup = MeterSetup(Address("script", ""), Script([LinkAbsent("no port")]), (), (), Accuracy(), None, None)
    supervisor = Supervisor(0, setup, heard)
    supervisor.start()
    failure = supervisor.wait_opened()
    assert isinstance(failure, LinkAbsent)
    assert not heard.over.is_set()
