"""Every act has the trade's cautions that fit it, the dangerous ones first, each once."""

from __future__ import annotations

from itertools import product

import pytest

from meterlog.cautions import CAUTIONS, FUEL, NEAR, Act, applying
from meterlog.reading import Quantity

TEXT = {caution.name: caution.text for caution in CAUTIONS}
QUANTITIES = (None, *Quantity)


def said(act: Act) -> set[str]:
    """Names of the cautions that apply."""
    texts = applying(act)
    return {name for name, text in TEXT.items() if text in texts}


@pytest.mark.parametrize("quantity", QUANTITIES, ids=str)
def test_what_is_recorded_has_the_general_cautions_and_its_own(quantity: Quantity | None) -> None:
    general, found = said(Act("record")), said(Act("record", quantity))
    assert (
        {"fuel", "restraint", "moves", "high voltage", "battery gas", "exhaust", "under", "drive"} <= general <= found
    )


@pytest.mark.parametrize(
    ("quantity", "own"),
    [
        (Quantity.DC_CURRENT, {"current jack", "clamp to crank"}),
        (Quantity.RESISTANCE, {"dead circuit"}),
        (Quantity.AC_VOLTAGE, {"category", "back-probe"}),
        (Quantity.DC_VOLTAGE, {"back-probe"}),
    ],
)
def test_the_cautions_fit_the_quantity(quantity: Quantity, own: set[str]) -> None:
    others = {"current jack", "clamp to crank", "dead circuit", "category", "back-probe"} - own
    assert own <= said(Act("record", quantity))
    assert not others & said(Act("record", quantity))


def test_what_nobody_said_it_is_near_may_be_near_anything() -> None:
    known = said(Act("feed", state="off", near=frozenset()))
    careful = said(Act("feed", state="off"))
    assert known < careful
    for word in NEAR:
        assert said(Act("feed", state="off", near=frozenset({word}))) <= careful


@pytest.mark.parametrize("doing", ["feed", "bridge", "replace"])
def test_fuel_nearby_is_said_whatever_is_done(doing: str) -> None:
    assert {"fuel", "rail pressure"} <= said(Act(doing, near=frozenset({FUEL})))  # type: ignore[arg-type]
    assert "fuel" not in said(Act(doing, near=frozenset()))  # type: ignore[arg-type]


def test_powering_a_place_by_hand_wants_a_fuse_and_spares_airbags() -> None:
    for doing in ("feed", "bridge"):
        found = said(Act(doing, near=frozenset()))
        assert {doing, "restraint", "eyes"} <= found


def test_several_acts_say_each_caution_once_in_the_tables_order() -> None:
    acts = [Act("record", quantity) for quantity in QUANTITIES] + [
        Act("feed"),
        Act("replace", parts=frozenset({"fuse"})),
    ]
    texts = applying(*acts)
    assert len(texts) == len(set(texts))
    order = [caution.text for caution in CAUTIONS]
    assert [order.index(text) for text in texts if text in order] == sorted(order.index(t) for t in texts if t in order)


def test_every_row_can_be_reached_names_its_source_and_is_short() -> None:
    places = [None, *(frozenset({word}) for word in NEAR)]
    reached: set[str] = set()
    for doing, quantity, load, near in product(
        ("begin", "record", "measure", "feed", "bridge", "replace"),
        QUANTITIES,
        ("connected", "unplugged", "lamp"),
        places,
    ):
        for load_a in (5.0, 18.0):
            act = Act(doing, quantity, load=load, near=near, load_a=load_a)  # type: ignore[arg-type]
            reached |= set(applying(act))
    for caution in CAUTIONS:
        assert caution.source
        assert caution.text.format(load_a=18.0) in reached
        assert len(caution.text) <= 200, caution.name
    assert len(TEXT) == len(CAUTIONS)
