"""Every sample recording: made as its table says, and the analyzer finds in it what truly happened."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from meterlog.analysis import Analysis, analyze
from meterlog.cli import main
from meterlog.driver import open_address
from meterlog.events.event import Event
from meterlog.reading import Reading
from meterlog.session import open_reader
from meterlog.session.contents import Contents
from meterlog_drivers.simulated.make_recordings import RECORDINGS, Recording, make
from meterlog_drivers.simulated.scenario import Run

FOLDER = Path(__file__).parent.parent / "recordings"
SESSIONS = [r for r in RECORDINGS if r.file.endswith(".sqlite")]
RAW = [r for r in RECORDINGS if r.file.endswith(".raw")]

SAME_MOMENT_S = 0.7
"""A meter shows an event up to two display intervals late."""

DURATIONS = ("prime_pulse", "dropout", "open_circuit")


def named(recording: Recording) -> str:
    return recording.file


@cache
def analysis(file: str) -> Analysis:
    with open_reader(FOLDER / file) as reader:
        return analyze(Contents.of(reader))


def channel_truth(recording: Recording, run: Run) -> list[Event]:
    """The true events of the recorded channels, numbered as in the session."""
    number = {channel + 1: n for n, channel in enumerate(recording.chosen(run), 1)}
    return [e for e in run.truth if e.channel in number]


def test_the_folder_holds_the_table_the_manual_the_notebook_and_nothing_else() -> None:
    listed = {r.file for r in RECORDINGS} | {"README.md", "two-captures.ipynb"}
    assert {path.name for path in FOLDER.iterdir()} == listed
    readme = (FOLDER / "README.md").read_text("utf-8")
    for recording in RECORDINGS:
        row = next(line for line in readme.splitlines() if line.startswith(f"| `{recording.file}` |"))
        assert recording.scenario in row or recording.file.endswith(".raw")
        assert f"seed {recording.seed}" in row or recording.file.endswith(".raw")


@pytest.mark.parametrize("recording", RECORDINGS, ids=named)
def test_none_is_large(recording: Recording) -> None:
    assert (FOLDER / recording.file).stat().st_size < 200_000


@pytest.mark.parametrize("recording", SESSIONS, ids=named)
def test_a_session_holds_what_the_command_makes(recording: Recording, tmp_path: Path) -> None:
    made = make(recording, tmp_path, datetime(2026, 1, 1, tzinfo=UTC))
    with open_reader(FOLDER / recording.file) as kept, open_reader(made) as fresh:
        assert kept.ended == "clean"
        assert kept.channels == fresh.channels
        assert kept.markers == fresh.markers
        for channel in kept.channels:
            a, b = kept.series(channel.number), fresh.series(channel.number)
            assert np.array_equal(a.value, b.value)
            assert np.allclose(a.time_s, b.time_s, atol=1e-6)
            assert np.array_equal(a.flags, b.flags)


@pytest.mark.parametrize("recording", RAW, ids=named)
def test_a_raw_capture_replays_to_the_displayed_readings(recording: Recording) -> None:
    _, meter = open_address(f"replay:{FOLDER / recording.file}?speed=1000")
    connection, readings = meter.open(), list[Reading]()
    while (some := connection.read(1.0)) is not None:
        readings += some
    connection.close()
    run = recording.run()
    displayed = run.displays(recording.chosen(run), 0.0)
    assert [(r.column, r.quantity) for r in readings] == [(r.column, r.quantity) for r in displayed]
    assert [r.value for r in readings] == pytest.approx([r.value for r in displayed], abs=1e-9)
    spacing = np.diff([r.time_s for r in readings])
    assert np.allclose(spacing, np.diff([r.time_s for r in displayed]), atol=1e-3)


@pytest.mark.parametrize("recording", SESSIONS, ids=named)
def test_what_truly_happened_and_could_be_seen_is_found(recording: Recording) -> None:
    run, found = recording.run(), analysis(recording.file)
    for true in channel_truth(recording, run):
        (visible_s,) = {c.watch.shortest_visible_s for c in found.channels if c.channel.number == true.channel}
        if true.kind not in ("missing_prime", "resistance_step") and true.end_s - true.start_s < visible_s:
            continue
        same = [e for e in found.events if (e.kind, e.channel) == (true.kind, true.channel)]
        near = [e for e in same if abs(e.start_s - true.start_s) <= SAME_MOMENT_S]
        assert len(near) == 1, f"{true.kind} at {true.start_s:.2f} s"
        if true.kind in DURATIONS:
            (event,) = near
            assert event.duration_s is not None
            assert event.duration_error_s is not None
            assert true.duration_s is not None
            assert abs(event.duration_s - true.duration_s) <= event.duration_error_s


@pytest.mark.parametrize("recording", SESSIONS, ids=named)
def test_nothing_is_found_where_nothing_happened(recording: Recording) -> None:
    run, found = recording.run(), analysis(recording.file)
    supplies = {n for n, k in enumerate(recording.chosen(run), 1) if run.probes[k].supply}
    true = channel_truth(recording, run)
    for event in found.events:
        if event.channel in supplies or run.quantity(event.channel - 1).unit == "ohm":
            begin, end = event.start_s - SAME_MOMENT_S, event.end_s + SAME_MOMENT_S
            assert any(t.channel == event.channel and t.start_s <= end and t.end_s >= begin for t in true), event


def test_the_known_good_and_the_suspect_differ_and_the_two_good_ones_do_not(
    capsys: pytest.CaptureFixture[str],
) -> None:
    def compared(*words: str) -> str:
        status = main(["compare", *words, "--json"])
        printed = capsys.readouterr().out
        assert status == 0, printed
        verdict = json.loads(printed)["verdict"]
        assert isinstance(verdict, str)
        return verdict

    good = [str(FOLDER / f"key-on-good-{n}.sqlite") for n in (1, 2)]
    assert compared("--good", good[0], "--good", good[1], str(FOLDER / "key-on-suspect.sqlite")) == "different"
    assert compared("--good", good[0], good[1]) != "different"


@pytest.mark.parametrize(
    ("file", "channel", "begin_s", "end_s", "least", "most"),
    [
        ("key-on-suspect.sqlite", 1, 3.9, 4.8, 8.0, 10.0),
        ("drop-test-bad-ground.sqlite", 2, 3.9, 4.6, 1.0, 6.0),
        ("drop-test-good.sqlite", 1, 4.2, 4.8, 0.0, 0.5),
        ("drop-test-good.sqlite", 2, 4.2, 4.8, 0.0, 0.15),
        ("drop-test-good.sqlite", 3, 4.2, 4.8, 4.5, 5.5),
        ("crank-good.sqlite", 1, 5.8, 6.2, 9.6, 11.5),
        ("crank-weak-battery.sqlite", 1, 7.0, 10.0, 7.0, 9.1),
        ("crank-primes-late.sqlite", 1, 10.0, 19.0, 13.0, 14.5),
        ("parasitic-draw.sqlite", 1, 60.0, 79.0, 0.2, 0.45),
    ],
)
def test_the_readings_are_what_the_table_says(
    file: str, channel: int, begin_s: float, end_s: float, least: float, most: float
) -> None:
    with open_reader(FOLDER / file) as reader:
        values = reader.series(channel).between(begin_s, end_s).value
    assert len(values)
    assert least <= values.min()
    assert values.max() <= most


def test_the_circuit_file_of_the_van_and_a_recording_lead_to_the_fault(capsys: pytest.CaptureFixture[str]) -> None:
    circuit = FOLDER.parent / "drivers" / "meterlog_drivers" / "simulated" / "van" / "van.toml"
    assert main(["diagnose", "--circuit", str(circuit), str(FOLDER / "drop-test-bad-ground.sqlite"), "--json"]) == 0
    ranked = [h["part"] for h in json.loads(capsys.readouterr().out)["hypotheses"]]
    ground_side = {"ground_bolt", "ground_wire", "minus_clamp"}
    assert set(ranked[:3]) == ground_side, "two readings cannot tell these three apart, and rule the others out"
