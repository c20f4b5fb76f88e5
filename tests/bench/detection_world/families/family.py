"""Keeps the list of families, and draws a log of one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.bench.detection_world.scene import Scene

Family = Callable[[Scene], None]
FAMILIES: dict[str, Family] = {}
"""Every family by its name, in the order of the table."""


def family(name: str) -> Callable[[Family], Family]:
    """Put a function into the list of families."""

    def listed(draw: Family) -> Family:
        FAMILIES[name] = draw
        return draw

    return listed


def scene_of(name: str, seed: int) -> Scene:
    """Draw and read a log of a family."""
    scene = Scene(np.random.default_rng([seed, *name.encode()]))
    FAMILIES[name](scene)
    scene.read()
    return scene
