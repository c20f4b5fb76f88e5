"""Questions speak of the display as the person sees it: numbers with point and unit."""

from __future__ import annotations

from meterlog_drivers.teach.moments import parse_label
from meterlog_drivers.teach.questions.digit_questions import as_high_as_can_be


def test_the_highest_number_is_quoted_as_the_display_showed_it() -> None:
    labels = [parse_label(text) for text in ("12.52 V", "OL Mohm", "-2.4978 kohm", "330.1 V AC")]
    assert as_high_as_can_be(labels).why == "no higher digits than those of '-2.4978 kohm' were shown"
