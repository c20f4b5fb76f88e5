"""Checks the way from a complaint to a circuit: words understood, looks chosen, chances that are true."""

from __future__ import annotations

import random

import pytest

from meterlog.circuit.complaints.complaint import ENOUGH, Complaint, standing
from meterlog.circuit.complaints.complaint_file import complaint_from_toml, complaints, find_complaint
from meterlog.circuit.model.circuit_file import template_names
from meterlog.errors import CircuitError

COMPLAINTS = {complaint.id: complaint for complaint in complaints()}

SMALL = b"""complaint = "hums"
[circuits]
a = 0.5
b = 0.5
[[look]]
key = "loud"
minutes = 1
yes = {a = 0.9, b = 0.2}
no = {a = 0.1, b = 0.8}
[[look]]
key = "hot"
minutes = 10
yes = {a = 0.99, b = 0.01}
no = {a = 0.01, b = 0.99}
"""


@pytest.mark.parametrize(
    ("words", "id_"),
    [
        ("cranks, does not start", "cranks-does-not-start"),
        ("The car cranks but does not start in the morning", "cranks-does-not-start"),
        ("turns over, won't start", "cranks-does-not-start"),
        ("doesn't crank", "does-not-crank"),
        ("dies and restarts", "dies-and-restarts"),
        ("battery flat in the morning", "battery-flat"),
        ("not charging", "not-charging"),
        ("my horn does not work", "does-not-work"),
        ("purple", None),
    ],
)
def test_a_complaint_is_found_by_its_words(words: str, id_: str | None) -> None:
    found = find_complaint(words)
    assert (found.id if found else None) == id_


@pytest.mark.parametrize("complaint", complaints(), ids=lambda complaint: complaint.id)
def test_every_circuit_is_a_template_or_says_the_way_on(complaint: Complaint) -> None:
    for name in complaint.circuits:
        assert (name in template_names()) != (name in complaint.names)


def test_the_look_that_tells_most_a_minute_comes_first() -> None:
    small = complaint_from_toml(SMALL, "small")
    now = standing(small, {})
    assert now.next is not None
    assert now.next.key == "loud"  # 0.4 bits in a minute, against 0.9 in ten


def test_chances_follow_from_the_answers_and_a_likely_circuit_is_chosen() -> None:
    small = complaint_from_toml(SMALL, "small")
    now = standing(small, {"loud": "yes"})
    assert now.chances["a"] == pytest.approx(0.45 / 0.55)
    assert (now.chosen, now.next) == ("a", None)
    unsure = standing(small, {"loud": "unknown"})
    assert unsure.chances == {"a": 0.5, "b": 0.5}
    assert unsure.next is not None
    assert unsure.next.key == "hot"
    assert standing(small, {"loud": "unknown", "hot": "unknown"}).next is None


@pytest.mark.parametrize("complaint", complaints(), ids=lambda complaint: complaint.id)
def test_what_is_chosen_is_right_as_often_as_is_claimed(complaint: Complaint) -> None:
    rng = random.Random(77)
    claimed, right = [], []
    for _ in range(1500):
        true = rng.choices(list(complaint.circuits), list(complaint.circuits.values()))[0]
        observed: dict[str, str] = {}
        while (now := standing(complaint, observed)).next is not None:
            look = now.next
            weights = [shares[true] for shares in look.answers.values()]
            observed[look.key] = rng.choices(list(look.answers), weights)[0]
        if now.chosen:
            claimed.append(now.chances[now.chosen])
            right.append(now.chosen == true)
    assert len(claimed) > 500
    assert min(claimed) >= ENOUGH
    assert sum(right) / len(right) == pytest.approx(sum(claimed) / len(claimed), abs=0.04)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"b = 0.5", b"b = 0.4", "add up to 0.9, not to 1"),
        (b"no = {a = 0.1, b = 0.8}", b"no = {a = 0.1}", "the answers of 'b' add up to"),
        (b"minutes = 10", b"minutes = 0", "look 'hot' needs a 'key' and 'minutes' above 0"),
        (b"yes = {a = 0.9, b = 0.2}", b"yes = 3", "look 'loud', 'yes' must be a table"),
    ],
)
def test_a_slip_in_a_file_names_the_look(old: bytes, new: bytes, said: str) -> None:
    with pytest.raises(CircuitError, match=said):
        complaint_from_toml(SMALL.replace(old, new), "small")


def test_an_answer_or_a_look_that_does_not_exist_is_named() -> None:
    cranks = COMPLAINTS["cranks-does-not-start"]
    with pytest.raises(CircuitError, match="'prime_heard' is answered by yes, no or unknown, not 'maybe'"):
        standing(cranks, {"prime_heard": "maybe"})
    with pytest.raises(CircuitError, match="did you mean 'prime_heard'"):
        cranks.look("prime_herd")


def test_some_complaint_points_to_every_circuit_that_comes_with_the_program() -> None:
    assert set(template_names()) <= {name for complaint in complaints() for name in complaint.circuits}


@pytest.mark.parametrize(
    ("words", "seen"),
    [
        (
            "cranks, does not start",
            {
                "engine_lamp_lit": "yes",
                "prime_heard": "no",
                "key_lamp_blinks": "no",
                "tachometer_moves": "yes",
                "fuel_at_rail": "no",
            },
        ),
        (
            "dies now and then",
            {
                "tachometer_falls": "with the engine",
                "charge_lamp_lit": "no",
                "lamps_go_out": "no",
                "prime_heard_after": "no",
            },
        ),
    ],
)
@pytest.mark.parametrize(("shared", "chosen"), [("yes", "pump-and-heater"), ("no", "pump-feed")])
def test_a_pump_that_shares_its_fuse_is_told_by_the_fuse_list(
    words: str, seen: dict[str, str], shared: str, chosen: str
) -> None:
    complaint = find_complaint(words)
    assert complaint is not None
    assert standing(complaint, seen | {"pump_fuse_feeds_more": shared}).chosen == chosen
