"""The report: complete, self-contained, safe against whatever was typed, and right in a real browser and on paper."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlog.cautions import Act, applying
from meterlog.errors import CompareError
from meterlog.loaded import load
from meterlog.report import build_report, find_browser, print_pdf
from tests.report.conftest import HOSTILE, Make

RECORDINGS = Path(__file__).parents[2] / "recordings"
Need = Callable[[object, str], None]


def text_of(page: str) -> str:
    """Return what a person reads: without the library, the drawings and the tags."""
    page = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_it_holds_everything_that_was_measured_and_said(make: Make) -> None:
    details = {"system_v": "12", "vehicle": "old van", "complaint": "dies now and then", "temperature_c": "18"}
    capture = load(make(details=details))
    text = text_of(build_report([capture]))
    for wanted in (
        "Measurement report: old van",
        "dies now and then",
        "18",
        "2026-03-02 09:10:00",
        "prime pulse",
        "open circuit",
        "DC voltage",
        "09:10:04 (4.0 s)",
        "key-on",
        "text:pump feed",
        "±(0.5 % + 2 counts)",
        "An event shorter than 0.50 s may be missed",
        "limits for 12 V car",
        "meterlog 0.1.0",
        "It does not replace the vehicle's service information",
        "no readings from pump feed",
        *applying(Act("record")),
    ):
        assert wanted in text, wanted
    assert len(capture.analysis.findings) >= 4
    assert text.count("Limit:") == sum(bool(finding.limit) for finding in capture.analysis.findings)


def test_the_lowest_reading_and_its_fellows_stand_in_it() -> None:
    page = build_report([load(RECORDINGS / "key-on-suspect.sqlite")])
    for name, value in (("lowest", "-0.01 V"), ("highest", "9.57 V"), ("slope", "-0.15 V/s"), ("left out", "nothing")):
        assert f'<td data-label="{name}">{value}</td>' in page


def test_the_library_is_embedded_once_whatever_the_number_of_plots(make: Make) -> None:
    one = build_report([load(make())])
    three = build_report([load(make(f"s{n}")) for n in range(3)])
    assert one.count("plotly.js (basic") == three.count("plotly.js (basic") == 1
    assert len(three) - len(one) < 200_000
    assert three.count('class="figure"') == 6


def test_nothing_in_it_asks_for_a_network(make: Make) -> None:
    page = build_report([load(make())])
    assert not re.findall(r"<(?:script|link|img|iframe)[^>]+(?:src|href)=\"(?!data:)", page)
    assert "default-src 'none'" in page


def test_what_was_typed_stays_text(make: Make) -> None:
    details = {"system_v": "12", "vehicle": HOSTILE, "complaint": HOSTILE, HOSTILE: HOSTILE}
    page = build_report([load(make(text=HOSTILE, details=details))], title=HOSTILE)
    assert "<script>window.bad" not in page
    assert "<img src=x" not in page
    assert "49" not in re.findall(r"<title>(.*?)</title>", page)[0]
    for figure in re.findall(r'class="figure">(.*?)</script>', page, flags=re.DOTALL):
        drawing = json.loads(figure)
        assert not [trace["name"] for trace in drawing["data"] if "<" in trace["name"]]
        names = [note["text"] for note in drawing["layout"]["annotations"]]
        assert not [name for name in names if "<script" in name or "<img" in name]


def test_gaps_are_shaded_and_overload_is_drawn_as_such(make: Make) -> None:
    page = build_report([load(make())])
    figures = [json.loads(f) for f in re.findall(r'class="figure">(.*?)</script>', page, flags=re.DOTALL)]
    notes = [[note["text"] for note in figure["layout"]["annotations"]] for figure in figures]
    assert all("no data" in of_one for of_one in notes)
    assert ["overload (OL)" in of_one for of_one in notes] == [False, True]


def test_the_figures_are_such_as_the_drawing_library_takes(make: Make) -> None:
    import plotly.graph_objects as go

    page = build_report([load(make())], [load(make("good"))])
    drawings = [json.loads(f) for f in re.findall(r'class="figure">(.*?)</script>', page, flags=re.DOTALL)]
    assert len(drawings) >= 4
    for drawing in drawings:
        assert len(go.Figure(drawing).data) == len(drawing["data"])  # refuses any property it does not know


def test_a_comparison_is_in_it_where_known_good_are_given() -> None:
    good = [load(RECORDINGS / f"key-on-good-{n}.sqlite") for n in (1, 2)]
    suspects = [load(RECORDINGS / f"{name}.sqlite") for name in ("key-on-suspect", "wiggle-feed-ohms")]
    page = build_report(suspects, good)
    text = text_of(page)
    assert "1 of 2 sessions different from the known-good" in text
    assert "prime level" in text
    assert "beyond the combined error" in text
    assert "Not compared with the known-good: no channel is on both sides" in text
    with pytest.raises(CompareError):
        build_report(suspects[1:], good)


def test_before_and_after_a_repair_stand_under_these_words() -> None:
    before, after = load(RECORDINGS / "key-on-suspect.sqlite"), load(RECORDINGS / "key-on-good-1.sqlite")
    page = build_report([before], after=[after])
    text = text_of(page).replace("key-on-suspect", "").replace("key-on-good-1", "")
    assert "The session after differs from the session before by more than the errors explain. Before: " in text
    assert "After: no findings outside the limits" in text
    assert "(before)" in text
    assert "(after)" in text
    assert "known-good" not in page
    assert "suspect" not in page.replace("key-on-suspect", "")


@pytest.mark.parametrize("width", [1280, 390])
def test_in_a_real_browser_it_draws_without_error_or_request(
    make: Make, browser: Any, tmp_path: Path, width: int
) -> None:
    details = {"system_v": "12", "vehicle": HOSTILE, "complaint": HOSTILE}
    path = tmp_path / "report.html"
    path.write_text(build_report([load(make(text=HOSTILE, details=details))]), encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 900})
    complaints: list[str] = []
    requests: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(path.as_uri())
    page.wait_for_function("() => document.querySelectorAll('.main-svg .trace').length >= 2")
    assert not complaints
    assert [url for url in requests if not url.startswith(("data:", "blob:"))] == [path.as_uri()]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate("window.bad") is None
    assert HOSTILE in page.inner_text("header") + page.inner_text("dl.facts")
    for box in page.eval_on_selector_all("svg.main-svg", "all => all.map(one => one.getBoundingClientRect().right)"):
        assert box <= width
    page.close()


def test_on_paper_no_drawing_is_cut(make: Make, browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text(build_report([load(make())]), encoding="utf-8")
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(path.as_uri())
    page.wait_for_function("() => document.querySelectorAll('.main-svg .trace').length >= 2")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 703, "height": 1000})  # A4 less its margins, at 96 dots an inch
    shapes = "all => all.map(one => { const box = one.getBoundingClientRect(); return [box.width, box.height] })"
    for width, height in page.eval_on_selector_all(".canvas svg.main-svg", shapes):
        assert 600 < width <= 703
        assert height <= 1000
    page.close()


def test_a_pdf_is_made(make: Make, need: Need, tmp_path: Path) -> None:
    need(find_browser(), "no Chromium on this computer")
    path, pdf = tmp_path / "report.html", tmp_path / "report.pdf"
    path.write_text(build_report([load(make())]), encoding="utf-8")
    print_pdf(path, pdf)
    made = pdf.read_bytes()
    assert made.startswith(b"%PDF-")
    assert b"/MediaBox [0 0 594" in made or b"/MediaBox [0 0 595" in made  # A4 in points
