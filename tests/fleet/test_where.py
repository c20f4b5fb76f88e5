"""Sessions are chosen by what a person knows of them: words, figures, days."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.errors import UsageError
from meterlog.fleet.asking.where import Condition, facts_of, fits, where_of
from tests.fleet.conftest import Write

FACTS = facts_of(
    {
        "vehicle": "Van 7",
        "temperature_c": -5.0,
        "month": "2026-03",
        "started_at": datetime(2026, 3, 15, 23, 30, tzinfo=UTC),
        "details": '{"relay_fitted": "2023-05-01", "note": "a<b", "odometer_km": "123000", "bad": "nan"}',
    }
)


@pytest.mark.parametrize(
    ("word", "fit"),
    [
        ("vehicle=van 7", True),
        ("vehicle=van 8", False),
        ("temperature_c=-5", True),
        ("temperature_c<5", True),
        ("temperature_c < -5", False),
        ("temperature_c<=-5.0", True),
        ("temperature_c>-5", False),
        ("temperature_c>=-5", True),
        ("odometer_km>99000", True),
        ("day>=2026-03-15", True),
        ("day>2026-03-15", False),
        ("day<2026-04", True),
        ("day<=2026-03", True),
        ("day<2026-03", False),
        ("month<=2026-03", True),
        ("month>2025", True),
        ("relay_fitted<2024", True),
        ("relay_fitted>2023-05-01", False),
        ("note=a<b", True),
        ("vehicle<5", False),
        ("bad<5", False),
        ("bad=nan", True),
        ("absent<5", False),
    ],
)
def test_a_condition_is_as_a_person_reads_it(word: str, fit: bool) -> None:
    assert fits(FACTS, where_of([word])) == fit


def test_all_conditions_are_to_hold() -> None:
    wanted = where_of(["temperature_c>-10", "temperature_c<0"], {"vehicle": "VAN 7"})
    assert fits(FACTS, wanted)
    assert not fits(FACTS, (*wanted, Condition("temperature_c", "<", "-6")))


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("vehicle", "--where needs KEY=VALUE"),
        ("=5", "--where needs KEY=VALUE"),
        ("temperature_c<", "--where needs KEY=VALUE"),
        ("temperature_c<cold", "needs a number or a date, as 2026-03-15 or 2026-03, not 'cold'"),
        ("day<15.3.2026", "needs a number or a date"),
        ("circuit<5", "needs a number or a date"),
    ],
)
def test_what_is_no_condition_is_refused(word: str, said: str) -> None:
    with pytest.raises(UsageError, match=re.escape(said)):
        where_of([word])


SINGLE = (["--good", "A", "A"], ["--good", "FOLDER", "--good", "A", "A"], ["--before", "A", "--after", "A"])


@pytest.mark.parametrize("sides", SINGLE, ids=" ".join)
def test_beside_single_sessions_nothing_is_to_be_chosen(
    write: Write, capsys: pytest.CaptureFixture[str], sides: list[str]
) -> None:
    path = write("a")
    words = [{"A": str(path), "FOLDER": str(path.parent)}.get(word, word) for word in sides]
    assert main(["compare", *words, "--where", "vehicle=van a"]) == 2
    assert "--where chooses among the sessions of a folder or dataset" in capsys.readouterr().err


def test_a_folder_is_narrowed_by_its_list(write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    folder: Path = write("a").parent
    suspect = write("b", month=2)
    words = ["compare", "--good", str(folder), str(suspect), "--where"]
    assert main([*words, "day<2026-02"]) == 0
    assert main([*words, "day<2026"]) == 2
    assert "there are no such sessions in the folder" in capsys.readouterr().err
    (folder / "torn.sqlite").write_bytes(b"no session")
    assert main([*words, "day<2026-02"]) == 2
    assert "torn.sqlite" in capsys.readouterr().err
