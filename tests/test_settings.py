"""Checks the user's settings: what a person saves and writes is read again, and a slip is named with its line."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.errors import MeterlogError
from meterlog.session import open_reader
from meterlog.settings import Settings, meter_address, read_settings
from tests.waiting import record_some

WRITTEN = """\
# mine
currency = "EUR"
hourly_rate = 85
dates = "de"
quiet = true

[shop]
name = "Workshop by the river"  # since 1990
logo = "logo.png"
address = ["Mill Lane 3", "Riverside"]

[meters.clamp]
address = "sim:healthy-prime?seed=3"
label = "clamp"
"""


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "of a user" / "settings.toml"
    monkeypatch.setenv("METERLOG_SETTINGS", str(path))
    return path


@pytest.fixture
def written(path: Path) -> Path:
    path.parent.mkdir()
    path.write_text(WRITTEN, "utf-8")
    return path


def test_without_a_file_the_defaults_stand(path: Path) -> None:
    assert read_settings() == Settings()
    assert not path.exists()


def test_what_a_person_wrote_is_read(written: Path) -> None:
    found = read_settings()
    assert (found.currency, found.hourly_rate, found.dates, found.quiet) == ("EUR", 85, "de", True)
    assert found.shop.name == "Workshop by the river"
    assert found.shop.address == ("Mill Lane 3", "Riverside")
    assert found.shop.logo == written.parent / "logo.png"


def test_without_the_variable_the_file_lies_where_the_system_keeps_settings(tmp_path: Path) -> None:
    of_user = {key: value for key, value in os.environ.items() if key != "METERLOG_SETTINGS"}
    code = "from meterlog.settings import settings_path; print(settings_path())"
    homes = {"XDG_CONFIG_HOME": str(tmp_path), "HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path)}
    done = subprocess.run([sys.executable, "-c", code], env=of_user | homes, capture_output=True, text=True, check=True)
    found = Path(done.stdout.strip())
    assert found.name == "settings.toml"
    assert found.parent.name == "meterlog"


def test_a_saved_meter_is_recorded_by_its_name(
    written: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = "sim:healthy-prime?seed=7&speed=20&label=pump+feed&point=plug_feed"
    assert main(["meters", "--save", "pump", typed]) == 0
    assert "--meter pump" in capsys.readouterr().out
    text = written.read_text("utf-8")
    assert "# mine" in text
    assert "# since 1990" in text
    out = tmp_path / "a.sqlite"
    record_some(out, "--meter", "pump")
    with open_reader(out) as reader:
        assert [(channel.label, channel.point) for channel in reader.channels] == [("pump feed", "plug_feed")]


def test_the_first_saved_meter_makes_the_file(path: Path) -> None:
    assert main(["meters", "--save", "pump", "sim:healthy-prime?label=pump"]) == 0
    assert str(meter_address("pump")) == "sim:healthy-prime?label=pump"
    assert main(["meters", "--save", "pump", "sim:no-command"]) == 0
    assert str(meter_address("pump")) == "sim:no-command"
    assert path.read_text("utf-8").count("[meters.pump]") == 1


@pytest.mark.usefixtures("written")
def test_options_after_the_name_count_more_than_the_saved_ones() -> None:
    assert meter_address("clamp?label=starter").options == {"seed": "3", "label": "starter"}


@pytest.mark.usefixtures("written")
def test_a_job_keeps_the_address_since_the_name_stays_behind(tmp_path: Path) -> None:
    job = tmp_path / "van"
    assert main(["job", "start", str(job), "--complaint", "cranks, does not start", "--meter", "clamp"]) == 0
    assert 'meters = ["sim:healthy-prime?seed=3&label=clamp"]' in (job / "job.toml").read_text("utf-8")


@pytest.mark.usefixtures("written")
def test_a_name_nearly_right_gets_the_nearest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["record", "--meter", "clam", "--out", str(tmp_path / "x.sqlite")]) == 2
    assert "there is no saved meter 'clam' (did you mean 'clamp'?)" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("slip", "said"),
    [
        ('hourly_rate = "85"', "line 2: 'hourly_rate' must be a number"),
        ("hourly_rate = nan", "line 2: 'hourly_rate' must be a number"),
        ("curency = 3", "line 2: 'curency' is unknown (did you mean 'currency'?)"),
        ('quiet = "yes"', "line 2: 'quiet' must be true or false"),
        ('dates = "German, please"', "line 2: 'dates' must be a language"),
        ("shop = 1", "line 2: 'shop' must be a table [shop]"),
        ('[shop]\naddress = "Mill Lane"', "line 3: 'address' must be a list of texts"),
        ("[meters]\nclamp = 1", "line 3: 'clamp' must be a table"),
        ("[meters.clamp]\nlabel = 'x'", "line 2: 'address' must be the meter's address"),
        ("currency = ", "line 2: this is not TOML"),
    ],
)
def test_a_damaged_file_is_one_sentence_and_stays_as_it_is(
    path: Path, slip: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path.parent.mkdir()
    path.write_text(f"# first\n{slip}\n", "utf-8")
    with pytest.raises(MeterlogError):
        read_settings()
    assert main(["meters", "--save", "pump", "sim:healthy-prime"]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert str(path) in err
    assert path.read_text("utf-8") == f"# first\n{slip}\n"


@pytest.mark.parametrize("name", ["", "a b", "../x", "a:b", "a.b"])
def test_a_name_that_could_be_mistaken_is_refused(path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["meters", "--save", name, "sim:healthy-prime"]) == 2
    assert "letters, figures, - and _ only" in capsys.readouterr().err
    assert not path.exists()
