"""The values of a meter that shows several are counted and named before the start."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from meterlog.address import Address
from meterlog.driver.discover import Found
from meterlog.errors import MeterlogError, UsageError
from meterlog.reading import Quantity, Reading
from meterlog.session import open_reader
from meterlog_dashboard.record.columns import named, names_of
from meterlog_dashboard.record.recorder_process import Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.test_job_view import served
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PORT = "text:/dev/ttyUSB7?profile=two-column"
HEARD = Found(
    "/dev/ttyUSB7",
    address=Address.parse(PORT),
    readings=tuple(Reading(0.0, 12.0, Quantity.DC_VOLTAGE, 0.01, column=k) for k in (1, 0, 1)),
)


@pytest.mark.parametrize(
    ("address", "names"),
    [
        ("sim:healthy-prime", ["pump feed"]),
        ("sim:drop-test", ["feed side drop", "ground side drop", "pump current"]),
        (PORT, ["", ""]),
        (PORT.replace("7", "8"), []),
        ("auto:/dev/ttyUSB7", []),
        ("no-such:thing", []),
        ("", []),
    ],
)
def test_the_meter_or_what_was_heard_of_it_says_how_many_values_it_shows(address: str, names: list[str]) -> None:
    assert names_of(address, [HEARD]) == names


def fields(*labels: str, points: tuple[str, ...] = ("", "")) -> tuple[list[str], list[dict[str, Any]]]:
    texts = [("label", labels), ("point", points)]
    every = [
        (text, {"column-part": part, "meter": 2, "column": k}) for part, own in texts for k, text in enumerate(own)
    ]
    return [text for text, _ in every], [id_ for _, id_ in every]


def test_what_is_named_becomes_the_labels_of_the_columns() -> None:
    assert named(*fields(" feed ", "ground")) == {2: ("feed,ground", "")}
    assert named(*fields("feed", "ground", points=("C12", ""))) == {2: ("feed,ground", "C12,")}
    assert named([], []) == {}


@pytest.mark.parametrize(
    ("labels", "said"),
    [
        (("feed", ""), "meter 2 shows 2 values at once: name each"),
        (("feed", "feed"), "two values of meter 2 have the same name"),
        (("feed", "a, b"), "a comma begins the next"),
    ],
)
def test_a_value_without_a_name_of_its_own_is_refused(labels: tuple[str, str], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        named(*fields(*labels))


def test_three_values_are_named_on_the_page_before_the_start(browser: Browser, tmp_path: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    with served(tmp_path) as (address, _):
        page.goto(f"{address}/record")
        page.evaluate("localStorage.setItem('meterlog-cautions-read', '[\"dc_voltage\"]')")
        page.reload()
        page.get_by_label("Meter: address").fill("sim:drop-test?seed=3")
        page.get_by_text("It shows 3 values at once").wait_for()
        assert page.get_by_label("Name", exact=True).first.is_hidden()
        page.get_by_label("Name of value 2").fill("")
        page.get_by_role("button", name="Start").click()
        page.get_by_text("meter 1 shows 3 values at once: name each").wait_for()
        page.get_by_label("Name of value 2").fill("from motor to body")
        page.get_by_role("button", name="Start").click()
        page.get_by_role("heading", name="from motor to body").wait_for()
        session = next(tmp_path.glob("*.sqlite"))
        with open_reader(session) as reader:
            until(lambda: len(reader.channels) == 3)
            labels = [channel.label for channel in reader.channels]
        assert labels == ["feed side drop", "from motor to body", "pump current"]
        recorders = Recorders(SessionFolder(tmp_path))
        with suppress(MeterlogError):  # it may have come to its end by itself
            recorders.stop(session.name)
        until(lambda: not recorders.running())
    page.close()
