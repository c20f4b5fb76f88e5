"""The circuit in the report: the chain with its chances, what was read where, what is excluded, what comes next."""

from __future__ import annotations

import dataclasses
import html
from pathlib import Path

import pytest

from meterlog.cautions import applying
from meterlog.circuit import load_circuit
from meterlog.circuit.acts import beginning
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.from_file import load_measured
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried
from meterlog.cli.main import main
from meterlog.loaded import load
from meterlog.report import CircuitPart, build_report, circuit_part
from meterlog.text.figures import percent
from tests.report.conftest import HOSTILE, Make
from tests.report.test_report import text_of as escaped_text_of

BURNT_RELAY = """measured = [
  {quantity = "voltage", at = "fuse_out", state = "key_on", value = 12.0},
  {quantity = "voltage_drop", at = "relay", state = "key_on", value = 2.1},
  {quantity = "voltage", at = "plug_feed", state = "key_on", value = 9.7},
]
tried = [{feed = "battery", into = "pump_plus", result = "runs"}]
"""


def text_of(page: str) -> str:
    """Return what a person reads."""
    return html.unescape(escaped_text_of(page))


@pytest.fixture(scope="module")
def diagnoser() -> Diagnoser:
    return Diagnoser(load_circuit("pump-feed"))


@pytest.fixture
def measured_file(tmp_path: Path) -> Path:
    path = tmp_path / "readings.toml"
    path.write_text(BURNT_RELAY, "utf-8")
    return path


@pytest.fixture
def burnt_relay(diagnoser: Diagnoser, measured_file: Path) -> CircuitPart:
    return circuit_part(
        diagnoser, *load_measured(measured_file, diagnoser.circuit), ["pump current left out: a reason"]
    )


def test_the_page_says_the_same_as_the_diagnosis(diagnoser: Diagnoser, burnt_relay: CircuitPart, make: Make) -> None:
    text = text_of(build_report([load(make())], circuit=burnt_relay))
    known = diagnoser.diagnose(
        [Measurement("voltage", "fuse_out", value=12.0), Measurement("voltage_drop", "relay", "relay", value=2.1),
         Measurement("voltage", "plug_feed", value=9.7)],
        [Tried("runs", "battery", "pump_plus")],
        suggestions=1,
    )  # fmt: skip
    assert known.hypotheses[0].part == "relay"
    for part in known.hypotheses:
        assert percent(part.probability) in text or part.probability < 0.01
    assert known.next == ()
    for wanted in (
        "nearly certain, ",
        "very unlikely, under 1 %",
        "high resistance, ",
        "2.1 V across relay at key-on",
        "9.7 V from plug feed to battery minus at key-on",
        "fed pump plus from battery, and it ran",
        known.enough,
        *known.repair_cautions,
        *applying(beginning(diagnoser.circuit)),
        known.rates_source,
        "pump current left out: a reason",
        "From 3 readings",
    ):
        assert wanted in text, wanted
    for caution in applying(beginning(diagnoser.circuit), burnt_relay.act):
        assert text.count(caution) == 1, caution
    assert text.count("licensed practice") == 1


def test_the_chain_is_whole_and_each_reading_stands_once_at_its_place(burnt_relay: CircuitPart) -> None:
    names = [link.part.name for link in burnt_relay.chain]
    assert names == [part.id.replace("_", " ") for part in load_circuit("pump-feed").parts]
    at = {link.part.name: link.readings for link in burnt_relay.chain if link.readings}
    assert {name: len(readings) for name, readings in at.items()} == {"fuse": 1, "relay": 1, "feed wire": 1}
    assert next(link.command for link in burnt_relay.chain if link.part.name == "relay")


def test_a_part_remains_is_excluded_or_was_rare_and_never_two_of_these(
    diagnoser: Diagnoser, burnt_relay: CircuitPart
) -> None:
    groups = [[one.chance.name for one in burnt_relay.remaining], burnt_relay.excluded, burnt_relay.rare]
    every = sorted(name for group in groups for name in group)
    assert every == sorted([*(link.part.name for link in burnt_relay.chain), "relay coil"])
    assert groups[0][0] == "relay"
    assert {"relay coil", "fuse"} <= set(burnt_relay.excluded)
    nothing = circuit_part(diagnoser, [], [])
    assert nothing.excluded == []
    assert nothing.verdict.startswith("Nothing is measured yet")


def test_contradictions_are_named_in_it(diagnoser: Diagnoser, make: Make) -> None:
    twice = [Measurement("voltage", "fuse_out", value=value) for value in (12.1, 6.0)]
    text = text_of(build_report([load(make())], circuit=circuit_part(diagnoser, twice, [])))
    assert "12.1 V and 6 V were both read from fuse out to battery minus at key-on" in text


def test_names_typed_into_a_circuit_file_stay_text(diagnoser: Diagnoser, make: Make) -> None:
    circuit = dataclasses.replace(diagnoser.circuit, name=HOSTILE)
    part = dataclasses.replace(circuit_part(diagnoser, [], []), name=circuit.name, not_used=[HOSTILE], rates=HOSTILE)
    page = build_report([load(make())], circuit=part)
    assert "<script>window.bad" not in page
    assert "<img src=x" not in page


def test_from_the_command_line(
    make: Make, measured_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "page.html"
    session = str(make())
    command = ["report", session, "--out", str(out)]
    assert main([*command, "--circuit", "pump-feed", "--measured", str(measured_file)]) == 0
    text = text_of(out.read_text("utf-8"))
    assert "Which part is it: pump feed" in text
    assert "'pump feed' is not a point of the circuit" in text
    assert main([*command, "--replace"]) == 0
    assert "Which part is it" not in text_of(out.read_text("utf-8"))
    assert main([*command, "--replace", "--measured", str(measured_file)]) == 2
    assert "need --circuit" in capsys.readouterr().err
    assert main([*command, "--replace", "--circuit", "no-such"]) == 2
    assert "no-such" in capsys.readouterr().err


def test_a_session_recorded_after_the_repair_says_nothing_of_the_fault(make: Make, tmp_path: Path) -> None:
    before, after = (
        str(make(name, text="plug_feed", details={"system_v": "12"} | more))
        for name, more in (("before", {}), ("after", {"repaired": "relay"}))
    )
    out = tmp_path / "page.html"
    assert main(["report", before, after, "--circuit", "pump-feed", "--out", str(out)]) == 0
    text = text_of(out.read_text("utf-8"))
    assert text.count("12.4 V from plug feed to battery minus at key-on") == 1
    assert "recorded after the repair (relay)" in text
