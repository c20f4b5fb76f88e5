"""Lines of text that no driver knows: a profile is drafted from them, and reads what they say."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.driver.framing import framing_of
from meterlog.driver.probe import candidates, probed_drivers
from meterlog.transports import LineSettings
from meterlog_drivers.profiles.draft_profile import drafted_profile

LINE = LineSettings(4800, 7, "E", 1)
V, A, OHM = "dc_voltage", "dc_current", "resistance"


def sent(template: str, count: int = 6) -> bytes:
    return "".join(f"{template.format(n=n)}\r\n" for n in range(count)).encode()


@pytest.mark.parametrize(
    ("template", "last"),
    [
        ("ch1=12.52{n};mode=VDC;", [(12.525, V)]),
        ("12:01:3{n} 12.5{n} mV", [(0.01255, V)]),
        ("{n};DMM;12,5{n} V;-4,8{n} A;x", [(12.55, V), (-4.85, A)]),
        ("U=12.5{n}V, I=4.8{n}A", [(12.55, V), (4.85, A)]),
        ("DCV  12.5{n}", [(12.55, V)]),
        ("V: 12.5{n}", [(12.55, V)]),
        ("2026-01-02T10:00:0{n}\t4.7{n} kOhm", [(4750.0, OHM)]),
        ("R|1.2{n} Ohmios|12.5{n} voltios", [(1.25, OHM), (12.55, V)]),
        ("12.5{n};4.8{n} A", [(4.85, A)]),
    ],
)
def test_a_draft_reads_the_lines_that_it_was_made_from(
    template: str, last: list[tuple[float, str]], tmp_path: Path
) -> None:
    data = sent(template)
    tried = candidates(probed_drivers()[0])
    for candidate in tried:
        candidate.feed(data, 0.0)
    assert not [c for c in tried if c.fits], "no driver knows them"
    path = tmp_path / "draft.toml"
    path.write_text(drafted_profile(data, LINE), encoding="utf-8")
    framing = framing_of(f"text:x?profile={path}")
    decoder = framing.decoder()
    readings = decoder.feed(data, 1.0)
    assert [(r.value, r.quantity) for r in readings[-len(last) :]] == last
    assert (decoder.traffic.frames_good, decoder.traffic.frames_refused) == (6, 0)
    assert framing.driver.lines_for(framing.address) == (LINE,)


def test_lines_of_another_shape_are_refused_not_guessed(tmp_path: Path) -> None:
    path = tmp_path / "draft.toml"
    path.write_text(drafted_profile(sent("DC;12.5{n} V"), LINE), encoding="utf-8")
    decoder = framing_of(f"text:x?profile={path}").decoder()
    assert decoder.feed(b"DC;12.50 V\r\nDC;OL V\r\n", 0.0)[-1].value == float("inf")
    assert decoder.feed(b"AC;12.50 V\r\n", 0.0) == []
    assert decoder.traffic.frames_refused == 1


@pytest.mark.parametrize(
    "template",
    [
        "CH A 12.5{n}",  # a name, not amperes
        "hello {n}",
        "a boot log",
        "12.5{n} V 3",  # who knows what the 3 says
        "1.25{n},3 V",  # a point or a comma?
        "\x02\x1b12.5{n} V",
    ],
)
def test_nothing_is_drafted_where_a_line_leaves_it_open(template: str) -> None:
    assert drafted_profile(sent(template), LINE) == ""


def test_a_number_without_a_unit_is_left_for_the_person_to_say() -> None:
    draft = drafted_profile(sent("12.5{n};4.8{n} A;{n}"), LINE)
    assert draft.count("skip = true  # no unit: say what it is") == 1
    assert draft.count("skip = true  # a counter") == 1
    assert '# pattern = "{number}"' in draft
