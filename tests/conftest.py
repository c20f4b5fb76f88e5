"""Fixtures that more than one folder of tests uses."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from importlib import invalidate_caches
from pathlib import Path
from tempfile import gettempdir
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.reading import Flag, Quantity, Reading
from meterlog.report import find_browser
from meterlog.transports import Chunk
from meterlog.transports.raw_capture import RawCaptureWriter

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


os.environ["METERLOG_SETTINGS"] = str(Path(gettempdir()) / "meterlog-tests-have-no-settings.toml")  # nor the user's
os.environ["METERLOG_DATA"] = str(Path(gettempdir()) / f"meterlog-tests-{os.getpid()}")  # nor the user's paired devices
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background runner may ignore it for its children
settings.register_profile("patient", deadline=None)  # a busy machine is no failure
settings.load_profile("patient")

LONG = ("stories", "faults", "cli", "ble", "capture", "drivers")
"""The folders whose tests wait for real time, the longest first."""


SLOW = (
    *(
        "stories",
        "faults",
        "ble",
        "cli/test_emulate.py",
        "cli/test_demo.py",
        "cli/test_record.py",
        "capture/test_recorder.py",
    ),
    "capture/test_always_on.py",
    *("drivers/test_scpi.py", "driver/test_probe.py", "cli/terminal/test_lasting_output.py", "test_outside_drivers.py"),
    *("test_installs.py", "dashboard/test_containment.py"),
    "stream",
    *("fleet/test_cluster.py", "fleet/test_questions.py"),
    "test_template.py",
    "test_recordings_notebook.py",
)
"""Folders and files whose tests wait for real seconds; so do those with a browser. Plain `pytest` leaves them out."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is slow. Order the files: the long ones first, and among them those with a browser, which takes a core,
    spread evenly."""
    here = Path(__file__).parent
    for item in items:
        if item.path.relative_to(here).as_posix().startswith(SLOW) or "browser" in _fixtures(item):
            item.add_marker("slow")
    files: dict[Path, list[pytest.Item]] = {}
    for item in items:
        files.setdefault(item.path.relative_to(here), []).append(item)
    with_browser = [path for path in files if any("browser" in _fixtures(item) for item in files[path])]
    others = [path for path in files if path not in with_browser]
    others.sort(key=lambda path: LONG.index(path.parts[0]) if path.parts[0] in LONG else len(LONG))
    long = sum(path.parts[0] in LONG for path in others)
    for place, path in enumerate(with_browser):
        others.insert(1 + place + place * long // len(with_browser), path)
    items[:] = [item for path in others for item in files[path]]


def _fixtures(item: pytest.Item) -> list[str]:
    return item.fixturenames if isinstance(item, pytest.Function) else []


@pytest.fixture(scope="session")
def need() -> Callable[[object, str], None]:
    """Skip a test, with the reason, where something of the computer is missing; on CI that is a failure instead."""

    def check(there: object, reason: str) -> None:
        if there:
            return
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(f"missing on CI: {reason}")
        pytest.skip(reason)

    return check


def write_capture(path: Path, chunks: Iterable[tuple[float, bytes]], address: str = "text:x") -> Path:
    """Write what a meter sent, each chunk with its time in s, as a raw capture; returns its path."""
    writer = RawCaptureWriter(path, address, datetime.now(UTC), 0.0, 0.0)
    for time_s, data in chunks:
        writer.add(Chunk(data, time_s))
    writer.close()
    return path


class PluggedMeter:
    """A status14 meter on a real pseudo-terminal, under a name that stays when it is unplugged and plugged in again."""

    def __init__(self, port: Path) -> None:
        self.port = port
        self._master = -1
        driver = load_driver("status14")
        assert isinstance(driver, FramingDriver)
        self._encoder = driver.encoder(Address.parse("status14:x"))
        self.plug()

    def plug(self) -> None:
        """Make the pseudo-terminal and the link to it, as the system does for a device that it knows."""
        import tty

        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.port.symlink_to(os.ttyname(slave))
        os.close(slave)

    def unplug(self) -> None:
        """Take it away."""
        if self._master >= 0:
            os.close(self._master)
            self.port.unlink()
        self._master = -1

    def show(self, value: float, quantity: Quantity = Quantity.DC_VOLTAGE, resolution: float = 0.01) -> None:
        """Send one frame."""
        flags = Flag.DC if quantity is Quantity.DC_VOLTAGE else Flag.NONE
        if abs(value) == float("inf"):
            flags |= Flag.OVERLOAD
        self.send(self._encoder.encode([Reading(0.0, value, quantity, resolution, flags)]))

    def send(self, data: bytes) -> None:
        """Send any bytes."""
        os.write(self._master, data)


@pytest.fixture
def pseudo_terminal() -> Iterator[Callable[[], tuple[int, int]]]:
    """Makes real pseudo-terminals without any translation of bytes: the master's end and the port's. Closes both."""
    if sys.platform == "win32":
        pytest.skip("needs pseudo-terminals")
    import tty

    ends: list[int] = []

    def make() -> tuple[int, int]:
        master, slave = os.openpty()
        ends.extend((master, slave))
        tty.setraw(slave)
        return master, slave

    yield make
    for end in ends:
        os.close(end)


@pytest.fixture
def plug_in(tmp_path: Path) -> Iterator[Callable[[], PluggedMeter]]:
    """Makes meters on real pseudo-terminals."""
    if sys.platform == "win32":
        pytest.skip("needs pseudo-terminals")
    made: list[PluggedMeter] = []

    def plug() -> PluggedMeter:
        made.append(PluggedMeter(tmp_path / f"meter{len(made)}"))
        return made[-1]

    yield plug
    for meter in made:
        meter.unplug()


@pytest.fixture
def meter(plug_in: Callable[[], PluggedMeter]) -> PluggedMeter:
    """One meter on a real pseudo-terminal."""
    return plug_in()


@pytest.fixture(scope="session")
def browser(need: Callable[[object, str], None]) -> Iterator[Browser]:
    """The Chromium of this computer."""
    path = find_browser()
    need(path, "no Chromium on this computer")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str, str, str], None]]:
    """Install a package: its distribution name, its module's source, its entry point."""
    monkeypatch.syspath_prepend(str(tmp_path))
    before = set(sys.modules)

    def package(distribution: str, source: str, entry: str) -> None:
        module = distribution.replace("-", "_")
        (tmp_path / f"{module}.py").write_text(source)
        metadata = tmp_path / f"{module}-1.0.dist-info"
        metadata.mkdir()
        (metadata / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {distribution}\nVersion: 1.0\n")
        (metadata / "entry_points.txt").write_text(f"[meterlog.drivers]\n{entry}\n")
        invalidate_caches()

    yield package
    for module in set(sys.modules) - before:
        del sys.modules[module]
