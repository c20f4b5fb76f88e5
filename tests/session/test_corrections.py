"""Checks that what a person entered can be corrected: all of it or nothing, and no reading is touched."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.errors import NotASession, UsageError
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.corrections import correct


def test_details_labels_and_points_change_and_the_readings_stay(session: Path) -> None:
    with open_reader(session) as reader:
        before = reader.series(1)
    correct(session, {"vehicle": "blue van", "complaint": "dies"}, {1: "pump feed"}, {1: "C12, pin 3"})
    with open_reader(session) as reader:
        assert reader.details == {"vehicle": "blue van", "complaint": "dies"}
        (channel,) = reader.channels
        after = reader.series(1)
        assert (len(reader.markers), len(reader.link_changes), reader.ended) == (2, 2, "clean")
    assert (channel.label, channel.point, channel.address) == ("pump feed", "C12, pin 3", "sim:x")
    assert np.array_equal(after.time_s, before.time_s)
    assert np.array_equal(after.value, before.value)
    assert [file.name for file in session.parent.iterdir()] == [session.name]


def test_an_empty_text_takes_a_detail_or_a_point_away(session: Path) -> None:
    correct(session, {"vehicle": "", "never entered": ""}, points={1: ""})
    with open_reader(session) as reader:
        assert reader.details == {}
        assert (reader.channels[0].label, reader.channels[0].point) == ("feed", "")


@pytest.mark.parametrize(
    ("labels", "points", "said"),
    [
        ({1: "a", 2: "b"}, {}, "no channel 2 in .*; its channels are 1"),
        ({}, {1: "a", 0: "b"}, "no channel 0"),
        ({1: "  "}, {}, "a label wants a text"),
        ({1: "\udcff"}, {}, "no text in UTF-8"),
    ],
)
def test_what_cannot_be_done_leaves_all_as_it_was(
    session: Path, labels: dict[int, str], points: dict[int, str], said: str
) -> None:
    before = session.read_bytes()
    with pytest.raises(UsageError, match=said):
        correct(session, {"vehicle": "other"}, labels, points)
    assert session.read_bytes() == before
    with pytest.raises(NotASession):
        correct(session.with_name("absent.sqlite"), {"vehicle": "other"})


def test_while_it_is_recorded_only_its_details_change(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, details={"vehicle": "van"}) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(writer.monotonic_start_s, 12.0, Quantity.DC_VOLTAGE)])
        writer.flush()
        correct(path, {"complaint": "dies"})
        with pytest.raises(UsageError, match="is being recorded"):
            correct(path, {"vehicle": "other"}, {1: "pump feed"})
        writer.append(channel, [Reading(writer.monotonic_start_s + 1.0, 12.0, Quantity.DC_VOLTAGE)])
    with open_reader(path) as reader:
        assert reader.details == {"vehicle": "van", "complaint": "dies"}
        assert reader.count(channel) == 2
