"""Checks the report of a job: complaint, what was found, what was put right, before and after, what was left out."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from html import unescape
from pathlib import Path
from shutil import copytree
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.cli import main
from tests.job.conftest import run_job
from tests.job.vehicle import Vehicle

if TYPE_CHECKING:
    from playwright.sync_api import Browser

Run = Callable[..., dict[str, Any]]


def text_of(page: Path) -> str:
    section = page.read_text("utf-8").partition('<section class="job">')[2].partition("</section>")[0]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", section)))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a shop's settings, with a logo."""
    monkeypatch.setenv("METERLOG_SETTINGS", str(tmp_path / "settings.toml"))
    Image.new("RGB", (40, 20), "blue").save(tmp_path / "logo.png")
    (tmp_path / "settings.toml").write_text(
        'currency = "EUR"\nhourly_rate = 84\ndates = "de"\n'
        '[shop]\nname = "Workshop <by> the river"\naddress = ["Mill Lane 3"]\nlogo = "logo.png"\n',
        "utf-8",
    )
    return tmp_path


@pytest.fixture(scope="module")
def mended_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose relay was found, replaced and proved, from typed readings."""
    folder = tmp_path_factory.mktemp("mended") / "van"
    job = partial(run_job, folder)
    vehicle = Vehicle(load_circuit("pump-feed"), {"relay": 1.6})
    job("start", "--complaint", "cranks, does <not> start", "--circuit", "pump-feed", "--set", "customer=A. Customer")
    now = job("measure", "--skip")
    while now["next"]["kind"] == "measure":
        now = job("measure", "--value", vehicle.read(now["next"]))
    vehicle.extra_ohm.clear()
    now = job("repaired", "relay", "--price", "12.5", "--minutes", "10", "--note", "contacts burnt")
    while now["next"]["kind"] == "prove":
        now = job("prove", "--value", vehicle.read(now["next"]))
    assert now["state"] == "proved"
    return folder


@pytest.fixture
def mended(mended_once: Path, folder: Path, job: Run) -> Run:
    """The same job, a copy for this test."""
    copytree(mended_once, folder)
    return job


def written(folder: Path, *words: str) -> Path:
    page = folder / "report.html"
    assert main(["job", "report", str(folder), "--out", str(page), *words]) == 0
    return page


@pytest.mark.usefixtures("mended")
def test_the_customer_reads_what_was_found_put_right_and_proved(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = written(folder)
    assert "needs no network" in capsys.readouterr().out
    said = text_of(page)
    for wanted in (
        "complaint cranks, does <not> start",
        "customer A. Customer",
        "state proved",
        "What was found Relay was at fault: it has too much resistance",
        "Why it is that part relay has too much resistance",
        "The readings rule out: ",
        "relay contacts burnt 10 min 12.50",
        "Parts 12.50, 10 min of work.",
        "✓ proved",
        "before: ",
        "after: ",
        "sound: ",
        "✓ sound",
        "± is the error of a reading",
        "Refused or out of reach: from fuse out to battery minus at key-on",
    ):
        assert wanted in said, wanted
    text = page.read_text("utf-8")
    assert "<not>" not in text
    assert "What to measure next" not in text
    assert text.index('<section class="job">') < text.index('<section class="details">') < text.index("Every reading")


@pytest.mark.usefixtures("mended", "shop")
def test_the_shop_its_logo_and_its_money_are_on_the_page(folder: Path) -> None:
    page = written(folder).read_text("utf-8")
    assert "Workshop &lt;by&gt; the river" in page
    assert "Mill Lane 3" in page
    assert '<img src="data:image/png;base64,' in page
    assert '<body data-dates="de">' in page
    assert "Parts 12.50 EUR, 10 min of work at 84.00 EUR an hour 14.00 EUR, together 26.50 EUR." in page


@pytest.mark.usefixtures("mended", "shop")
def test_the_status_says_what_it_cost_so_far(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["job", "status", str(folder)]) == 0
    assert "Cost so far: parts 12.50 EUR, 10 min of work at 84.00 EUR" in capsys.readouterr().out


@pytest.mark.usefixtures("mended")
def test_a_logo_that_is_gone_is_one_sentence(folder: Path, shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (shop / "logo.png").unlink()
    assert main(["job", "report", str(folder), "--out", str(folder / "report.html")]) == 2
    assert "logo.png' cannot be read" in capsys.readouterr().err
    assert not (folder / "report.html").exists()


def test_photos_stand_with_their_captions_and_a_lost_one_is_said(mended: Run, folder: Path, tmp_path: Path) -> None:
    Image.new("RGB", (300, 200), "red").save(tmp_path / "relay.png")
    mended("photo", str(tmp_path / "relay.png"), "--caption", "burnt <contacts>")
    mended("photo", str(tmp_path / "relay.png"), "--caption", "the new one")
    (folder / "photo-02-relay.jpg").unlink()
    page = written(folder).read_text("utf-8")
    assert page.count('<img src="data:image/jpeg;base64,') == 1
    assert 'alt="burnt &lt;contacts&gt;"' in page
    assert "the new one: the picture &#39;" in page


def test_before_a_repair_the_picture_shows_what_would_have_to_change(job: Run, folder: Path) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    job("measure", "--at", "relay", "--value", "1.6")
    said = text_of(written(folder))
    assert "before: 1.60 V ±0.08" in said
    assert "after: " not in said
    assert "not read again yet" in said


def test_recordings_before_and_after_are_compared(job: Run, folder: Path) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    here = ("--at", "pump", "--state", "prime")
    job("measure", *here, "--meter", "sim:van?fault=relay:high_resistance&seed=3&speed=8")
    job("repaired", "relay")
    now = job("prove", *here, "--meter", "sim:van?seed=4&speed=8")
    page = written(folder)
    text = page.read_text("utf-8")
    names = [reading["session"] for reading in now["readings"]]
    assert all(name in text for name in names)
    assert "(before)" in text
    assert "(after)" in text
    assert "Their recordings, compared: " in text_of(page)


def printed(page: Path, browser: Browser) -> str:
    """The page's text as a browser with scripts shows it."""
    tab = browser.new_page()
    tab.goto(page.as_uri())
    tab.wait_for_function("() => document.querySelectorAll('.main-svg').length >= 0")
    return tab.inner_text("body")


@pytest.mark.usefixtures("mended", "shop")
def test_dates_are_in_the_language_of_the_settings(folder: Path, browser: Browser) -> None:
    page = written(folder)
    assert re.search(r"\d+\. (Januar|Februar|März|April|Mai|Ju[nl]i|August|\w+ber) \d{4}", printed(page, browser))


def test_a_missing_session_is_said_and_its_reading_stays(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    session = job("measure", "--at", "plug_feed", "--meter", "sim:healthy-prime?speed=8")["readings"][0]["session"]
    (folder / session).unlink()
    page = folder / "report.html"
    assert main(["job", "report", str(folder), "--out", str(page)]) == 0
    assert session in capsys.readouterr().err
    assert f"recorded in {session}" in page.read_text("utf-8")


def test_a_report_never_takes_the_place_of_the_job(job: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job("start", "--complaint", "cranks, does not start")
    assert main(["job", "report", str(folder), "--out", str(folder / "job.toml")]) == 2
    assert "must end in .html" in capsys.readouterr().err
