"""Everybody can read and work the page: contrast AA in light and dark, names, landmarks, keys, a phone's thumb.

Text on plain grounds, names, roles and landmarks are judged by axe; `contrast.js` adds what axe leaves open: text in
plots and on gradients, and the 3 to 1 of controls, focus rings, lines and marks (WCAG 2.2, 1.4.3 and 1.4.11).
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import flask
import pytest

from meterlog_dashboard.gate.access import LOOPBACK, Access, Lan
from meterlog_dashboard.gate.devices import Devices

if TYPE_CHECKING:
    from playwright.sync_api import Page

HERE = Path(__file__).parent
CONTRAST = (HERE / "contrast.js").read_text()
RECORDINGS = HERE.parents[1] / "recordings"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
VIEWS = {
    "/jobs": ".new-job",
    "/jobs/new": "#new-begin",
    "/record": "#start",
    "/record/drive-intermittent.sqlite": "#strip-chart .scatterlayer path",
    "/sessions": "a.session",
    "/sessions/wiggle-feed-ohms.sqlite": "[data-event]",
    "/sessions/drive-intermittent.sqlite": "[data-event]",
    "/sessions?vehicle=delivery+van+1+%28simulated%29": ".history .point",
    "/compare?suspect=key-on-suspect.sqlite&good=key-on-good-1.sqlite": ".js-line",
    "/compare/events?kind=dropout": ".js-line",
    "/jobs/blue-van": "#job-card",
    "/circuit?session=key-on-suspect.sqlite": ".next",
}
PLOTTED = [
    path for path in VIEWS if any(word in path for word in (".sqlite", "events", "vehicle=")) and "circuit" not in path
]

FOCUSABLE = """() => {
  const reach = "a[href], button:enabled, input:enabled, select:enabled, textarea:enabled, summary, [tabindex]";
  const inGroup = (node) => node.type === "radio" && !node.checked;
  return [...document.querySelectorAll(reach)]
    .filter((node) => node.tabIndex >= 0 && node.checkVisibility({ visibilityProperty: true }) && !inGroup(node))
    .map((node, place) => { node.dataset.place = place; return node.outerHTML.slice(0, 110); });
}"""
"""Controls the Tab key is to come to, numbered in the order of the page."""

SMALL = """() => {
  const choice = "label:has(input[type=checkbox], input[type=radio])";
  const wanted = `a, button, input:not(label input), select, textarea, summary, [role=combobox], ${choice}`;
  return [...document.querySelectorAll(wanted)].filter((node) => {
    const box = node.getBoundingClientRect(), inline = getComputedStyle(node).display === "inline";
    if (!node.checkVisibility() || inline || node.matches(".skip") || node.closest("[aria-hidden=true]")) return false;
    return box.width && (box.height < 43.5 || box.width < 43.5);
  }).map((node) => node.outerHTML.slice(0, 140));
}"""
"""Finds what a thumb misses: less than 44 px high or wide, links inside a sentence left out."""

IDS = """() => {
  const shown = document.getElementById("view").textContent.replace(/--set \\w+=/g, "");
  return shown.match(/\\b[a-z]+_[a-z_]+\\b/g) || [];
}"""
"""Finds what stands for a program and not for a person: `plug_feed`. What is to be typed as a command stays."""


def pale(page: Page, scheme: str) -> dict[str, int]:
    """Fail with what has too little contrast in a colour scheme; how much was looked at."""
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    page.wait_for_timeout(100)
    found = page.evaluate(CONTRAST)
    assert not found["pale"], f"{scheme}: " + "\n".join(found["pale"])
    counted: dict[str, int] = found["counted"]
    return counted


def unnamed(page: Page) -> None:
    """Fail with what axe finds."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    options = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
    found = axe.run(page, options=options).response["violations"]
    wrong = [f"{rule['id']}: {one['html'][:200]} {one['failureSummary']}" for rule in found for one in rule["nodes"]]
    assert not wrong, "\n".join(wrong)


def walk(page: Page) -> None:
    """Fail where the Tab key leaves the order of the page, passes something over, or does not show where it is."""
    wanted = page.evaluate(FOCUSABLE)
    assert "To the content" in wanted[0]
    for place, what in enumerate(wanted):
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.dataset.place") == str(place), what
        assert page.evaluate(CONTRAST, "ring") >= 3, what


@pytest.mark.parametrize("path", VIEWS)
def test_a_view_can_be_read_and_worked_by_everybody(tab: Page, page_address: str, path: str) -> None:
    tab.goto(page_address + path)
    tab.wait_for_selector(VIEWS[path], state="attached")
    tab.wait_for_timeout(300)
    walk(tab)
    unnamed(tab)
    for scheme in ("light", "dark"):
        counted = pale(tab, scheme)
        assert counted["texts"] > 20
        assert counted["controls"] > 0
        assert (counted["marks"] > 0) == (path in PLOTTED)
    tab.set_viewport_size({"width": 390, "height": 844})
    tab.wait_for_function("() => document.documentElement.scrollWidth <= 390")  # plots follow in their own time
    assert tab.evaluate(SMALL) == []
    assert tab.evaluate(IDS) == []


