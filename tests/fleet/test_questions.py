"""Checks that a dataset is asked with what people know: the manual's questions, by four libraries, in a notebook."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import dask.dataframe
import duckdb
import numpy as np
import pandas as pd
import polars
import pytest

import meterlog
from meterlog.cli import main
from meterlog.errors import DatasetError
from meterlog.fleet.collect import collect
from tests.bench.fleet.generate import write_session
from tests.bench.fleet.world import DAYS, KINDS, fleet

README = (Path(__file__).parents[2] / "meterlog" / "fleet" / "README.md").read_text("utf-8")
QUESTIONS = re.findall(r"```sql\n(.+?)```", README, re.S)
SEED, VANS, STARTS = 11, 8, 6


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that `fleet` lies in, of a small fleet's starts over a year."""
    made = tmp_path_factory.mktemp("asked")
    for van in fleet(SEED, VANS):
        random = np.random.default_rng((SEED, van.number))
        (made / "recordings" / van.name).mkdir(parents=True)
        for number, day in enumerate(np.linspace(1, DAYS - 1, STARTS)):
            write_session(made / "recordings" / van.name / f"{number}.sqlite", van, float(day), random)
    collect([made / "recordings"], made / "fleet", workers=1)
    return made


@pytest.fixture
def here(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(folder)
    return folder


def asked(number: int) -> pd.DataFrame:
    """The answer to one of the manual's questions."""
    answer = duckdb.sql(QUESTIONS[number])
    assert answer is not None
    frame: pd.DataFrame = answer.df()
    return frame


@pytest.mark.usefixtures("here")
class TestTheManualsQuestions:
    def test_how_long_the_prime_lasts(self) -> None:
        answer = asked(0).set_index("vehicle_kind").seconds
        kinds = {re.sub(r"[\W_]+", "-", kind): seconds for kind, seconds in KINDS.items()}
        for kind, seconds in answer.items():
            assert seconds == pytest.approx(kinds[str(kind)], abs=0.25), "a reading interval"
        assert len(answer) == len({van.kind for van in fleet(SEED, VANS)})

    def test_what_sags_in_the_cold(self) -> None:
        assert asked(1).label.tolist() == ["battery"]

    def test_which_got_worse(self) -> None:
        worn = {van.name for van in fleet(SEED, VANS) if van.wear == "charge"}
        assert worn
        assert worn <= set(asked(2).vehicle)

    def test_events_an_hour(self) -> None:
        faulty = {van.name for van in fleet(SEED, VANS) if van.fault}
        answer = asked(3)
        assert not answer.empty
        assert set(answer.vehicle) <= faulty
        assert (answer.an_hour > 0).all()

    def test_drops_by_the_relays_age(self) -> None:
        answer = asked(4)
        assert answer.drops.sum() == VANS * STARTS
        oldest = max(2026 - van.relay_fitted.year for van in fleet(SEED, VANS))
        assert answer.relay_years.max() in (oldest, oldest + 1)

    @pytest.mark.filterwarnings("ignore::DeprecationWarning")  # Dask's own, of pandas
    def test_four_libraries_say_the_same(self) -> None:
        code = re.search(r"```python\n(.+?)```", README, re.S)
        assert code
        got: dict[str, Any] = {}
        exec(code[1], got)  # as a person types it
        frames = [got["by_meterlog"], got["by_pandas"], got["by_polars"].to_pandas(), got["by_dask"].compute()]
        sums = [(len(frame), float(frame.value.sum()), sorted(set(frame.month.astype(str)))) for frame in frames]
        assert all(one[0] == sums[0][0] and one[2] == sums[0][2] for one in sums)
        assert [one[1] for one in sums] == pytest.approx([sums[0][1]] * 4)
        assert set(got["of_one"].vehicle) == {"van 03"}
        assert (polars.__name__, dask.__name__) == ("polars", "dask")


def test_a_dataset_is_narrowed_by_what_was_entered(folder: Path) -> None:
    dataset = meterlog.dataset(folder / "fleet")
    kind = fleet(SEED, VANS)[3].kind
    some = dataset.where(vehicle_kind=kind.upper(), system_v="12.0")
    assert set(some["sessions"].vehicle) == {van.name for van in fleet(SEED, VANS) if van.kind == kind}
    assert len(some["events"]) < len(dataset["events"])
    assert repr(some).startswith(f"<dataset fleet: {len(some['sessions'])} sessions")


def test_what_cannot_be_asked_is_said(folder: Path) -> None:
    with pytest.raises(DatasetError, match="nothing is known of 'vehicel' for any session: there are circuit, ended"):
        meterlog.dataset(folder / "fleet", vehicel="van 03")
    with pytest.raises(DatasetError, match="no table 'measure'"):
        meterlog.dataset(folder / "fleet")["measure"]
    with pytest.raises(DatasetError, match="is no dataset: make one with"):
        meterlog.dataset(folder / "recordings")


def test_known_good_are_taken_from_a_dataset(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    suspect = str(folder / "recordings" / "van 00" / "0.sqlite")
    kind = fleet(SEED, VANS)[0].kind
    captures = STARTS * sum(van.kind == kind for van in fleet(SEED, VANS))
    for good in ("fleet", "recordings/van 00"):
        assert main(["compare", "--good", str(folder / good), "--where", f"vehicle_kind={kind}", suspect]) == 0
        said = capsys.readouterr().out
        assert (f"{captures} sessions, from" in said) == (good == "fleet")
    assert main(["compare", "--good", str(folder / "fleet"), "--where", "vehicle=van 99", suspect]) == 2
    assert "there are no such sessions in the folder" in capsys.readouterr().err
