"""One key sets a marker at the moment it is pressed; a text marker has the moment when its typing began."""

from __future__ import annotations

import pytest

from meterlog.cli.terminal.record_keys import HELP, MARKER_KEYS, RecordKeys


class Pressed(RecordKeys):
    """Keys with a clock that moves on by 1 s a key."""

    def __init__(self) -> None:
        self.set: list[tuple[str, float]] = []
        self.now_s = 0.0
        self.looked = 0
        super().__init__(lambda name, at_s: self.set.append((name, at_s)), lambda: self.now_s, self._look)

    def _look(self) -> None:
        self.looked += 1

    def type(self, keys: str) -> None:
        for key in keys:
            self.now_s += 1.0
            self.take(key)


@pytest.mark.parametrize(
    ("keys", "markers"),
    [
        ("k", [("key-on", 1.0)]),
        ("kcwo", [("key-on", 1.0), ("crank", 2.0), ("wiggle", 3.0), ("key-off", 4.0)]),
        ("K", [("key-on", 1.0)]),
        ("xyz ", []),
        ("mplug 3\r", [("plug 3", 1.0)]),
        ("mplux\x7fg\n", [("plug", 1.0)]),
        ("m\r", []),
        ("mno\x1bk", [("key-on", 5.0)]),
        ("mkcq\rk", [("kcq", 1.0), ("key-on", 6.0)]),
        ("mécrou\r", [("écrou", 1.0)]),
    ],
)
def test_keys_become_markers(keys: str, markers: list[tuple[str, float]]) -> None:
    pressed = Pressed()
    pressed.type(keys)
    assert pressed.set == markers
    assert not pressed.ended
    assert pressed.text is None


def test_q_ends_but_not_inside_a_text() -> None:
    pressed = Pressed()
    pressed.type("mq")
    assert (pressed.ended, pressed.text) == (False, "q")
    pressed.type("\rq")
    assert pressed.ended


def test_every_key_is_explained() -> None:
    for key, name in MARKER_KEYS.items():
        assert f"{key} {name}" in HELP


def test_what_happened_is_seen_by_one_key_but_not_in_a_text() -> None:
    keys = Pressed()
    keys.type("s")
    assert keys.looked == 1
    keys.type("mstuck\r")
    assert keys.looked == 1