MOVES = """() => [...document.querySelectorAll("*")].flatMap((node) => ["", "::before", "::after"].map((part) => {
  const { animationDuration, transitionDuration } = getComputedStyle(node, part || undefined);
  return [animationDuration, transitionDuration].some((s) => parseFloat(s) > 0) ? node.outerHTML.slice(0, 80) : "";
})).filter(Boolean)"""
"""Finds what would move."""


def test_nothing_moves_for_those_who_asked_for_that(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/compare?suspect=key-on-suspect.sqlite&good=key-on-good-1.sqlite")
    tab.wait_for_selector(".js-line", state="attached")
    assert tab.evaluate(MOVES), "without the wish something does, so this check can fail"
    tab.emulate_media(reduced_motion="reduce")
    assert tab.evaluate(MOVES) == []


DRESSED = """(sort) => {
  document.getElementById("band-text").textContent = "fell to 0.00 V";
  document.getElementById("unseen").hidden = false;
  document.getElementById("unseen-words").textContent = "2 not seen: last dropout on feed at 0:12.1";
  document.getElementById("link-now").textContent = "feed: no link for 5 s";
  document.querySelector(".readout").classList.add("old");
  for (const name of ["band", "link-now", "unseen"]) document.getElementById(name).className = name + " " + sort;
  document.getElementById("unseen-seen").focus();
}"""
"""Shows the live page in one of its states, with all that it can say at once, and the button in focus."""


def test_every_band_of_the_live_page_is_readable(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/record/drive-intermittent.sqlite")
    tab.get_by_text("Ended; everything is kept").wait_for()
    tab.keyboard.press("Tab")
    for sort in ("calm", "trouble", "caught", "doubt", "lost"):
        for scheme in ("light", "dark"):
            tab.evaluate(DRESSED, sort)  # each time anew: the page itself may still write
            pale(tab, scheme)
            tab.evaluate(DRESSED, sort)
            assert tab.evaluate(CONTRAST, "ring") >= 3


def test_the_pairing_page_is_readable(tab: Page, tmp_path: Path) -> None:
    server = flask.Flask("pair")
    server.config["CONTENT_SECURITY_POLICY"] = ""
    lan = Lan(Devices(tmp_path), "https://192.0.2.1", "AA:BB")
    Access(LOOPBACK, 80, lan, announce=lambda _: None).guard(server)
    tab.set_content(server.test_client().get("/pair", base_url="http://127.0.0.1").get_data(as_text=True))
    for scheme in ("light", "dark"):
        assert pale(tab, scheme)["texts"] >= 4
    unnamed(tab)


def test_the_report_is_readable_and_fits_a_phone(tab: Page, tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    command = [sys.executable, "-m", "meterlog", "report", str(RECORDINGS / "key-on-suspect.sqlite")]
    command += [str(RECORDINGS / "drive-intermittent.sqlite"), "--good", str(RECORDINGS / "key-on-good-1.sqlite")]
    subprocess.run([*command, "--circuit", "pump-feed", "--out", str(out)], check=True, capture_output=True)
    tab.goto(out.as_uri())
    tab.wait_for_selector(".js-line", state="attached")
    for scheme in ("light", "dark"):
        assert pale(tab, scheme)["marks"] > 0
    unnamed(tab)
    tab.set_viewport_size({"width": 390, "height": 844})
    tab.wait_for_function("() => document.documentElement.scrollWidth <= 390")  # plots follow in their own time


PALE = """<!doctype html><html lang="en"><body style="background: #fff; color: #000">
<p style="color: #777">small grey</p><p style="color: #949494; font-size: 24px">large grey</p>
<p style="color: #fff; background: linear-gradient(#000, #aaa)">on a gradient</p>
<svg width="200" height="30"><text x="5" y="20" fill="#888">drawn</text></svg>
<button style="border: 1px solid #bbb; background: #fff; color: #000">pale edge</button>
<p style="opacity: .4">faded</p><p>black</p></body></html>"""


def test_the_check_of_contrast_can_fail(tab: Page) -> None:
    tab.set_content(PALE)
    found = "\n".join(tab.evaluate(CONTRAST)["pale"])
    for said in ("'small grey'", "'on a gradient'", "'drawn'", "controls button", "'faded'"):
        assert said in found
    assert "'black'" not in found
    assert "'large grey'" not in found
    assert "small grey' of p: 4.48 to 1, wanted 4.5" in found
