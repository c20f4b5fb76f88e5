"""A bench's figures replace what stood under its name, and leave the other benches' alone."""

from __future__ import annotations

from pathlib import Path

from tests.bench.results import write


def test_a_section_is_replaced_and_the_others_stay(tmp_path: Path) -> None:
    path = tmp_path / "RESULTS.md"
    write("one", ["first figure"], path)
    write("two", ["another"], path)
    write("one", ["second figure"], path)
    text = path.read_text()
    assert text.startswith("# What the benches measured")
    assert text.count("## one") == text.count("## two") == 1
    assert "first figure" not in text
    assert text.index("second figure") < text.index("another")
    assert " cores, " in text
