"""Every quantity has the trade's cautions that fit it."""

from __future__ import annotations

import pytest

from meterlog.capture.cautions import GENERAL, cautions
from meterlog.reading import Quantity


@pytest.mark.parametrize("quantity", Quantity)
def test_every_quantity_is_known(quantity: Quantity) -> None:
    texts = cautions(quantity)
    assert all(text.endswith(".") for text in texts)
    assert len(texts) == len(set(texts))


def test_the_cautions_fit_the_quantity() -> None:
    assert any("current jack" in text for text in cautions(Quantity.DC_CURRENT))
    assert any("switched off and isolated" in text for text in cautions(Quantity.RESISTANCE))
    assert any("CAT" in text for text in cautions(Quantity.AC_VOLTAGE))
    assert any("Back-probe" in text for text in cautions(Quantity.DC_VOLTAGE))
    assert not any("current jack" in text for text in cautions(Quantity.DC_VOLTAGE))


def test_fuel_airbags_and_the_law_come_always() -> None:
    general = " ".join(GENERAL)
    for word in ("Fuel vapour", "airbag", "service information", "move when cranked", "High-voltage"):
        assert word in general
