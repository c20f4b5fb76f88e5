"""Checks that a dataset is asked with what people know: the manual's questions, by four libraries, in a notebook."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars
import pytest

import meterlog
from meterlog.cli import main
from meterlog.errors import DatasetError
from meterlog.fleet.collect import collect
from tests.bench.fleet.generate import write_session
from tests.bench.fleet.world import DAYS, KINDS, fleet

README = (Path(__file__).parents[2] / "meterlog" / "fleet" / "asking" / "README.md").read_text("utf-8")
QUESTIONS = re.findall(r"```sql\n(.+?)```\n```python\n(.+?)```", README, re.S)
SEED, STARTS, LAST_DAY = 11, 6, DAYS - 1
VANS = fleet(SEED, 8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that `fleet` lies in, of a small fleet's starts over a year."""
    made = tmp_path_factory.mktemp("asked")
    for van in VANS:
        random = np.random.default_rng((SEED, van.number))
        (made / "recordings" / van.name).mkdir(parents=True)
        for number, day in enumerate(np.linspace(1, LAST_DAY, STARTS)):
            write_session(made / "recordings" / van.name / f"{number}.sqlite", van, float(day), random)
    collect([made / "recordings"], made / "fleet", workers=1)
    return made


@pytest.fixture
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(folder)
    return folder


NAMES = "sessions", "events", "measures"
SETUP, *_ = re.findall(r"```python\n(.+?)```", README, re.S)
IMPORTS, _, SOME, FRAMES, LARGER, VIEW, CONTEXT = SETUP.splitlines()
"""Of the manual: what a person types before a question, a line for each kind of frame."""

Answer = dict[Any, float]


def by_pandas(_: str, code: str) -> Answer:
    got: dict[str, Any] = {}
    exec("\n".join((IMPORTS, SOME, FRAMES, code)), got)
    assert set(got["some"].vehicle) == {"van 03"}
    return {key: float(value) for key, value in got["answer"].items()}


def by_dask(_: str, code: str) -> Answer:
    got: dict[str, Any] = {}
    exec("\n".join((IMPORTS, *(LARGER.replace("larger", name).replace("measures", name) for name in NAMES), code)), got)
    return {key: float(value) for key, value in got["answer"].compute().items()}


def by_duckdb(question: str, _: str) -> Answer:
    with duckdb.connect() as connection:
        for name in NAMES:
            exec(VIEW.replace("measures", name), {"duckdb": connection})
        return _answer(connection.sql(question).fetchall())


def by_polars(question: str, _: str) -> Answer:
    context = polars.SQLContext()
    for name in NAMES:
        one = eval(CONTEXT.replace("measures", name), {"polars": polars})
        context.register(name, one.execute(f"SELECT * FROM {name}"))
    frame: polars.DataFrame = context.execute(question).collect()
    return _answer(frame.rows())


def _answer(rows: list[tuple[Any, ...]]) -> Answer:
    return {key: math.nan if value is None else float(value) for key, value in rows}


def the_prime_of_each_kind(answer: Answer) -> None:
    kinds = {re.sub(r"[\W_]+", "-", kind): seconds for kind, seconds in KINDS.items()}
    assert answer == {kind: pytest.approx(seconds, abs=0.25) for kind, seconds in kinds.items()}, "a reading interval"


def the_battery_in_the_cold(answer: Answer) -> None:
    assert set(answer) == {"battery"}
    assert 7.0 < answer["battery"] < 10.0


def the_van_that_charges_less(answer: Answer) -> None:
    by = {van.name: van.worn("charge", LAST_DAY) for van in VANS}
    assert any(by.values())
    assert answer == {name: pytest.approx(worn, abs=0.2) for name, worn in by.items()}


def the_vans_with_faults(answer: Answer) -> None:
    found = {name for name, an_hour in answer.items() if an_hour > 0}
    assert found
    assert found <= {van.name for van in VANS if van.fault}
    assert set(answer) == {van.name for van in VANS}


