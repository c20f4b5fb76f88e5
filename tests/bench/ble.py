"""BLE over hours, compressed: the full-length figures that the tests in `tests/ble` only sample.

`python -m tests.bench.ble` on Linux with dbus-daemon. Goals: two meters at ten a second for 30 s with none lost and in
order, through the real `meterlog record`; 200 unexpected drops, each followed by a new link, without a leaked file
descriptor, connection or repeated byte; a burst of 1000 notifications a second with none lost; a silent link noticed
within 3 s at 4 readings a second, ten times. No radio takes part: these are the costs of the program, bleak and
D-Bus, and not of the air.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import numpy as np

from meterlog.driver.framing import framing_of
from meterlog.errors import LinkLost
from meterlog.reading import Quantity, Reading
from meterlog.session import open_reader
from meterlog.transports.ble import BleLink, BleSettings, BleTransport, Wanted
from meterlog_drivers.simulated.bluetooth.bluez import SimulatedBluez
from meterlog_drivers.simulated.bluetooth.peripheral import Characteristic, SimulatedPeripheral
from meterlog_drivers.simulated.bluetooth.private_bus import VARIABLE, PrivateBus
from tests.bench.table import Row, at_most, show

DROPS, SECONDS, SILENCES, BURST = 200, 30, 10, 2000
SILENCE_GOAL_S = 3.0
ADDRESSES = ("00:00:5E:00:53:01", "00:00:5E:00:53:02")


def counting() -> Iterator[bytes]:
    """Frames that show 0.01 V, 0.02 V and so on."""
    meter = framing_of("status14:x").encoder()
    for n in count(1):
        yield meter.encode([Reading(0.0, n / 100, Quantity.DC_VOLTAGE, 0.01)])


def peripheral(address: str) -> SimulatedPeripheral:
    """A meter with a serial service."""
    return SimulatedPeripheral(address, {"ffe0": [Characteristic("ffe1", ("notify", "write"))]}, name="METER")


def record(out: Path, addresses: tuple[str, ...], seconds: float) -> subprocess.Popen[bytes]:
    """Begin `meterlog record`."""
    meters = [word for a in addresses for word in ("--meter", f"ble:{a}?decoder=status14")]
    command = [sys.executable, "-m", "meterlog", "record", "--quiet", "--plain", "--out", str(out)]
    return subprocess.Popen([*command, *meters, "--for", f"{seconds:g}"], stdout=subprocess.DEVNULL)


def two_meters(bluez: SimulatedBluez, folder: Path) -> Iterator[Row]:
    """Two meters at ten a second."""
    for address in ADDRESSES:
        bluez.stream(bluez.add(peripheral(address)), counting(), 0.1)
    out = folder / "two.sqlite"
    status = record(out, ADDRESSES, SECONDS).wait()
    with open_reader(out) as reader:
        for channel in reader.channels:
            series = reader.series(channel.number)
            shown = np.round(series.value * 100).astype(int)
            lost = int(shown[-1] - shown[0] + 1 - len(shown))
            in_order = bool((np.diff(shown) == 1).all())
            jitter_ms = 1000 * float(np.percentile(np.abs(np.diff(series.time_s) - 0.1), 99))
            ratio = f"{len(shown)} readings, spacing within {jitter_ms:.1f} ms for 99 of 100"
            row = at_most(
                f"two meters by BLE at 10/s for {SECONDS} s, channel {channel.number}", lost, 0, "lost", ratio
            )
            whole = status == 0 and in_order and len(shown) >= SECONDS * 10 - 20
            yield row if whole else row._replace(verdict=f"FAILED, exit status {status}, or not whole and in order")


def drops(bluez: SimulatedBluez) -> Iterator[Row]:
    """Unexpected drops, each followed by a new link."""
    meter = bluez.add(peripheral("00:00:5E:00:53:03"))
    transport = BleTransport(BleSettings(Wanted(address=meter.address)))
    transport.open().close()
    before, repeated, took_s = descriptors(), 0, []
    for n in range(DROPS):
        begun_s = time.monotonic()
        link = transport.open()
        took_s.append(time.monotonic() - begun_s)
        sent = f"frame {n} ".encode()
        bluez.notify(meter, sent)
        came = all_bytes(link)
        repeated += came != sent
        bluez.drop(meter)
        try:
            link.read(1.0)
            repeated += 1
        except LinkLost:
            pass
        link.close()
    leaked = descriptors() - before
    left = bluez.subscribers(meter) + bluez.is_connected(meter)
    links = bluez.connects[meter.address] - 1
    took = f"{np.median(took_s):.3f} s each in the middle, {max(took_s):.3f} s at most"
    yield at_most(f"{DROPS} drops of a BLE link, without a new one", DROPS - links, 0, "drops", took)
    yield at_most("descriptors and links leaked by them", max(leaked, 0) + left, 0, "leaked")
    yield at_most("bytes wrong or repeated after them", repeated, 0, "times")


def descriptors() -> int:
    """Open file descriptors of this process."""
    return len(os.listdir("/proc/self/fd"))


def all_bytes(link: BleLink) -> bytes:
    """Return what is there and comes within a moment."""
    data = b""
    while (chunk := link.read(0.02 if data else 1.0)) is not None:
        data += chunk.data
    return data


def burst(bluez: SimulatedBluez) -> Iterator[Row]:
    """A thousand notifications a second."""
    meter = bluez.add(peripheral("00:00:5E:00:53:04"))
    link = BleTransport(BleSettings(Wanted(address=meter.address))).open()
    bluez.stream(meter, (b"%020d" % n for n in range(BURST)), 0.001)
    begun_s, came = time.monotonic(), b""
    while len(came) < 20 * BURST and (chunk := link.read(1.0)) is not None:
        came += chunk.data
    rate = len(came) / 20 / (time.monotonic() - begun_s)
    link.close()
    sent = b"".join(b"%020d" % n for n in range(BURST))
    lost = 0 if came == sent else max(1, (len(sent) - len(came)) // 20)
    yield at_most(f"a burst of {BURST} BLE notifications", lost, 0, "lost", f"{rate:.0f} a second")


def silences(bluez: SimulatedBluez, folder: Path) -> Iterator[Row]:
    """A link that stays up and says nothing."""
    meter = bluez.add(peripheral("00:00:5E:00:53:05"))
    bluez.stream(meter, counting(), 0.25)
    out = folder / "silent.sqlite"
    process = record(out, (meter.address,), SILENCES * 6.0)
    try:
        for n in range(1, SILENCES + 1):
            wait_until(lambda n=n: bluez.connects.get(meter.address) == n and bluez.subscribers(meter) == 1)
            time.sleep(1.5)
            meter.silent = True
            wait_until(lambda n=n: bluez.connects[meter.address] == n + 1)
            meter.silent = False
    finally:
        process.wait()
    with open_reader(out) as reader:
        series = reader.series(1)
        downs = [change.time_s for change in reader.link_changes if not change.up]
        noticed_s = [at - series.between(0.0, at).time_s[-1] for at in downs]
        shown = np.round(series.value * 100).astype(int)
    row = at_most(
        "a silent BLE link at 4/s is noticed within", max(noticed_s), SILENCE_GOAL_S, "s", f"{len(downs)} times"
    )
    whole = len(downs) == SILENCES and bool((np.diff(shown) >= 1).all())
    yield row if whole else row._replace(verdict="FAILED, not every silence once, or out of order")


def wait_until(condition: object, timeout_s: float = 20.0) -> None:
    """Wait until something is so."""
    assert callable(condition)
    end_s = time.monotonic() + timeout_s
    while not condition():
        if time.monotonic() > end_s:
            raise TimeoutError("waited in vain")
        time.sleep(0.02)


def rows() -> Iterator[Row]:
    """All of them, on a bus of their own."""
    with tempfile.TemporaryDirectory(prefix="ble") as name, PrivateBus(Path(name)) as bus:
        os.environ[VARIABLE] = bus.address
        with SimulatedBluez(bus.address) as bluez:
            yield from two_meters(bluez, Path(name))
            yield from drops(bluez)
            yield from burst(bluez)
            yield from silences(bluez, Path(name))


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
