"""Checks the circuit command: the drawn chain, the questions of a new one, and that no answer is lost."""

from __future__ import annotations

import builtins
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.circuit import load_circuit
from meterlog.cli import main

HORN = [
    *("my horn", "", "key_on, run", "none"),
    *("fuse", "", "15", "2", ""),
    *("wire", "feed_wire", "black/red", "16 AWG", "2", "10", ""),
    *("horn", "", "6", "", "5", ""),
    *("relay", "", "", "30-87", "5", "no"),
    *("bolt", "body", "10", "", ""),
]


def answers(monkeypatch: pytest.MonkeyPatch, given: list[str]) -> None:
    left: Iterator[str] = iter(given)

    def answer(_question: str = "") -> str:
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr(builtins, "input", answer)


def test_a_template_is_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["circuit", "check", "pump-feed"]) == 0
    said = capsys.readouterr().out
    assert "| relay            relay contact, closed by relay_coil" in said
    assert "Nothing odd." in said


def test_a_circuit_is_asked_for_written_and_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(monkeypatch, HORN)
    file = tmp_path / "horn.toml"
    assert main(["circuit", "new", str(file)]) == 0
    circuit = load_circuit(file)
    assert [part.id for part in circuit.parts] == ["battery", "fuse", "feed_wire", "horn", "relay", "body"]
    assert circuit.parts[1].rating_a == 15.0
    assert circuit.parts[2].resistance_ohm == pytest.approx(0.0263, rel=0.01)  # 2 m of 1.31 mm2
    assert circuit.commands == {"relay_coil": 4}
    assert "'relay' switches the ground side" in capsys.readouterr().out


def test_wrong_answers_are_asked_again_and_undo_takes_a_part_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = ["sparkle", "undo", "fuse", "squib", "", "fifteen", "15", "", "", "undo"]
    answers(monkeypatch, [*HORN[:4], *odd, *HORN[4:]])
    file = tmp_path / "horn.toml"
    assert main(["circuit", "new", str(file)]) == 0
    said = capsys.readouterr().out
    assert "'sparkle' is not a kind of part" in said
    assert "nothing to take back" in said
    assert "'fifteen' is not a number" in said
    assert "'fuse' is taken back" in said
    assert [part.id for part in load_circuit(file).parts][1] == "fuse"


def test_answers_that_end_early_are_kept_and_what_is_missing_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(monkeypatch, HORN[:9])
    file = tmp_path / "horn.toml"
    assert main(["circuit", "new", str(file)]) == 2
    said = capsys.readouterr().err
    assert "holds what was entered and cannot be used yet" in said
    assert "no 'part' is of kind motor or load" in said
    assert "rating_a = 15.0" in file.read_text()


def test_no_file_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mine.toml"
    file.write_text("keep me")
    assert main(["circuit", "new", str(file)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert file.read_text() == "keep me"
