"""The pump is suspected: the whole job from the command line ends at the part that is wrong, and shows it."""

from __future__ import annotations

import html
import re
import sys

import pytest

from tests.stories.pump_suspected import Outcome, play

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    folder = tmp_path_factory.mktemp("van")
    done = play(folder)
    (folder / "transcript.txt").write_text("\n".join(done.person.said), "utf-8")
    return done


def test_the_armed_capture_holds_the_prime_and_it_is_low(outcome: Outcome) -> None:
    primes = [event for event in outcome.before["events"] if event["kind"] == "prime_pulse"]
    assert len(primes) == 1
    assert 8.0 < primes[0]["level"] < 11.0
    assert [f["verdict"] for f in outcome.before["findings"] if "below the battery" in f["text"]] == ["cannot tell"]


def test_the_sessions_alone_do_not_blame_the_pump(outcome: Outcome) -> None:
    by_part = {one["part"]: one["probability"] for one in outcome.first}
    assert by_part.get("pump", 0.0) < 0.1
    assert outcome.first[0]["fault"] == "high_resistance"


def test_step_by_step_the_burnt_relay_comes_first_and_few_readings_do(outcome: Outcome) -> None:
    assert outcome.parts[0]["part"] == "relay"
    assert outcome.parts[0]["fault"] == "high_resistance"
    assert outcome.parts[0]["probability"] >= 0.9
    low, high = outcome.parts[0]["resistance_ohm"]
    assert low < 0.6
    assert high > 0.3, "the band reaches into what the scenario's contact has"
    assert 1 <= len(outcome.asked) <= 6


def test_after_the_repair_it_is_different(outcome: Outcome) -> None:
    assert outcome.comparison["verdict"] == "different"
    measures = {one["measure"]: one for one in outcome.comparison["channels"][0]["measures"]}
    assert measures["prime level"]["verdict"] == "different"
    assert measures["prime level"]["difference"] < -1.0


def test_the_report_holds_the_part_the_readings_and_the_comparison(outcome: Outcome) -> None:
    text = html.unescape(re.sub(r"<(script|style)\b.*?</\1>|<[^>]+>", " ", outcome.report, flags=re.DOTALL))
    text = re.sub(r"\s+", " ", text)
    for wanted in (
        "Which part is it: pump feed",
        "Relay has too much resistance",
        "nearly certain",
        "The suspect differs from the known-good",
        "vehicle's service information",
    ):
        assert wanted in text, wanted
    for place in outcome.asked:
        assert place.split(" ", 1)[1].removeprefix("drop ").removeprefix("from ").replace("_", " ") in text, place


def test_the_transcript_tells_the_whole_job(outcome: Outcome) -> None:
    said = "\n".join(outcome.person.said)
    for command in ("emulate", "record", "mark", "analyze", "diagnose", "compare", "report"):
        assert f"$ meterlog {command} " in said
    assert "Traceback" not in said