def the_drops_of_each_age(answer: Answer) -> None:
    sound: dict[int, list[float]] = {}
    for van in VANS:
        sound.setdefault(2026 - van.relay_fitted.year, []).append(van.ground_v)
    worn = {2026 - van.relay_fitted.year for van in VANS if van.wear == "ground"}
    assert worn
    assert set(answer) == set(sound)
    for years, drops in sound.items():
        high = 1.0 if years in worn else np.mean(drops) + 0.01
        assert np.mean(drops) - 0.01 < answer[years] < high


RIGHT = (
    the_prime_of_each_kind,
    the_battery_in_the_cold,
    the_van_that_charges_less,
    the_vans_with_faults,
    the_drops_of_each_age,
)


@pytest.mark.usefixtures("here")
@pytest.mark.filterwarnings("ignore:The inplace keyword")  # of pandas, in Dask's own code
@pytest.mark.parametrize("ask", [by_pandas, by_dask, by_duckdb, by_polars])
@pytest.mark.parametrize("number", range(len(RIGHT)))
def test_each_question_of_the_manual_is_answered_right(number: int, ask: Callable[[str, str], Answer]) -> None:
    assert len(QUESTIONS) == len(RIGHT)
    RIGHT[number](ask(*QUESTIONS[number]))


def test_a_dataset_is_narrowed_by_what_was_entered(folder: Path) -> None:
    dataset = meterlog.dataset(folder / "fleet")
    kind = VANS[3].kind
    some = dataset.where(vehicle_kind=kind.upper(), system_v="12.0")
    assert set(some["sessions"].vehicle) == {van.name for van in VANS if van.kind == kind}
    assert len(some["events"]) < len(dataset["events"])
    assert repr(some).startswith(f"<dataset fleet: {len(some['sessions'])} sessions")


def test_a_dataset_is_narrowed_by_figures_and_days(folder: Path) -> None:
    dataset = meterlog.dataset(folder / "fleet")
    every = dataset["sessions"]
    cold = meterlog.dataset(folder / "fleet", "temperature_c<5", "day>=2026-02", vehicle_kind=VANS[0].kind)
    right = every[(every.temperature_c < 5) & (every.month.astype(str) >= "2026-02")]
    right = right[right.vehicle.isin([van.name for van in VANS if van.kind == VANS[0].kind])]
    assert list(cold["sessions"].session) == list(right.session)
    assert 0 < len(right) < len(every)
    assert repr(cold).endswith(f"temperature_c<5, day>=2026-02, vehicle_kind={VANS[0].kind}>")


def test_what_cannot_be_asked_is_said(folder: Path) -> None:
    with pytest.raises(DatasetError, match="nothing is known of 'vehicel' for any session: there are circuit, day"):
        meterlog.dataset(folder / "fleet", vehicel="van 03")
    with pytest.raises(DatasetError, match="no table 'measure'"):
        meterlog.dataset(folder / "fleet")["measure"]
    with pytest.raises(DatasetError, match="is no dataset: make one with"):
        meterlog.dataset(folder / "recordings")


def test_known_good_are_taken_from_a_dataset(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    suspect = str(folder / "recordings" / "van 00" / "0.sqlite")
    kind = VANS[0].kind
    captures = STARTS * sum(van.kind == kind for van in VANS)
    for good in ("fleet", "recordings/van 00"):
        assert main(["compare", "--good", str(folder / good), "--where", f"vehicle_kind={kind}", suspect]) == 0
        said = capsys.readouterr().out
        assert (f"{captures} sessions, from" in said) == (good == "fleet")
    for some in ("fleet", "recordings/van 00"):
        assert main(["compare", "--good", str(folder / some), "--where", "day<2026-02", suspect, "--json"]) == 0
        assert len(json.loads(capsys.readouterr().out)["good"]) == (len(VANS) if some == "fleet" else 1)
    assert main(["compare", "--good", str(folder / "fleet"), "--where", "vehicle=van 99", suspect]) == 2
    assert "there are no such sessions in the folder" in capsys.readouterr().err
