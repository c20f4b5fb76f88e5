"""Limits: the sets that come with the program, and a person's own file over them."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import meterlog.limits
from meterlog.errors import LimitsError
from meterlog.limits import SETS, load_limits

SHIPPED = Path(meterlog.limits.__file__).parent


def own(folder: Path, text: str) -> Path:
    """A person's own limits file."""
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_set_has_the_same_figures_each_with_unit_meaning_grade_and_source() -> None:
    sets = [load_limits(name) for name in SETS]
    assert len({frozenset(limits.figures) for limits in sets}) == 1
    for limits in sets:
        for figure in limits.figures.values():
            assert (figure.value is None) != (not figure.points), figure.name
            assert figure.meaning, figure.name
            assert figure.source, figure.name
            assert set(figure.grade.split("/")) <= set("ABCDM"), figure.name
            unverified = "unverified" in figure.source
            assert unverified == ("M" in figure.grade), figure.name


def test_a_set_asked_for_by_name_is_that_file_and_each_file_is_a_set() -> None:
    shipped = {path.stem: tomllib.loads(path.read_text("utf-8")) for path in SHIPPED.glob("*.toml")}
    assert set(SETS) == set(shipped)
    for name, tables in shipped.items():
        assert (load_limits(name).name, SETS[name]) == (tables["name"], tables["system_v"])


@pytest.mark.parametrize(
    ("system_v", "name"), [(12.0, "12 V car"), (24.0, "24 V truck"), (6.0, "6 V"), (13.0, "12 V car")]
)
def test_the_system_voltage_chooses_the_set(system_v: float, name: str) -> None:
    limits = load_limits(system_v=system_v)
    assert (limits.name, limits.assumed, limits.detection.system_v) == (name, "", limits.system_v)


def test_an_unstated_system_voltage_is_said_to_be_assumed_and_the_detectors_look_for_themselves() -> None:
    limits = load_limits()
    assert limits.name == "12 V car"
    assert "12 V is assumed" in limits.assumed
    assert limits.detection.system_v == 0.0


def test_a_system_that_no_set_fits_is_refused() -> None:
    with pytest.raises(LimitsError, match="no limits for a 48 V system; there are for 12 V, 24 V, 6 V"):
        load_limits(system_v=48.0)


def test_an_own_file_overrides_figure_by_figure_and_the_rest_stays(tmp_path: Path) -> None:
    path = own(
        tmp_path,
        '[figure.charging_min_v]\npoints = [[20.0, 13.9]]\nsource = "service manual of this car"\n'
        "[figure.feed_drop_max_v]\nvalue = 0.5\n[detection]\nprime_longest_s = 12\nchatter_changes = 6\n",
    )
    limits, shipped = load_limits(path, system_v=12.0), load_limits(system_v=12.0)
    assert limits.figure("charging_min_v").cite() == "service manual of this car (grade own)"
    assert limits.figure("charging_min_v").at(60.0) == 13.9
    assert limits.value("feed_drop_max_v") == 0.5
    assert limits.figure("feed_drop_max_v").cite() == "own limits file own.toml (grade own)"
    assert limits.figure("charging_max_v") == shipped.figure("charging_max_v")
    assert (limits.detection.prime_longest_s, limits.detection.chatter_changes) == (12.0, 6)
    assert limits.detection.sag_share == shipped.detection.sag_share


def test_an_own_file_may_state_the_system(tmp_path: Path) -> None:
    limits = load_limits(own(tmp_path, "system_v = 24\n"), system_v=12.0)
    assert limits.system_v == 24.0
    assert limits.value("drop_solenoid_max_v") == 2.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[figure.feed_drop_max_v\nvalue = 1\n", "not TOML: .*line 1"),
        (
            "\n[figure.feed_drop_mx_v]\nvalue = 1\n",
            "line 2: unknown key 'figure.feed_drop_mx_v'; did you mean 'feed_drop_max_v'",
        ),
        (
            "[figure.feed_drop_max_v]\nvalu = 1\n",
            "line 2: unknown key 'figure.feed_drop_max_v.valu'; did you mean 'value'",
        ),
        ("[figure.feed_drop_max_v]\nvalue = '1'\n", "line 2: 'figure.feed_drop_max_v.value' must be a finite number"),
        ("[figure.feed_drop_max_v]\nvalue = nan\n", "line 2: .*finite number"),
        ("[figure.feed_drop_max_v]\nvalue = true\n", "line 2: .*finite number"),
        (f"[figure.feed_drop_max_v]\nvalue = 1{'0' * 400}\n", "line 2: .*finite number"),
        ("[figure.feed_drop_max_v]\nunit = 'A'\n", "line 2: 'figure.feed_drop_max_v.unit' must be 'V'"),
        ("[figure.feed_drop_max_v]\npoints = [[1, 2]]\n", "line 2: .*must be value = "),
        ("[figure.crank_min_v]\nvalue = 9\n", "line 2: .*must be points = "),
        ("[figure.crank_min_v]\npoints = [[20, 9], [10, 9]]\n", "line 2: .*x rising"),
        ("[figure.crank_min_v]\npoints = []\n", "line 2: .*x rising"),
        ("[figure]\nfeed_drop_max_v = 1\n", "line 2: 'figure.feed_drop_max_v' must be a table"),
        ("figure = 3\n", "line 1: 'figure' must be a table"),
        (
            "\n\n[detection]\n# why\nsag_shre = 0.8\n",
            "line 5: unknown key 'detection.sag_shre'; did you mean 'sag_share'",
        ),
        ("[detection]\nsag_share = 'low'\n", "line 2: 'detection.sag_share' must be a finite number"),
        ("[detection]\nchatter_changes = 4.5\n", "line 2: 'detection.chatter_changes' must be a whole number"),
        ("[detection]\nsag_share = 1.5\n", "table \\[detection\\]: shares"),
        ("[limits]\n", "line 1: unknown key 'limits'; known are name, system_v, figure, detection"),
        ("name = 3\n", "line 1: 'name' must be a text in quotes"),
    ],
)
def test_a_wrong_file_is_refused_with_its_key_and_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(LimitsError, match=said) as caught:
        load_limits(own(tmp_path, text))
    assert "own.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_absent_or_binary_file_is_refused_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(LimitsError, match=r"there is no limits file .*car-12v, truck-24v, old-6v"):
        load_limits(tmp_path / "absent.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LimitsError, match="not a text file in UTF-8"):
        load_limits(tmp_path / "binary.toml")


def test_a_curve_is_straight_between_its_points_and_flat_beyond() -> None:
    figure = load_limits("car-12v").figure("crank_min_v")
    assert figure.at(13.0) == pytest.approx(9.45)
    assert (figure.at(-40.0), figure.at(35.0)) == (8.5, 9.6)
