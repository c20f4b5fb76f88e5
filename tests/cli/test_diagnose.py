"""The diagnose command: files, JSON, questions in a real terminal, a live meter, errors in one line."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.readings.from_file import load_measured
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Tried
from meterlog.cli import main
from meterlog.cli.terminal.diagnose_questions import save

READINGS = """
measured = [
  {quantity = "voltage", at = "fuse_out", state = "key_on", value = 12.0},
  {quantity = "voltage", at = "relay_out", state = "key_on", value = 7.0},
  {quantity = "voltage", at = "plug_feed", state = "key_on", value = 7.0},
]
tried = [{feed = "battery", into = "pump_plus", result = "runs"}]
"""


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    path = tmp_path / "readings.toml"
    path.write_text(READINGS)
    return path


@pytest.fixture
def few(tmp_path: Path) -> Path:
    """Readings that leave something to measure."""
    path = tmp_path / "few.toml"
    path.write_text("""measured = [
  {quantity = "voltage", at = "fuse_out", state = "key_on", value = 12.0},
  {quantity = "voltage", at = "relay_out", state = "key_on", value = 7.0},
]""")
    return path


def test_when_one_more_reading_saves_nothing_it_is_enough(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(readings), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    # not over 0.95: while the relay is open, 7 V behind it are also what a bad ground shows that another load lifts
    # (3 %), or a feed from elsewhere (1 %); and the one reading before the relay is a bad one in 2 %
    assert found["hypotheses"][0]["probability"] > 0.9
    assert found["next"] == []
    assert found["choice"].startswith("replacing relay now (10 min) is right in")


def test_with_what_else_it_could_be_ruled_out_the_claim_is_over_95(
    readings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ruled_out = """
  {quantity = "voltage", at = "body", state = "key_on", value = 0.02},
  {quantity = "voltage", at = "fuse_in", state = "key_on", value = 12.1},
  {quantity = "voltage", at = "relay_coil", state = "key_on", value = 12.0},
  {quantity = "voltage", at = "relay_out", state = "off", value = 0.0},
]
tried"""
    readings.write_text(readings.read_text().replace("]\ntried", ruled_out.lstrip("\n")))
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(readings), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["hypotheses"][0]["part"] == "relay"
    assert found["hypotheses"][0]["probability"] > 0.95


def test_json_names_the_part(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(readings), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["hypotheses"][0]["part"] == "relay"
    assert found["hypotheses"][0]["fault"] == "high_resistance"
    assert found["verdict"].startswith("relay")


def test_text_has_verdict_evidence_next_and_caution(
    few: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    with open(os.devnull) as nothing:
        monkeypatch.setattr(sys, "stdin", nothing)
        assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(few)]) == 0
    out = capsys.readouterr().out
    assert "relay: high resistance" in out
    assert "for: 12 V from fuse out to battery minus at key-on" in out
    assert re.search(r"Or act: replacing relay now \(10 min\) is right in \d+ %; one more step", out)
    assert "Measure next:" in out
    assert re.search(r"^  takes about \d+ min$", out, re.MULTILINE)
    assert "bits" not in out
    assert out.index("Measure next:") < out.index("Mind, before you measure:") < out.index("Mind, on this circuit:")
    assert "service information" in out
    assert "guesses" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--circuit", "pump-fed"], "no template"),
        (["--circuit", "."], "is a folder"),
        (["--circuit", ""], "no file is named"),
        (["--circuit", "pump-feed", "--measured", "absent.toml"], "absent.toml"),
        (["--circuit", "pump-feed", "--rates", "absent.toml"], "absent.toml"),
        (["--circuit", "pump-feed", "absent.sqlite"], "absent.sqlite"),
    ],
)
def test_an_error_is_one_line(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", *words, "--json"]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1


def test_an_unknown_point_is_named_with_the_near_ones(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "m.toml"
    path.write_text('measured = [{quantity = "voltage", at = "plug_fed", state = "key_on", value = 1.0}]')
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(path), "--json"]) == 2
    err = capsys.readouterr().err
    assert "'plug_fed'" in err
    assert "plug_feed" in err


def _talk(words: list[str], answers: str) -> str:
    """The command in a real terminal; what it showed."""
    pytest.importorskip("termios", reason="needs pseudo-terminals")
    master, slave = os.openpty()
    command = [sys.executable, "-m", "meterlog", "diagnose", *words]
    with subprocess.Popen(command, stdin=slave, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        os.close(slave)
        os.write(master, answers.encode())
        out, _ = process.communicate(timeout=60)
    os.close(master)
    assert process.returncode == 0, out
    return out


def test_in_a_terminal_it_asks_takes_answers_and_keeps_them(tmp_path: Path) -> None:
    kept = tmp_path / "kept.toml"
    out = _talk(["--circuit", "pump-feed", "--save", str(kept)], "other\nwet\n0,0\nfed pump_plus runs\nend\n")
    assert out.count("Measure next:") == 4
    assert "'wet' is not a number" in out
    assert 'feed = "battery", into = "pump_plus", result = "runs"' in kept.read_text()
    assert "value = 0.0" in kept.read_text()
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(kept), "--json"]) == 0


def test_in_a_terminal_readings_and_trials_are_taken_as_people_write_them(tmp_path: Path) -> None:
    kept = tmp_path / "kept.toml"
    answers = [
        "124",
        "999 V",
        "12,345",
        "2.2 kohm",
        "OL",
        "fed airbag runs",
        "replaced fuze dead",
        "replaced relay",
        "lamp dim at nowhere",
        "12300 mV",
        "lamp bright 5 W at fuse_in, crank",
        "replaced relay dead",
        "Feed pump plus runs",
        "END",
    ]
    out = _talk(["--circuit", "pump-feed", "--save", str(kept)], "\n".join([*answers, ""]))
    for said in (
        "your answer: 124 V is more than a 12 V system can give (30 V at the most)",
        "your answer: 999 V is more than a 12 V system can give",
        "'12,345' can be a decimal comma or a thousand",
        "'2.2 kohm' is not a reading in V",
        "'OL' is not a reading in V: choose the meter's next higher range",
        "'airbag' looks like a restraint or high-voltage circuit",
        "your answer: 'replaced' is 'fuze', which the circuit 'pump feed' does not have (near it: fuse",
        "Then type what came of it: 'replaced relay' with 'runs', 'dead' or 'blew' (a fuse) after it",
        "Switch off and isolate the circuit before taking a part out.",
        "Feed through a fuse no larger than the circuit's own",
    ):
        assert said in out
    before_feeding = out.partition("Feed through a fuse")[0]
    assert "Fuel vapour burns" in before_feeding
    assert "Never probe, feed or load-test airbag" in before_feeding
    assert out.count("Mind, on this circuit:") == 1
    assert "measured 1:" not in out
    assert "'nowhere' is not a place of this circuit" in out
    assert out.count("Measure next:") == 5
    saved = kept.read_text()
    assert saved.count("quantity") == 2
    assert 'state = "crank", load = "connected", value = "bright", watt = 5.0}' in saved
    assert "value = 12.3}" in saved
    assert '{replaced = "relay", result = "dead"}' in saved
    assert '{feed = "battery", into = "pump_plus", result = "runs"}' in saved
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(kept), "--json"]) == 0


def test_names_with_quotes_are_kept_so_that_they_can_be_read_again(tmp_path: Path) -> None:
    circuit_file, kept = tmp_path / "c.toml", tmp_path / "kept.toml"
    fuse = """{id = 'the "big" \\ fuse', kind = "fuse"}"""
    circuit_file.write_text(f'part = [{{id = "b", kind = "battery"}}, {fuse}, {{id = "horn", kind = "load"}}]')
    circuit = load_circuit(circuit_file)
    name = 'the "big" \\ fuse'
    measured = [
        Measurement("voltage", name, value=0.0),
        Measurement("resistance", name, name, "isolated", value=math.inf),
    ]
    save(kept, measured, [Tried("runs", replaced=name)])
    assert load_measured(kept, circuit, templates=False) == (measured, [Tried("runs", replaced=name)])


def test_in_a_terminal_it_takes_the_reading_from_a_meter(tmp_path: Path) -> None:
    kept = tmp_path / "kept.toml"
    out = _talk(
        ["--circuit", "pump-feed", "--save", str(kept), "--meter", "sim:healthy-prime?seed=1&speed=20&point=plug_feed"],
        "\nend\n",
    )
    assert "waiting for a steady reading" in out
    assert "value = 12" in kept.read_text()


def test_answers_that_were_kept_are_never_written_over(few: Path) -> None:
    readings = few
    pytest.importorskip("termios", reason="needs pseudo-terminals")
    before = readings.read_text()
    master, slave = os.openpty()
    command = [sys.executable, "-m", "meterlog", "diagnose", "--circuit", "pump-feed", "--save", str(readings)]
    done = subprocess.run(command, stdin=slave, capture_output=True, text=True, timeout=60, check=False)
    os.close(slave)
    os.close(master)
    assert done.returncode == 2
    assert "--measured" in done.stderr
    assert readings.read_text() == before
    out = _talk(["--circuit", "pump-feed", "--measured", str(readings), "--save", str(readings)], "12.1\nend\n")
    assert "Measure next:" in out
    assert out.index("Measure next:") < out.index("Mind, before you measure:") < out.index("Mind, on this circuit:")
    assert readings.read_text().count("quantity =") == 3


def test_an_absent_measurement_file_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", "absent.toml", "--json"]) == 2
    assert capsys.readouterr().err == "meterlog: there is no file 'absent.toml'\n"


def test_a_complaint_leads_to_the_next_look_and_then_to_a_circuit(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["diagnose", "--complaint", "cranks, does not start", "--look", "prime_heard=no"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "pump-feed" in said
    assert "Look next (1 min):" in said
    assert main([*words, "--look", "fuel_at_rail=no", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["circuit"] == "pump feed"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--circuit is missing; or say --complaint"),
        (["--complaint", "purple"], "'purple' is not a complaint known here"),
        (["--circuit", "pump-feed", "--complaint", "deaf"], "'deaf' is not a complaint known here"),
        (["--complaint", "not charging", "--look", "squeals"], "'squeals' is not KEY=ANSWER"),
        (["--complaint", "not charging", "--look", "squeals=loudly"], "answered by yes, no or unknown"),
        (["--complaint", "not charging", "--look", "belt_tight=no", "--look", "squeals=yes"], "it is the belt"),
    ],
)
def test_a_complaint_that_leads_nowhere_is_one_sentence(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["diagnose", *words]) == 2
    assert said in capsys.readouterr().err
