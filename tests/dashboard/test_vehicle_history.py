"""A vehicle's history on the page: what has changed over its sessions and since when, in the terminal's words."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from meterlog.fleet.extract import extract
from meterlog.fleet.sources import sources
from meterlog.session.corrections import correct
from meterlog.trends import histories, judge
from meterlog.trends.words import sentence
from meterlog_dashboard.compare.overlay import overlay_page
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.gate.access import LOOPBACK, Access
from meterlog_dashboard.sessions import view as sessions_view
from meterlog_dashboard.vehicle.address import Shown
from tests.bench.fleet.generate import write_session
from tests.bench.fleet.world import Van
from tests.dashboard.test_job_view import served
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

DAYS = range(5, 360, 30)
GROUND = "pump ground drop, drop while loaded"


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A van whose ground wears from day 150 on, and which has dropouts then; a sound one; a damaged file."""
    folder = tmp_path_factory.mktemp("fleet")
    random = np.random.default_rng(8)
    common: dict[str, Any] = {"charge_v": 14.1, "crank_v": 10.2, "ground_v": 0.05}
    kind = "panel van 2.0 diesel"
    worn = Van(3, kind, date(2024, 5, 1), **common, wear="ground", wear_by=0.6, begins=150.0, fault="dropouts")
    sound = Van(4, kind, date(2024, 5, 1), **common)
    for number, day in enumerate(DAYS):
        write_session(folder / f"worn-{number:02}.sqlite", worn, day + 0.5, random)
    for number in range(2):
        write_session(folder / f"sound-{number}.sqlite", sound, 30.5 + number, random)
    (folder / "damaged.sqlite").write_bytes(b"none of ours")
    return folder


@pytest.fixture(scope="module")
def context(fleet: Path) -> Context:
    """The page over the folder, every session measured."""
    context = Context.of(fleet, Access(LOOPBACK, 80, lan=None, announce=lambda _: None))
    sessions, _ = context.listed.so_far()
    until(lambda: context.measured.so_far(sessions)[1] == 0)
    return context


def shown(context: Context, **query: str) -> str:
    """Return what stands on the page, as one text."""
    return json.dumps(sessions_view.layout(context, "", query), cls=PlotlyJSONEncoder, ensure_ascii=False)


def test_the_page_says_what_the_terminal_says(context: Context, fleet: Path) -> None:
    said = shown(context, vehicle="Van  03")
    collected = extract(list(sources(str(fleet))))["measures"].to_pandas()
    of_it = judge(histories(collected[collected["vehicle"] == "van 03"]))
    (line,) = (sentence(one) for one in of_it if one.history.measure == "drop while loaded")
    assert "rose by" in line
    assert "began " in line
    for one in of_it:
        assert sentence(one).replace("+-", "±") in said
    assert "All is at 20 °C" in said
    assert "12 sessions from 2026-01-06 to" in said
    assert "sound-" not in said


def test_the_address_holds_the_measure(context: Context) -> None:
    chosen = shown(context, vehicle="van 03", at="battery", measure="charge")
    assert "charge, V" in chosen
    assert "drop while loaded, V" not in chosen
    assert "drop while loaded, V" in shown(context, vehicle="van 03")
    assert "any more" in shown(context, vehicle="van 03", at="battery", measure="colour")


def test_a_van_with_few_sessions_says_why_nothing_can_be_told(context: Context) -> None:
    said = shown(context, vehicle="van 04")
    assert "measured on 2 days, 10 are needed" in said
    assert "Nothing that can be told from chance." in said
    assert "charge, V" in shown(context, vehicle="van 04", at="battery", measure="charge")


@pytest.mark.parametrize("name", ["zebra", " ", "<b>"])
def test_no_such_vehicle_is_said_with_the_way_on(context: Context, name: str) -> None:
    said = shown(context, vehicle=name)
    assert "No session in this folder says" in said or "No vehicle is named." in said
    assert "To Sessions" in said


def test_nothing_is_judged_before_all_is_measured(fleet: Path) -> None:
    fresh = Context.of(fleet, Access(LOOPBACK, 80, lan=None, announce=lambda _: None))
    said = shown(fresh, vehicle="van 03")
    assert "of 12 sessions" in said
    assert "What has changed" not in said


def test_its_events_alone_are_laid_over_each_other(context: Context) -> None:
    drops = context.measured.so_far(context.listed.so_far()[0])[0]
    number = sum(one.kinds["dropout"] for one in drops.values())
    assert number > 0
    assert f'"{number} dropouts"' in shown(context, vehicle="van 03")
    query = {"kind": "dropout", "vehicle": "VAN 03"}
    laid = json.dumps(overlay_page(context, query), cls=PlotlyJSONEncoder)
    assert f"{number} dropouts in " in laid
    assert "of 12 sessions looked through" in laid
    assert "No dropout" in json.dumps(overlay_page(context, query | {"vehicle": "van 04"}), cls=PlotlyJSONEncoder)


def test_a_file_that_changed_is_measured_again(fleet: Path, tmp_path: Path) -> None:
    path = tmp_path / "one.sqlite"
    shutil.copy(fleet / "sound-0.sqlite", path)
    context = Context.of(tmp_path, Access(LOOPBACK, 80, lan=None, announce=lambda _: None))
    until(lambda: context.measured.so_far(context.listed.so_far()[0])[1] == 0)
    correct(path, {"vehicle": "van 9"}, {}, {})
    until(lambda: context.measured.so_far(context.listed.so_far()[0])[1] == 0)
    (one,) = context.measured.so_far(context.listed.so_far()[0])[0].values()
    assert {row["vehicle"] for row in one.rows} == {"van 9"}


def test_from_the_list_to_a_vehicle_to_a_measure_and_back(tab: Page, fleet: Path) -> None:
    with served(fleet) as (address, _):
        tab.goto(f"{address}/sessions")
        tab.get_by_role("link", name="van 03", exact=True).click()
        tab.locator(".history .point").first.wait_for(state="attached")
        assert "van+03" in tab.url
        tab.get_by_text("measures: no change shown").click()
        tab.get_by_role("link", name="battery, charge").click()
        tab.get_by_role("heading", name="battery, charge").wait_for()
        assert Shown("van 03", "battery", "charge").address in tab.url
        tab.reload()
        tab.get_by_role("heading", name="battery, charge").wait_for()
        tab.go_back()
        tab.get_by_role("heading", name=GROUND).wait_for()
        tab.goto(f"{address}/sessions/worn-03.sqlite")
        tab.wait_for_selector("#detail .js-line", state="attached")
        tab.wait_for_function("() => dash_component_api.getLayout('review-analyzed').props.data > 0")
        tab.wait_for_load_state("networkidle")  # nothing is on the way to a view that is left
        tab.locator("#review-title a").click()
        tab.get_by_role("heading", name="History of van 03").wait_for()
