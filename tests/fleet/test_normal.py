"""Checks what is normal by many sessions: of vehicles where there are enough, with what does not belong named."""

from __future__ import annotations

import base64
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from meterlog.cli import main
from meterlog.comparing.combine import false_alarm
from meterlog.fleet.asking.normal import Normal, normal_of, sentence

BEGAN = datetime(2026, 1, 1, tzinfo=UTC)


def measures(values: dict[str, list[float]], error: float = 0.01) -> pd.DataFrame:
    """A table of one measure: vehicle by vehicle what its sessions show, the oldest first."""
    rows = [
        {"session": f"{vehicle}-{number}", "vehicle": vehicle or None, "value": value, "started_at": number}
        for vehicle, some in values.items()
        for number, value in enumerate(some)
    ]
    frame = pd.DataFrame(rows).assign(label="feed", quantity="dc_voltage", measure="charge", unit="V", error=error)
    return frame.assign(started_at=[BEGAN + timedelta(days=int(day)) for day in frame.started_at])


def one(values: dict[str, list[float]]) -> Normal:
    (found,) = normal_of(measures(values))
    return found


def fleet_of(vehicles: int, sessions: int, seed: int) -> dict[str, list[float]]:
    random = np.random.default_rng(seed)
    return {
        f"van {number}": (random.normal(14.1, 0.2) + random.normal(0, 0.05, sessions)).tolist()
        for number in range(vehicles)
    }


def test_of_each_vehicle_only_its_newest_session_counts() -> None:
    values = fleet_of(12, 3, 1)
    found = one(values)
    assert (found.of, found.vehicles, found.captures, found.used) == ("vehicle", 12, 36, 12)
    assert found == one({vehicle: [*some[:-1], some[-1]] for vehicle, some in values.items()})
    newest = one({vehicle: some[-1:] for vehicle, some in values.items()})
    assert (found.low, found.high, found.middle) == (newest.low, newest.high, newest.middle)
    assert "95% of such vehicles, by 12 vehicles; 95% sure" in sentence(found)


def test_a_vehicle_in_another_spelling_is_no_other_vehicle() -> None:
    values = fleet_of(9, 1, 5)
    found = one(values | {" Van  3": [14.0]})
    assert (found.of, found.vehicles, found.captures) == ("capture", 9, 10)


def test_many_sessions_of_few_vehicles_speak_of_these_alone() -> None:
    found = one(fleet_of(3, 20, 2))
    assert (found.of, found.used) == ("capture", 60)
    assert "95% of captures of these 3 vehicles, by 60" in sentence(found)


def test_of_few_nothing_is_said_but_the_middle() -> None:
    found = one(fleet_of(4, 1, 3))
    assert found.low is None
    assert sentence(found) == "too few to say what is normal: 4, and 10 are needed"


def test_what_does_not_belong_is_named_and_widens_nothing() -> None:
    sound = fleet_of(15, 1, 4)
    found, without = one(sound | {"van bad": [9.0]}), one(sound)
    assert [(odd.vehicle, odd.value) for odd in found.odd] == [("van bad", 9.0)]
    assert (found.low, found.high) == (without.low, without.high)


@pytest.mark.parametrize("sound", [12, 43])
def test_the_chance_of_a_false_alarm_is_kept(sound: int) -> None:
    random = np.random.default_rng(sound)
    chances = [false_alarm(random.lognormal(0, 1, sound).tolist(), random.lognormal(0, 1)) for _ in range(4000)]
    for limit in (0.1, 0.2, 0.5):
        assert np.mean(np.array(chances) <= limit) <= limit + 3 * (limit * (1 - limit) / 4000) ** 0.5


def test_in_a_terminal_and_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["normal", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "prime duration: " in said
    assert main(["normal", str(folder), "--json"]) == 0
    (first, *_) = json.loads(capsys.readouterr().out)["normal"]
    assert set(first) == set(Normal.__slots__)
    assert main(["normal", str(folder), "--where", "vehicle"]) == 2
    assert "--where needs KEY=VALUE" in capsys.readouterr().err
    assert main(["normal", str(folder / "none")]) == 2
    assert "neither a dataset nor a folder" in capsys.readouterr().err


def test_a_report_draws_each_measure(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "normal.html"
    assert main(["normal", str(folder), "--out", str(out)]) == 0
    page = out.read_text("utf-8")
    assert "prime duration: " in capsys.readouterr().out
    assert "<h2>pump feed: prime duration</h2>" in page
    assert str(folder.parent) not in page, "a customer needs no path"
    figures = re.findall(r'class="figure">(.*?)</script>', page)
    assert len(figures) == page.count("<h2>") > 3
    (captures, left_out) = json.loads(figures[0])["data"]
    assert len(base64.b64decode(captures["x"]["bdata"])) // 8 + len(base64.b64decode(left_out["x"]["bdata"])) // 8 > 1
    assert main(["normal", str(folder), "--out", str(out)]) == 2
    assert "normal.html" in capsys.readouterr().err
