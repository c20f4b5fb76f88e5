"""A fuse box is swept for a parasitic draw: which fuse, how much with its error, and the sum against the battery."""

from __future__ import annotations

import contextlib
import csv
import re
import sys
import threading
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.driver.steady import steady_level
from meterlog.errors import UsageError
from meterlog.fuses.fuse_table import fuse_named
from meterlog.fuses.sweep import Current, Drop, against_battery, suspects, total
from meterlog.reading import Accuracy, Quantity, Reading
from meterlog_drivers.simulated.van.fuse_box import BATTERY, FuseBox
from tests.waiting import until

KINDS = {"F1": "blade-30A", "F2": "mini-10A", "F3": "mini-15A", "F4": "mini-10A", "F5": "mini-7.5A", "F6": "blade-20A"}
SIM = "sim:fuse-box?speed=1000&seed="


def typing(monkeypatch: pytest.MonkeyPatch, *lines: str) -> list[str]:
    """Type these lines, then end the input; the prompts that were shown."""
    left, prompts = iter(lines), list[str]()

    def ask(prompt: str) -> str:
        prompts.append(prompt)
        line = next(left, None)
        if line is None:
            raise EOFError
        return line

    monkeypatch.setattr("builtins.input", ask)
    return prompts


@pytest.mark.parametrize("seed", range(8))
def test_the_branch_that_stays_awake_is_found_and_nothing_is_missing(
    seed: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    typing(monkeypatch, *(f"{place} {kind}" for place, kind in KINDS.items()), "done")
    out, box = tmp_path / "fuses.csv", FuseBox(seed)
    words = ["sweep", "--meter", f"{SIM}{seed}", "--clamp", f"{SIM}{seed}", "--out", str(out), "--off-for", "90"]
    assert main(words) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"that all may draw together flows through {box.culprit} (" in said
    assert "within their errors the same, so nothing is missing" in said
    assert "perhaps not asleep yet" not in said
    rows = {row["place"]: row for row in csv.DictReader(out.read_text().splitlines())}
    assert rows.keys() == KINDS.keys()
    for place, row in rows.items():
        assert abs(float(row["amperes"]) - box.draw_a(place, 1e6)) <= float(row["error_a"]), place


def test_slips_end_nothing_and_are_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    prompts = typing(
        monkeypatch, "", "F2", "F2 maxi-10A", "F9 10A", "clamp 3 V", "clamp", "undo", "F2 mini-10A", "F2", "undo"
    )
    assert main(["sweep", "--meter", f"{SIM}1"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        "type the fuse's place and kind",
        "say what kind of fuse F2 is",
        "'maxi-10A' is no fuse of the table",
        "the fuse box has no 'F9'",
        "'3 V' is no current",
        "type what the clamp shows",
        "nothing to take back",
        "taken back: F2",
        "a clamp at the battery would say what is missing",
    ):
        assert words in said, words
    assert re.fullmatch(r"\[\d+ s after key-off, asleep in 1 h 1[45] min\] fuse: ", prompts[0]), "whole seconds"
    assert said.count("perhaps not asleep yet") == 1, "the second reading of F2 was taken back"


def test_what_wakes_up_meanwhile_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    typing(monkeypatch, "clamp 0.3A", "clamp 3.1 A")
    assert main(["sweep", "--meter", f"{SIM}1"]) == 0
    assert "it was 0.3 A before: something woke up" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--meter", f"{SIM}1&scale=fuse:mini-10A"], "has a scale"),
        (["--meter", f"{SIM}1", "--off-for", "-3"], "--off-for wants minutes"),
        (["--meter", f"{SIM}1", "--clamp", "nonsense"], "'nonsense' is not an address"),
        (["--meter", "sim:healthy-prime?since_s=3"], "'since_s' belongs to sim:fuse-box"),
    ],
)
def test_what_cannot_be_swept_is_one_sentence(words: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sweep", *words]) == 2
    error = capsys.readouterr().err
    assert says in error
    assert len(error.splitlines()) == 1


def drop(place: str, volts: float, kind: str = "mini-10A") -> Drop:
    return Drop(place, fuse_named(kind), volts, 1e-5, 5000.0)


def test_the_sum_counts_each_fuse_once_whichever_way_the_probes_were() -> None:
    drops = [drop("F1", 0.003), drop("F2", -0.00077), drop("f1", 0.00077)]
    both = total(drops)
    assert both.amperes == pytest.approx(0.2)
    assert 2 * 0.1 * fuse_named("10A").error_share < both.error_a < sum(one.current.error_a for one in drops[1:])


def test_a_fuse_of_the_table_is_called_unverified_and_one_that_was_measured_is_not(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    said = {}
    for kind in ("mini-10A", "7.4mohm"):
        out = tmp_path / f"{kind}.csv"
        typing(monkeypatch, f"F2 {kind}", "done")
        assert main(["sweep", "--meter", f"{SIM}1", "--out", str(out)]) == 0
        said[kind] = " ".join(capsys.readouterr().out.split()) + out.read_text()
    assert said["mini-10A"].count("unverified") == 3, "at the reading, in the sum, in the table"
    assert "F2,mini-10A,0.0077,15," in said["mini-10A"]
    assert "unverified" not in said["7.4mohm"]
    assert "F2,7.4mohm,0.0074,0,typed," in said["7.4mohm"]


def test_what_flows_past_the_fuses_is_stated_by_its_least() -> None:
    fuses = Current(0.2, 0.05)
    assert "at least 0.24 A flows past the fuses" in against_battery(fuses, Current(-0.5, 0.01))
    assert "nothing is missing" in against_battery(fuses, Current(0.24, 0.01))
    assert "a main fuse and those behind it were both counted" in against_battery(fuses, Current(0.1, 0.01))


def test_a_fuse_is_suspected_only_where_its_error_leaves_no_doubt() -> None:
    assert "flows through F1 (100 mA" in suspects([drop("F1", 0.00077)], 0.05)
    assert "no fuse surely" in suspects([drop("F1", 0.00042)], 0.05)


class Listed:
    """A meter that shows the listed values and then ends."""

    def __init__(self, *values: float, quantity: Quantity = Quantity.DC_VOLTAGE) -> None:
        self._left = [Reading(0.0, value, quantity, 1e-4) for value in values]

    def accuracy_of(self, quantity: Quantity) -> Accuracy:
        del quantity
        return Accuracy(0.01, 2.0)

    def open(self):  # type: ignore[no-untyped-def]
        return self

    def read(self, timeout_s: float) -> list[Reading] | None:
        del timeout_s
        return [self._left.pop(0)] if self._left else None

    def close(self) -> None: ...


def test_a_level_is_three_readings_that_agree() -> None:
    value, error_v = steady_level(Listed(0.0, 0.0021, 0.0041, 0.0042, 0.0043), Quantity.DC_VOLTAGE)
    assert value == pytest.approx(0.0042)
    assert error_v == pytest.approx(0.000242)


@pytest.mark.parametrize(
    ("meter", "says"),
    [
        (Listed(0.1, 0.2, 0.3, 0.4), "nothing steady came"),
        (Listed(float("inf"), float("inf"), float("inf")), "an overload"),
        (Listed(1.0, 1.0, 1.0, quantity=Quantity.RESISTANCE), "turn its dial to DC voltage"),
    ],
)
def test_what_is_no_level_is_said(meter: Listed, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        steady_level(meter, Quantity.DC_VOLTAGE)


@pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")
def test_the_emulated_fuse_box_is_swept_over_real_ports(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from meterlog_drivers.simulated.emulation.fuse_box_port import FuseBoxPorts
    from meterlog_drivers.simulated.emulation.ports import PseudoTerminal

    box, ports, answers = FuseBox(3), (PseudoTerminal(), PseudoTerminal()), list[str]()
    encoder = framing_of("status14:x").encoder()
    played = FuseBoxPorts(box, encoder, ports, 10.0, {"interval_s": 0.33, "counts": 4000})

    def say(answer: str) -> None:
        answers.append(answer)
        if answer == "probes off":
            raise EOFError

    def play() -> None:
        with contextlib.suppress(EOFError):
            played.play(say)

    thread = threading.Thread(target=play)
    thread.start()
    places = [box.culprit, next(place for place in KINDS if place != box.culprit)]
    left = iter(places)

    def ask(_: str) -> str:
        place = next(left, None)
        if place is None:
            raise EOFError
        before = len(answers)
        played.tell(place)
        until(lambda: len(answers) > before)
        return f"{place} {KINDS[place]}"

    monkeypatch.setattr("builtins.input", ask)
    meter, clamp = (f"status14:{port.name}" for port in ports)
    try:
        assert main(["sweep", "--meter", meter, "--clamp", clamp]) == 0
    finally:
        played.tell("off")
        thread.join()
        for port in ports:
            port.close()
    said = " ".join(capsys.readouterr().out.split())
    assert f"that all may draw together flows through {box.culprit} (" in said
    assert answers[:2] == [f"probes on {place}" for place in places]


def test_the_box_falls_asleep_but_for_one_branch() -> None:
    for seed in range(20):
        box = FuseBox(seed)
        assert box.draw_a(BATTERY, 0.0) > 2.0
        asleep = box.draw_a(BATTERY, 1e6)
        assert 0.15 < asleep < 0.45
        assert box.draw_a(box.culprit, 1e6) > 0.5 * asleep
