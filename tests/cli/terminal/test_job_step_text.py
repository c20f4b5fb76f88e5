"""A step on a small screen: the verdict stays on it, whatever there is to mind."""

from __future__ import annotations

from meterlog.cli.terminal.job_step_text import arranged
from meterlog.cli.terminal.wrap import wrapped_at

NEWS, HOW = ["Caught: 12.3 V", "Means: likeliest relay"], ["  dial   volts DC", "  red    on fuse out"]
MINDS = ["Fuel vapour burns: no lamp, spark or flame near an open tank or line; make and break away from it."] * 9


def test_on_a_large_screen_what_to_mind_comes_last() -> None:
    assert arranged(NEWS, HOW, MINDS[:1], (80, 40)) == [*NEWS, *HOW, f"  mind   {MINDS[0]}"]


def test_on_a_small_screen_the_verdict_stays_visible() -> None:
    lines = arranged(NEWS, HOW, MINDS, (40, 24))
    rows = "\n".join(wrapped_at(line, 40) for line in lines).split("\n")
    assert any("Means: likeliest relay" in row for row in rows[-20:])
    assert len(rows) > 24
    assert max(map(len, rows)) <= 40
