"""Acting now beside one more step: minutes always, money where a person entered it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.circuit.cost import Choice, Money, choice
from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.readings.measurement import Measurement
from meterlog.cli.main import main

RELAY = Choice("relay", True, 0.81, 0.97, 10, 2, 12.0, Money())


def test_without_an_hours_price_only_minutes_count() -> None:
    assert RELAY.text == (
        "replacing relay now (12 and 10 min) is right in 81 %; one more step (2 min) makes it 97 %"
    )  # fmt: skip
    assert RELAY.loss_now == pytest.approx(0.19 * 30)
    assert RELAY.loss_after == pytest.approx(2 + 0.03 * 30)
    assert RELAY.pays


def test_money_is_said_and_counts_where_it_was_entered() -> None:
    dear = Choice("relay", True, 0.81, 0.97, 10, 2, 12.0, Money(60.0, "EUR"))
    assert "12 EUR and 10 min, 22 EUR in all" in dear.text
    assert "one more step (2 min, 2 EUR)" in dear.text
    assert dear.text.endswith("being wrong costs 8 EUR on the average now, 3.3 EUR with the step")
    cheap = Choice("fuse", True, 0.97, 0.98, 2, 5, 1.0, Money(60.0, "EUR"))
    assert not cheap.pays


def test_a_command_has_no_part_to_buy_and_takes_long_to_trace() -> None:
    tool = Diagnoser(load_circuit("pump-feed"))
    step = tool.diagnose([]).steps[0]
    found = choice(tool.circuit, "relay_coil", 0.85, step, Money(60.0, "EUR", {"relay": 12.0}))
    assert found.price is None
    assert found.text.startswith("tracing now why relay_coil does not come (40 min, 40 EUR)")
    assert not found.quicker


def _choice(capsys: pytest.CaptureFixture[str], measured: Path, *words: str) -> str:
    capsys.readouterr()
    assert main(["diagnose", "--circuit", "pump-feed", "--measured", str(measured), *words, "--json"]) == 0
    return str(json.loads(capsys.readouterr().out)["choice"])


def test_prices_come_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured = tmp_path / "readings.toml"
    rows = [
        Measurement("voltage", "fuse_out", value=12.3),
        Measurement("voltage", "relay_out", value=0.0),
        Measurement("voltage", "relay_coil", value=12.1, at_coil=True),
    ]
    lines = ", ".join(
        "{" + ", ".join(f"{key} = {json.dumps(value)}" for key, value in m.as_row().items()) + "}" for m in rows
    )
    measured.write_text(f"measured = [{lines}]")
    assert "replacing relay now (10 min)" in _choice(capsys, measured)
    assert "12 and 10 min, 22 in all" in _choice(capsys, measured, "--rate", "60", "--price", "relay=12")
    command = ["diagnose", "--circuit", "pump-feed", "--measured", str(measured), "--json"]
    for words, said in (
        (["--price", "relais=12"], "no part 'relais'"),
        (["--price", "relay=dear"], "price_relay must be a number"),
        (["--rate=-1"], "hourly_rate must be a number"),
    ):
        assert main([*command, *words]) == 2
        assert said in capsys.readouterr().err


def test_a_job_keeps_what_things_cost(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(tmp_path / "van")
    prices = ["--set", "hourly_rate=60", "--set", "price_relay=12", "--set", "currency=EUR"]
    begin = ["job", "start", folder, "--complaint", "no start", "--circuit", "pump-feed", *prices]
    assert main(begin) == 0
    for at, value in (("fuse_out", "12.3"), ("relay_out", "0"), ("relay_coil", "12.1")):
        capsys.readouterr()
        assert main(["job", "measure", folder, "--at", at, "--value", value, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)["diagnosis"]["choice"]
    assert "replacing relay now (12 EUR and 10 min, 22 EUR in all)" in said
    capsys.readouterr()
    assert main(["job", "start", str(tmp_path / "other"), "--complaint", "x", "--set", "price_relay=dear"]) == 2
    assert "price_relay must be a number" in capsys.readouterr().err


def test_the_price_of_a_part_that_the_circuit_does_not_have_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "van"
    begin = ["job", "start", str(folder), "--complaint", "no start", "--circuit", "pump-feed"]
    assert main([*begin, "--set", "price_relai=12"]) == 2
    said = capsys.readouterr().err
    assert "the circuit has no part 'relai' (did you mean 'relay'?)" in said
    assert said.count("\n") == 1
    assert not folder.exists()


def test_a_price_from_before_the_circuit_was_chosen_is_said_to_count_nowhere_where_it_has_no_such_part(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(tmp_path / "van")
    assert main(["job", "start", folder, "--complaint", "x", "--set", "price_relai=12", "--set", "price_fuse=1"]) == 0
    assert "counts nowhere" not in capsys.readouterr().out
    assert main(["job", "look", folder, "circuit=pump-feed"]) == 0
    said = [line for line in capsys.readouterr().out.splitlines() if "counts nowhere" in line]
    assert len(said) == 1
    assert "the circuit has no part 'relai' (did you mean 'relay'?)" in said[0]
