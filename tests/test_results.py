"""A bench's figures replace what stood under its name, and leave the other benches' alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.results import printed, write


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


def test_what_a_bench_prints_becomes_its_section_and_one_that_fails_writes_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "RESULTS.md"
    with printed("van", path=path):
        print("kind   true  missed")
    shown = capsys.readouterr().out
    assert shown == "kind   true  missed\n"
    text = path.read_text()
    assert f"```text\n{shown}```" in text
    assert "\n`python -m " in text
    with pytest.raises(ZeroDivisionError), printed("van", path=path):
        print(1 / 0)
    assert path.read_text() == text
