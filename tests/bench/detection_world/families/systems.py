"""Systems that are no car's, and must not be judged by a car's limits."""

from __future__ import annotations

import numpy as np

from tests.bench.detection_world.families.family import family
from tests.bench.detection_world.meter import Meter
from tests.bench.detection_world.scene import Scene
from tests.bench.detection_world.trace import Trace


def unknown(scene: Scene, label: str, volts: float, resolution: float) -> Trace:
    """Add a channel of a system for which there are no limits."""
    scene.healthy, scene.neutral = True, ("sag", "fade", "prime_pulse")
    scene.must_say.append("not judged|no limits|not one of")
    return scene.wire(label, Meter.drawn(scene.rng, volts, resolution).but(lost=0.0), scale=volts)


@family("48 V, as entered")
def forty_eight(scene: Scene) -> None:
    """A mild hybrid's supply with `system_v=48`."""
    scene.details["system_v"] = "48"
    supply = unknown(scene, "48 V supply", 48.0, 0.01)
    for _ in range(4):
        supply.steady(supply.between(46.0, 52.0), supply.between(10.0, 40.0))


@family("56 V battery")
def fifty_six(scene: Scene) -> None:
    """A cycle's battery in use."""
    battery = unknown(scene, "cycle battery", 56.0, 0.01)
    level = battery.between(55.0, 57.0)
    for _ in range(5):
        battery.steady(level, battery.between(10.0, 40.0))
        battery.hold(level * 0.95, battery.between(3.0, 20.0))


@family("480 V motor supply")
def motor(scene: Scene) -> None:
    """A machine's intermediate circuit."""
    motor_v = unknown(scene, "motor supply", 480.0, 0.1)
    motor_v.steady(motor_v.between(470.0, 490.0), motor_v.between(60.0, 200.0))


@family("700 V battery")
def traction(scene: Scene) -> None:
    """A traction battery that charges."""
    battery = unknown(scene, "traction battery", 700.0, 0.1)
    level = battery.between(680.0, 700.0)
    battery.ramp(level, level * 1.02, battery.between(60.0, 200.0))


@family("30,000 V")
def high_voltage(scene: Scene) -> None:
    """Through a probe: nothing that the program knows; never 'within'."""
    supply = unknown(scene, "supply", 3e4, 1.0)
    supply.steady(3e4, 60.0)
    scene.no_within = True


@family("solar panel")
def solar(scene: Scene) -> None:
    """A panel under clouds: anything from 0 to 40 V."""
    panel = unknown(scene, "solar panel", 30.0, 0.01)
    scene.neutral = (*scene.neutral, "dropout", "supply_lost", "overvoltage")
    level = 30.0
    for _ in range(20):
        wanted = panel.between(12.0, 38.0)
        panel.ramp(level, wanted, panel.between(1.0, 15.0))
        panel.hold(wanted, panel.between(2.0, 30.0))
        level = wanted


@family("USB load")
def usb(scene: Scene) -> None:
    """5 V that sinks to 4.8 V under load."""
    load = unknown(scene, "USB load", 5.0, 0.001)
    for _ in range(5):
        load.steady(load.between(4.78, 5.1), load.between(10.0, 40.0), drift=0.002)


@family("drive motor current")
def drive_motor(scene: Scene) -> None:
    """A drive's current goes as the work goes: up, down, to nothing."""
    scene.healthy, scene.neutral = True, ("interruption", "prime_pulse")
    meter = Meter.drawn(scene.rng, 100.0, 0.1)
    load = scene.wire("drive motor", meter, quantity="dc_current", unit="A")
    level = 20.0
    for _ in range(25):
        wanted = float(np.abs(scene.rng.normal(40.0, 40.0))) if load.chance(0.8) else 0.0
        load.ramp(level, wanted, load.between(0.2, 3.0))
        load.hold(wanted, load.between(1.0, 20.0))
        level = wanted
