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
    "",
]
COIL = [
    *("coil supply", "12", "key on, run, crank", "none"),
    *("fuse", "", "20", "2", "", "switch", "run contact", "key-on, run", "", "5", ""),
    *("resistor", "ballast", "1.5", "5", "", "load", "coil", "4", "1.5", "5", ""),
    *("bolt", "engine", "5", "", ""),
    *("start bypass", "fuse", "switch", "start contact", "crank", "", "5", "no", "", "coil"),
    *("heater", "run contact", "wire", "", "", "", "5", "no", "lamp", "heater lamp", "1", "", "5", "no", "", "engine"),
    "",
]

PLUG = ["", "5", ""]
TWO_LOADS = [
    *("pump and heater", "12", "key on, run, crank", "none"),
    *("fuse", "", "15", "2", "", "wire", "", "", "", "5", ""),
    *("plug", "pump feed pin", *PLUG, "pump", "pump", "5", "1", "9", "", "plug", "pump ground pin", *PLUG),
    *("bolt", "body", "10", "", ""),
    *("heater side", "fuse", "plug", "heater feed pin", *PLUG, "heater", "heater", "", "9", "5", ""),
    *("plug", "heater ground pin", *PLUG, "", "body", ""),
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


def test_a_bypass_and_a_second_load_are_asked_for_with_the_key_positions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(monkeypatch, COIL)
    file = tmp_path / "coil.toml"
    assert main(["circuit", "new", str(file)]) == 0
    circuit = load_circuit(file)
    assert [(one.id, one.after, one.to) for one in circuit.branches] == [
        ("start bypass", "fuse", "ballast"),
        ("heater", "run contact", "coil"),
    ]
    assert {part.id: part.closed_in for part in circuit.parts if part.closed_in} == {
        "run contact": ("key_on", "run"),
        "start contact": ("crank",),
    }
    assert circuit.loads == (circuit.part_index["coil"], circuit.part_index["heater lamp"])
    drawn = capsys.readouterr().out
    assert "|-. branch heater" in drawn
    assert "switch, closed at crank" in drawn
    assert "nothing feeds" not in drawn
    assert main(["circuit", "check", str(file)]) == 0


@pytest.mark.parametrize(
    ("wet", "leaks"),
    [
        (["pump feed pin", ""], {"pump feed pin": "pump ground pin_out"}),
        (
            ["pump feed pin, heater feed pin", "body_out", "sea", ""],
            {"pump feed pin": "body_out", "heater feed pin": "pump ground pin_out"},
        ),
        (["none"], {}),
        ([""], {}),
    ],
)
def test_plugs_that_may_get_wet_are_asked_for_once_all_places_are_known(
    wet: list[str], leaks: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, [*TWO_LOADS, *wet])
    file = tmp_path / "two.toml"
    assert main(["circuit", "new", str(file)]) == 0
    circuit = load_circuit(file)
    assert circuit.loads == (circuit.part_index["pump"], circuit.part_index["heater"])
    assert {part.id: part.leaks_to for part in circuit.parts if part.leaks_to} == leaks


def test_slips_about_a_branch_are_said_and_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    given = list(COIL)
    where = {"sure": given.index("key on, run, crank"), "again": given.index("start bypass") + 1}
    given[where["again"] : where["again"]] = ["fuze"]
    given[where["again"] - 1 : where["again"] - 1] = ["coil"]
    given[where["sure"] : where["sure"]] = ["key on, sometimes"]
    given[-1:] = ["spare", "", "", ""]
    joins = len(given) - 1 - given[::-1].index("coil")
    given[joins:joins] = ["run contact", "koil"]
    given[1:1] = ["240", "twelve"]
    answers(monkeypatch, given)
    file = tmp_path / "coil.toml"
    assert main(["circuit", "new", str(file)]) == 0
    said = capsys.readouterr().out
    for sentence in (
        "it is a number from 1 to 60 V",
        "'twelve' is not a number",
        "'sometimes' is not one of them",
        "'coil' is used already",
        "'fuze' is not one of them (near it: fuse",
        "it leaves in front of 'run contact' too: nothing would flow in it",
        "'koil' is not one of them (near it: coil",
        "'spare' has no parts and is left out",
    ):
        assert sentence in said
    assert [one.id for one in load_circuit(file).branches] == ["start bypass", "heater"]


def test_a_figure_that_cannot_be_costs_one_part_and_no_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    slip = ["horn", "", "-6", "", "5"]
    k = HORN.index("horn")
    answers(monkeypatch, [*HORN[:k], *slip, *HORN[k:]])
    file = tmp_path / "horn.toml"
    assert main(["circuit", "new", str(file)]) == 0
    assert "'current_a' must be a number from 0.001 up, not -6.0: enter this part again" in capsys.readouterr().out
    assert load_circuit(file).load_a == 6.0


def test_what_was_said_of_a_branch_is_kept_where_the_answers_end_in_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, COIL[: COIL.index("heater lamp")])
    file = tmp_path / "coil.toml"
    main(["circuit", "new", str(file)])
    assert 'id = "heater"' in file.read_text()
    assert 'id = "start contact"' in file.read_text()


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
