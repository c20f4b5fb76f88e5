"""The details command: shows and corrects what was entered about a session."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter


@pytest.fixture
def crank(tmp_path: Path) -> Path:
    """A finished session of two channels."""
    path = tmp_path / "crank.sqlite"
    with SessionWriter.create(path, monotonic_start_s=0.0, details={"vehicle": "van", "system_v": "12"}) as writer:
        for label, point in (("fed", "C12"), ("ground", "")):
            channel = writer.add_channel(label, Quantity.DC_VOLTAGE, point=point)
            writer.append(channel, [Reading(1.0, 12.0, Quantity.DC_VOLTAGE)])
    return path


def test_it_shows_what_was_entered_and_then_what_was_corrected(crank: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["details", str(crank)]) == 0
    assert capsys.readouterr().out.splitlines() == [
        str(crank),
        "  system_v: 12",
        "  vehicle: van",
        "  channel 1: fed (DC voltage) at C12: supply (by its words)",
        "  channel 2: ground (DC voltage): drop across a part (by its words)",
    ]
    corrected = "--set vehicle='blue van' --set system_v= --label 1='pump feed' --point 1='C12, pin 3' --point 2=body"
    assert main(["details", str(crank), *shlex.split(corrected)]) == 0
    assert capsys.readouterr().out.splitlines()[1:] == [
        "  vehicle: blue van",
        "  channel 1: pump feed (DC voltage) at C12, pin 3: supply (by its words)",
        "  channel 2: ground (DC voltage) at body: drop across a part (by its test point)",
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--label feed=x", "--label needs N=TEXT with a channel's number, for example 1='pump feed', not 'feed=x'"),
        ("--point 1", "--point needs N=TEXT"),
        (f"--label {'9' * 5000}=x", "--label needs N=TEXT"),
        ("--label 1=a --label 1=b", "--label gives channel 1 twice"),
        ("--label 3=a", "there is no channel 3 in"),
        ("--label 1=", "a label wants a text"),
        ("--set vehicle= --set vehicle=car", "--set gives 'vehicle' twice"),
        ("--set system_v=twelve", "system_v must be a number"),
        ("--role 1=feed", "--role must be one of supply, drop, current, resistance, control, other, not 'feed'"),
        ("--role drop", "--role needs N=ROLE with a channel's number, for example 1=drop, not 'drop'"),
        ("--role 1=current", "a DC voltage channel can be supply or drop or control or other, not 'current'"),
        ("--role 3=drop", "there is no channel 3 in"),
        ("--point 1=fuse --role 1=supply", "was read at 'fuse', which makes it a drop across a part"),
        ("--set =", "--set needs KEY=VALUE"),
        ("--set van", "--set needs KEY=VALUE"),
    ],
)
def test_what_cannot_be_understood_is_one_line_and_changes_nothing(
    crank: Path, words: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = crank.read_bytes()
    assert main(["details", str(crank), *shlex.split(words)]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
    assert crank.read_bytes() == before


def test_an_unlabelled_channel_is_not_judged_until_its_role_is_entered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "log.sqlite"
    readings = [Reading(0.25 * k, 0.0 if 120 <= k < 128 else 12.4, Quantity.DC_VOLTAGE, 0.01) for k in range(240)]
    with SessionWriter.create(path, monotonic_start_s=0.0) as writer:
        writer.append(writer.add_channel("Pumpe", Quantity.DC_VOLTAGE), readings)
    assert main(["analyze", str(path)]) == 0
    said = capsys.readouterr().out
    assert "[cannot tell] Pumpe: not judged, since nothing says what it measures" in said
    assert "--role 1=ROLE" in said
    assert "[outside]" not in said
    assert "[within]" not in said
    assert "DROPOUT" in said  # what happened is listed all the same
    assert main(["details", str(path), "--role", "1=supply"]) == 0
    assert "channel 1: Pumpe (DC voltage): supply (as entered)" in capsys.readouterr().out
    assert main(["analyze", str(path)]) == 0
    assert "[outside] Pumpe: 1 dropout" in capsys.readouterr().out
    assert main(["details", str(path), "--role", "1="]) == 0
    assert "channel 1: Pumpe (DC voltage): not judged" in capsys.readouterr().out
