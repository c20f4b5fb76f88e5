"""Checks fault rates from proved repairs: what failed often counts more, within its weight, and no more is made up."""

from __future__ import annotations

from collections import Counter, defaultdict

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.faults.experience import GUESSES_WEIGH, MOST_WEIGH, proved, rates_from
from meterlog.circuit.faults.fault_rates import DEFAULT_RATES, Rates, part_rate
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import load_circuit, template_names

PUMP = load_circuit("pump-feed")
CIRCUITS = [load_circuit(name) for name in template_names()]
IDS = [*PUMP.part_index, *PUMP.commands]


def shares(circuit: Circuit, rates: Rates) -> dict[str, float]:
    """The share of each kind among all faults of a circuit."""
    found: defaultdict[str, float] = defaultdict(float)
    for k, part in enumerate(circuit.parts):
        found[part.kind] += part_rate(circuit, k, rates)
    for command in circuit.commands:
        found["command"] += rates.of(command, "command")
    return found


def total(circuit: Circuit, rates: Rates) -> float:
    return sum(shares(circuit, rates).values())


@given(st.lists(st.sampled_from(IDS), min_size=1, max_size=100))
def test_the_sum_of_rates_is_kept_and_each_share_is_the_mean_of_a_dirichlet(parts: list[str]) -> None:
    rates = rates_from([proved(PUMP, part) for part in parts])
    assert total(PUMP, rates) == pytest.approx(total(PUMP, Rates()))
    weight = min(1.0, MOST_WEIGH / len(parts))
    count = Counter(proved(PUMP, part).kind for part in parts)
    for kind, guessed in shares(PUMP, Rates()).items():
        guess = guessed / total(PUMP, Rates())
        wanted = (GUESSES_WEIGH * guess + weight * count[kind]) / (GUESSES_WEIGH + weight * len(parts))
        assert shares(PUMP, rates)[kind] / total(PUMP, rates) == pytest.approx(wanted)


@given(st.lists(st.tuples(st.sampled_from(CIRCUITS), st.integers(0, 50)), max_size=40), st.integers(1, 20))
def test_more_proved_relays_raise_relays_alone(seen: list[tuple[Circuit, int]], more: int) -> None:
    repairs = [proved(circuit, circuit.parts[k % len(circuit.parts)].id) for circuit, k in seen]
    before, after = (rates_from([*repairs, *[proved(PUMP, "relay")] * n]) for n in (1, 1 + more))
    assert after.of("relay", "relay_contact") > before.of("relay", "relay_contact")
    for kind in shares(PUMP, Rates()):
        assert after.of(kind, kind) > 0
        if kind != "relay_contact" and not repairs:
            assert after.of(kind, kind) < before.of(kind, kind)


def test_ever_so_many_relays_weigh_no_more_than_the_most() -> None:
    at_the_most, many = (rates_from([proved(PUMP, "relay")] * n) for n in (int(MOST_WEIGH), 10_000))
    assert many.by_name == pytest.approx(at_the_most.by_name)
    guess = shares(PUMP, Rates())["relay_contact"] / total(PUMP, Rates())
    share = shares(PUMP, many)["relay_contact"] / total(PUMP, many)
    assert share == pytest.approx((GUESSES_WEIGH * guess + MOST_WEIGH) / (GUESSES_WEIGH + MOST_WEIGH))


def test_kinds_that_no_circuit_had_and_the_other_shares_stay_as_guessed() -> None:
    rates = rates_from([proved(PUMP, "relay")] * 14)
    for kind in ("healthy", "pair", "intermittent", *(DEFAULT_RATES.keys() - shares(PUMP, Rates()).keys())):
        assert rates.of(kind, kind) == DEFAULT_RATES[kind]


def test_the_diagnosis_says_where_its_rates_are_from_and_suspects_what_failed_before() -> None:
    experienced = Diagnoser(PUMP, rates_from([proved(PUMP, "relay")] * 14)).diagnose([], [], suggestions=0)
    fresh = Diagnoser(PUMP, rates_from([])).diagnose([], [], suggestions=0)
    assert experienced.rates_source == "from 14 closed jobs of yours, beside guesses that weigh as 20 jobs"
    assert fresh.rates_source == Rates().source
    first, usual = experienced.hypotheses[0], next(h for h in fresh.hypotheses if h.part == "relay")
    assert first.part == "relay"
    assert first.probability > 2 * usual.probability
