"""Captures are laid over each other, and the stated error covers the true shift."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.comparing import compare, compare_captures
from meterlog.comparing.align import best_shift
from meterlog.loaded import load
from meterlog.series import Series
from tests.comparing.conftest import Maker, Shape, prime


def test_primes_are_laid_on_their_onset_within_the_stated_error(make: Maker) -> None:
    rng = np.random.default_rng(31)
    covered = []
    for k in range(12):
        onsets = rng.uniform(3.0, 5.0, 2)
        intervals = rng.choice([0.1, 0.25, 0.4], 2)
        paths = [
            make(f"{k}-{n}", {"pump": prime(float(o))}, interval_s=float(d), seed=100 + 2 * k + n)
            for n, (o, d) in enumerate(zip(onsets, intervals, strict=True))
        ]
        alignment = compare([paths[0]], paths[1]).channels[0].alignment[0]
        assert alignment.method == "prime onset"
        assert alignment.error_s is not None
        assert alignment.error_s <= sum(intervals)
        covered.append(abs(alignment.offset_s - (onsets[1] - onsets[0])) <= alignment.error_s)
    assert all(covered)


def test_without_primes_a_marker_serves(make: Maker) -> None:
    shape = prime(4.0, length_s=60.0)
    good = make("good", {"pump": shape}, markers=[(3.9, "heater on")])
    suspect = make("suspect", {"pump": shape}, markers=[(4.1, "Heater on")])
    alignment = compare([good], suspect).channels[0].alignment[0]
    assert alignment.method == "marker heater on"
    assert alignment.offset_s == pytest.approx(0.2)


def wave(start_s: float, interval_s: float, seed: int) -> Series:
    """Something that varies, read from a moment on."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 60.0, interval_s)
    t = time_s + start_s
    value = 12 + np.sin(t / 3.1) + 0.6 * np.sin(t / 1.7 + 1) + rng.normal(0, 0.05, len(t))
    return Series(time_s, value, np.full(len(t), 0.01, np.float32), np.zeros(len(t), np.uint16))


def test_else_the_likeness_serves_with_an_error_that_covers() -> None:
    rng = np.random.default_rng(32)
    covered = []
    for k in range(40):
        shift = float(rng.uniform(-8, 8))
        found = best_shift(wave(0.0, 0.25, 2 * k), wave(shift, 0.3, 2 * k + 1))
        assert found is not None
        covered.append(abs(found[0] + shift) <= found[1])
        assert found[1] < 1.5
    assert np.mean(covered) >= 0.95


@pytest.mark.parametrize("wrong", [0.0, 92.6, 1260.0])
@pytest.mark.parametrize("at", [0, 1, 40, -1])
def test_one_wrong_reading_does_not_decide_the_shift(wrong: float, at: int) -> None:
    good, suspect = wave(0.0, 0.25, 1), wave(0.0, 0.25, 2)
    usual = best_shift(good, suspect)
    value = suspect.value.copy()
    value[at] = wrong
    found = best_shift(good, replace(suspect, value=value))
    assert usual is not None
    assert found is not None
    assert found[0] == pytest.approx(usual[0], abs=usual[1])


def test_captures_without_any_likeness_are_not_laid_and_it_is_said(make: Maker) -> None:
    rng = np.random.default_rng(33)

    def restless(_: NDArray[np.float64]) -> NDArray[np.float64]:
        return rng.normal(12, 0.4, _.shape)

    paths = [make(name, {"feed": restless}, length_s=60.0, window_s=0.0) for name in ("one", "two")]
    found = compare([paths[0]], paths[1]).channels[0]
    assert found.alignment[0].error_s is None
    assert not found.bands
    assert "could not be aligned" in found.notes[0]


def test_primes_pair_by_their_key_on_and_not_by_their_order(make: Maker) -> None:
    def primes(*onsets: float) -> Shape:
        return lambda t: np.max([prime(onset)(t) for onset in onsets], axis=0)

    marks = [(onset, "key-on") for onset in (4.0, 16.0, 28.0)]
    good = make("good", {"pump": primes(4.0, 16.0, 28.0)}, markers=marks, length_s=36.0)
    suspect = make("suspect", {"pump": primes(4.0, 28.0)}, markers=marks, length_s=36.0)
    found = compare([good], suspect).channels[0]
    assert {m.part for m in found.measures if m.measure == "prime level"} == {1, 3}
    assert not found.excursions
    seen = {m.measure: m.verdict for m in found.measures}
    assert seen["missing prime per key-on"] == "cannot tell", "one of three may be a key-off too short"
    assert found.verdict == "cannot tell"
    assert "3 in the known-good, 2 in the suspect" in found.notes[0]


def test_the_alignment_can_be_nudged_by_hand(make: Maker) -> None:
    captures = [load(make(name, {"pump": prime(4.0)})) for name in ("good", "suspect")]
    found = compare_captures(captures[:1], captures[1]).channels[0].alignment[0]
    moved = compare_captures(captures[:1], captures[1], nudge_s=1.5).channels[0]
    assert moved.alignment[0].offset_s == pytest.approx(found.offset_s + 1.5)
    assert moved.alignment[0].method == "prime onset, nudged by hand"
    assert moved.excursions


def test_a_capture_knows_its_system(make: Maker) -> None:
    path = make("a", {"pump": 25.0}, details={})
    capture = load(path)
    assert capture.system_v is None
    assert capture.shows_24_v()
