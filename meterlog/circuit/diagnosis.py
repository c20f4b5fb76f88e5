"""The diagnosis: which part, how sure, on what evidence, what contradicts what, and what to measure next."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.cautions import DEFERS, applying
from meterlog.circuit.acts import trying
from meterlog.circuit.cost import Choice, Money, choice
from meterlog.circuit.evidence.behind_command import Behind, behind_command
from meterlog.circuit.evidence.contradictions import contradictions
from meterlog.circuit.evidence.for_and_against import (
    BAND,
    Case,
    Suspect,
    comes_and_goes_evidence,
    evidence,
    without_repeats,
)
from meterlog.circuit.evidence.lost_voltage import heaviest_first, lost_v
from meterlog.circuit.faults.cells import COMMAND_FAULTS, FAULTS, Cells, first_healthy
from meterlog.circuit.faults.fault_cells import all_cells
from meterlog.circuit.faults.fault_rates import Rates
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.candidates import Tool
from meterlog.circuit.next_measurement.outlook import SEEN_TO_COME_AND_GO, outlook_of
from meterlog.circuit.next_measurement.propose import Step, in_order, propose, warming
from meterlog.circuit.next_measurement.suggest import LEAST_BITS, Suggestion, suggest
from meterlog.circuit.probability.outside import MODEL_WRONG
from meterlog.circuit.probability.posterior import Posterior, posterior
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.unknowns import FAULT_1, LOGISTIC
from meterlog.circuit.probability.when_hot import is_cold
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.suspicious_readings import stays_on
from meterlog.circuit.readings.trial import Told
from meterlog.circuit.words import figure, ohm_band
from meterlog.text.figures import percent

SURE = 0.9
"""From this probability on, a verdict names the part without 'most likely', and a repair is due. A guess."""
NOW_AND_THEN, COMES_IF_SAID = "now and then", 0.5
"""The complaint of what fails and works again, and in how many of these a contact comes and goes, if the circuit is the
right one. A guess."""
LIKELY = 0.5
"""From this probability on, a part is 'most likely', and two faults or a loose contact are the verdict. A guess."""
NAMED_TOO = 0.05
"""From this probability on, a verdict names a part as another possibility. A guess."""
BY_FAR = 3.0
"""Times as probable as the next from which 'healthy' is the verdict below one half too, said to be unproven. Guess."""
LEAST_BITS_WHEN_LIKELY = 0.05
"""Least information worth the way to the vehicle once one answer is likelier than all others together: what is left
then are mostly faults that no reading of the circuit tells. Guess."""
WRONG_REPAIR_MIN = 120.0
"""Minutes that it costs to call a faulty circuit good: the way back and the search elsewhere. A guess."""
LEAST_SHOWN = 0.005
"""Parts below this probability are not listed, but the likeliest. A guess."""
CELLS_OF_BAND = 1e-6
"""Cells below this share of a part's likeliest one do not count for its band."""
FITS_NOTHING = "these readings fit nothing in this circuit"
LOOK_AGAIN = "check the drawing, where the probes were, and what else hangs on this fuse and this ground"
NOTHING_YET = "nothing is measured yet, so the probabilities are the usual fault rates"

Array = NDArray[np.float64]

_FAULT_WORDS = {
    "open": "is open",
    "high_resistance": "has too much resistance",
    "short_to_ground": "is shorted to ground and has blown the fuse",
    "wrong_size": "has blown and is of too small a size",
    "branch_shorted": "has blown since something else that hangs on it is shorted",
    "not_commanded": "is not commanded",
    "half_commanded": "is commanded in one position of the key and not in another",
    "weakly_commanded": "is too weak to close the contact",
    "stuck_closed": "never opens",
    "leaks": "is wet or dirty and leaks to another contact",
    "fed_elsewhere": "gets a feed from elsewhere, past the open contact",
    "stalled": "stands still and draws its stall current",
    "intermittent": "comes and goes",
}


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One part at fault.

    Attributes:
        part: its id; for a command that never comes, the command's id.
        fault: its most likely fault, one of `FAULTS`.
        probability: that this part is at fault, alone or with another; the sum over parts may exceed 1.
        resistance_ohm: the 90 % band of its fault resistance, ohm, inf for open; None where it has none.
        speaks_for: sentences.
        speaks_against: sentences.
        words: the fault as a person says it, to follow the part's name: `is open`, `draws too much current`.
        behind: what may be behind a command that does not come, with the way on; empty for a part.
    """

    part: str
    fault: str
    probability: float
    resistance_ohm: tuple[float, float] | None
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    words: str
    behind: tuple[Behind, ...] = ()

    @property
    def title(self) -> str:
        """The fault's name with its resistance or, where the name says little, what it does."""
        if self.fault == "weak":
            return self.words.removeprefix("is ")
        return self.fault.replace("_", " ") + ohm_band(self.resistance_ohm)

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`; infinity as null."""
        band = self.resistance_ohm
        return {
            "part": self.part,
            "fault": self.fault,
            "probability": round(self.probability, 4),
            "resistance_ohm": None if band is None else [_finite(band[0]), _finite(band[1])],
            "for": list(self.speaks_for),
            "against": list(self.speaks_against),
            **({"behind": [one.as_json() for one in self.behind]} if self.behind else {}),
        }


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The state of a circuit, as far as the readings tell.

    Attributes:
        verdict: one plain sentence.
        hypotheses: in order of probability.
        healthy: probability that nothing in the circuit is at fault.
        several: probability that two parts are.
        comes_and_goes: probability that one part's contact comes and goes.
        outside: probability that the readings fit nothing in this circuit.
        steps: what to measure or to try, in order of information per minute.
        inconsistent: sentences about readings that cannot all be right.
        rates_source: where the fault rates came from.
        repair_cautions: what to mind before putting right what is `decided`; empty while nothing is.
        acting: putting the likeliest part right, beside the best reading; None where none is likely, or none is left.
        cold: it is said to fail only when hot, and was not warmed up yet: a circuit that works cold is not cleared.
    """

    verdict: str
    hypotheses: tuple[Hypothesis, ...]
    healthy: float
    several: float
    comes_and_goes: float
    outside: float
    steps: tuple[Step, ...]
    inconsistent: tuple[str, ...]
    rates_source: str
    repair_cautions: tuple[str, ...]
    acting: Choice | None
    cold: bool

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`."""
        return {
            "verdict": self.verdict,
            "hypotheses": [h.as_json() for h in self.hypotheses],
            "healthy": round(self.healthy, 4),
            "next": [step.as_json() for step in self.steps],
            "inconsistent": list(self.inconsistent),
            "choice": self.acting and self.acting.text,
            "outside": round(self.outside, 4),
        }

    @property
    def next(self) -> tuple[Suggestion, ...]:
        """The measurements among the steps."""
        return tuple(step for step in self.steps if isinstance(step, Suggestion))

    @property
    def decided(self) -> str:
        """The part, or 'healthy', that is sure enough to act on; empty while none is."""
        return _decided(self.hypotheses, 0.0 if self.cold else self.healthy, self.comes_and_goes)

    @property
    def enough(self) -> str:
        """The sentence that ends the questions, when no measurement is worth its time any more."""
        if not self.decided and self.acting is not None:
            return f"Enough is measured: {self.acting.text}."
        if not self.decided:
            return "No further measurement that this circuit allows would tell much more."
        if self.decided == "healthy":
            return "Enough is measured: this circuit works; look elsewhere, or watch it while the vehicle is driven."
        return f"Enough is measured. Put {self.decided} right and take the same readings again: they prove the repair."


class Diagnoser:
    """Diagnoses one circuit again and again; keeps what does not depend on the readings."""

    def __init__(
        self,
        circuit: Circuit,
        rates: Rates | None = None,
        *,
        complaint: str = "",
        tool: Tool = "meter",
        money: Money | None = None,
        engine_runs: bool = True,
    ) -> None:
        """See the class.

        Args:
            circuit: what is diagnosed.
            rates: fault rates; the defaults where left out.
            complaint: `dead` where the load is known not to work at all in the vehicle, `now and then` where it fails
                and works again, or empty.
            tool: what the next measurements are to be taken with.
            money: what an hour and parts cost; nothing where left out.
            engine_runs: whether the engine can be run, so that something may be measured then.
        """
        self.circuit = circuit
        self.rates = rates or Rates()
        self.cells = all_cells(circuit, self.rates)
        self.network = Network(circuit, self.cells)
        self.suspects = _suspects(circuit, self.cells)
        self.tool: Tool = tool
        self._money = money or Money()
        self._engine_runs = engine_runs
        self._dead = complaint == "dead"
        self._comes_share = self.rates.of("intermittent", "intermittent")
        if complaint == NOW_AND_THEN:  # relative to the cells, which hold the rest
            self._comes_share = (1 - self._comes_share) * COMES_IF_SAID / (1 - COMES_IF_SAID)

    def diagnose(
        self, measured: Sequence[Measurement], tried: Sequence[Told] = (), *, suggestions: int = 5
    ) -> Diagnosis:
        """Diagnose from the readings; `suggestions` is how many next measurements to work out; what is
        worth trying before the last of them comes besides."""
        known = self.weigh(measured, tried)
        case = Case(self.network, known, measured, tried)
        told = self._told_once(case)
        chances = self.chances(known.weight, known.comes_and_goes)
        healthy = chances.pop("healthy")
        several = float(known.weight[self.cells.part[:, 1] >= 0].sum())
        lost = lost_v(self.network, known) if several > LIKELY else {}
        ranked = sorted(chances, key=lambda id_: -chances[id_])
        likely_ones = [id_ for id_ in ranked if chances[id_] >= LIKELY]
        # two at fault: what explains the complaint comes before what is merely not ideal, however sure that is
        ranked = [*heaviest_first(likely_ones, lost), *ranked[len(likely_ones) :]]
        hypotheses = tuple(
            self._hypothesis(case, told, id_, chances[id_])
            for id_ in ranked
            if chances[id_] >= LEAST_SHOWN or id_ == ranked[0]
        )
        comes = float(known.comes_and_goes.sum())
        cold = is_cold(tried)
        sure = _decided(hypotheses, 0.0 if cold else healthy, comes)
        likely = max([healthy, *(h.probability for h in hypotheses)]) >= LIKELY
        least_bits = LEAST_BITS_WHEN_LIKELY if likely else LEAST_BITS
        following = self._following(known, measured, tried, suggestions, least_bits) if suggestions else ()
        acting = self._acting(hypotheses, healthy, following)
        if acting is not None and (acting.quicker or (sure and not acting.pays)):
            following = ()
        if sure == "healthy":
            following = tuple(s for s in following if (s.right_after - healthy) * WRONG_REPAIR_MIN > s.minutes)
        if cold and suggestions and not following and healthy > hypotheses[0].probability:
            following = (warming(outlook_of(self.network, known)),)
        verdict = _verdict(hypotheses, healthy, several, comes, lost) if measured or tried else NOTHING_YET
        if known.outside > max([healthy, *(h.probability for h in hypotheses)]):
            verdict = f"{FITS_NOTHING} ({percent(known.outside)}): {LOOK_AGAIN}. Within it: {verdict}"
        on = stays_on(measured, self.circuit)
        if on:
            verdict = f"{on}. As for lost voltage: {verdict}"
        return Diagnosis(
            verdict=f"{verdict}; {DEFERS}.",
            hypotheses=hypotheses,
            healthy=healthy,
            several=several,
            comes_and_goes=comes,
            outside=known.outside,
            steps=following,
            inconsistent=tuple(contradictions(case, self.suspects, on)),
            rates_source=self.rates.source,
            repair_cautions=self._repair_cautions(sure or (acting.part if acting and not following else "")),
            acting=acting,
            cold=cold,
        )

    def _following(
        self,
        known: Posterior,
        measured: Sequence[Measurement],
        tried: Sequence[Told],
        suggestions: int,
        least_bits: float,
    ) -> tuple[Step, ...]:
        """The best measurements, and what is worth trying before the last of them."""
        outlook = outlook_of(self.network, known)
        found = suggest(outlook, measured, suggestions, least_bits, self.tool, self._engine_runs)
        return in_order(found, propose(outlook, measured, tried, least_bits))

    def _acting(self, hypotheses: Sequence[Hypothesis], healthy: float, following: Sequence[Step]) -> Choice | None:
        """Set putting the likeliest part right beside the best reading; None where no part is likely yet."""
        first = hypotheses[0] if hypotheses else None
        if first is None or not following or first.probability < max(LIKELY, healthy):
            return None
        if first.fault == "branch_shorted":
            return None  # another fuse puts nothing right, and what hangs on it stands in another diagram
        return choice(self.circuit, first.part, first.probability, following[0], self._money)

    def _repair_cautions(self, decided: str) -> tuple[str, ...]:
        return () if decided in ("", "healthy") else applying(trying(self.circuit, "replace", decided))

    def weigh(self, measured: Sequence[Measurement], tried: Sequence[Told] = ()) -> Posterior:
        """The cells' probabilities alone."""
        return posterior(self.network, measured, tried, self._comes_share, dead=self._dead)

    def chances(self, weight: Array, comes_and_goes: Array) -> dict[str, float]:
        """The probability that each part or command is at fault, and of 'healthy', with what `MODEL_WRONG` leaves."""
        cells, found = self.cells, {}
        weight = (1 - MODEL_WRONG) * weight + MODEL_WRONG * cells.prior
        comes_and_goes = (1 - MODEL_WRONG) * comes_and_goes
        for k, part in enumerate(self.circuit.parts):
            found[part.id] = float(weight[(cells.part == k).any(axis=1)].sum() + comes_and_goes[k])
        for command, k in self.circuit.commands.items():
            found[command] = float(weight[cells.command_at == k].sum() + comes_and_goes[len(self.circuit.parts) + k])
        found["healthy"] = float(weight[cells.fault == FAULTS.index("healthy")].sum())
        return found

    def _told_once(self, case: Case) -> Case:
        """The case without what repeats an earlier reading: two that agree leave nothing for each other to say."""
        once = without_repeats(case.measured)
        if len(once) == len(case.measured):
            return case
        return Case(self.network, self.weigh(once, case.tried), once, case.tried)

    def _hypothesis(self, case: Case, told: Case, id_: str, probability: float) -> Hypothesis:
        cells, weight = self.cells, case.known.weight
        this = next(suspect for suspect in self.suspects if suspect.name == id_)
        member = this.member
        if id_ in self.circuit.commands:
            ways = {f: float(weight[member & (cells.fault == FAULTS.index(f))].sum()) for f in COMMAND_FAULTS}
            k = len(self.circuit.parts) + self.circuit.commands[id_]
            ways["intermittent"] = float(case.known.comes_and_goes[k])
            fault, band = max(ways, key=lambda name: ways[name]), None
        else:
            k = self.circuit.part_index[id_]
            by_fault = {f: float(weight[member & (cells.fault == FAULTS.index(f))].sum()) for f in FAULTS}
            by_fault["intermittent"] += float(case.known.comes_and_goes[k])
            # a pair is open where either part is: the fault of this one is told by its own resistance
            pairs = weight * (member & (cells.part[:, 1] >= 0))
            own_open = float(pairs[np.isinf(cells.ohm[:, k])].sum())
            moved = (
                by_fault["open"] - float(weight[member & (cells.part[:, 1] < 0) & (cells.fault == 0)].sum()) - own_open
            )
            by_fault["open"] -= moved
            by_fault["high_resistance"] += moved
            fault = max(by_fault, key=lambda name: by_fault[name])
            band = self._band(case, k, member) if fault in ("open", "high_resistance") else None
        if fault == "intermittent":
            sentences: tuple[tuple[str, ...], tuple[str, ...]] = (comes_and_goes_evidence(case, k), ())
        else:
            sentences = evidence(told, this, self.suspects)
        words = _FAULT_WORDS.get(fault) or self._weak_words(member & (cells.fault == FAULTS.index("weak")), weight)
        if fault != "open":
            words += ohm_band(band)
        behind = behind_command(self.circuit, fault, case.tried) if id_ in self.circuit.commands else ()
        return Hypothesis(id_, fault, min(probability, 1.0), band, *sentences, words, behind)

    def _weak_words(self, weak: NDArray[np.bool_], weight: Array) -> str:
        """Say how a part is weak: the battery by its voltages, a load by the current that its cells draw."""
        if (self.cells.part[weak, 0] == 0).all():
            if not self.circuit.charges:
                return "is weak or not charged"
            running_v = self.cells.source_v[:, 2]
            over = weight[weak & (running_v > running_v[first_healthy(self.cells)])].sum()
            return "charges too much" if over > weight[weak].sum() / 2 else "does not charge"
        too_much = weight[weak & (self.cells.share > 1)].sum() > weight[weak & (self.cells.share < 1)].sum()
        return "draws too much current" if too_much else "draws too little current"

    def _band(self, case: Case, k: int, member: NDArray[np.bool_]) -> tuple[float, float]:
        """The 90 % band of a part's fault resistance."""
        cells = self.cells
        rows = np.flatnonzero(member & (case.known.weight > CELLS_OF_BAND * case.known.weight[member].max()))
        weight = case.known.weight[rows]
        mean, covariance = case.known.unknowns(rows)
        slot = (cells.part[rows, 1] == k).astype(int)
        at = FAULT_1 + slot
        every = np.arange(len(rows))
        spread = cells.ohm_spread[rows, slot]
        fault_ohm = cells.ohm[rows, k] - self.circuit.healthy_ohm()[k]
        finite = np.isfinite(fault_ohm) & (fault_ohm > 0)
        if not finite.any():
            return (math.inf, math.inf)
        middle = np.log(fault_ohm[finite]) + spread[finite] * mean[every, at][finite]
        width = spread[finite] * np.sqrt(np.maximum(covariance[every, at, at][finite], 1e-6))
        grid = np.linspace(middle.min() - 3, middle.max() + 3, 400)
        below = 1 / (1 + np.exp(np.clip(-LOGISTIC * (grid[:, None] - middle) / width, -50, 50)))
        share = below @ weight[finite] / weight.sum()
        low, high = (np.searchsorted(share, q) for q in BAND)
        return tuple(float(np.exp(grid[i])) if i < len(grid) else math.inf for i in (low, high))  # type: ignore[return-value]


def diagnose(
    circuit: Circuit,
    measured: Sequence[Measurement],
    tried: Sequence[Told] = (),
    rates: Rates | None = None,
) -> Diagnosis:
    """Diagnose a circuit once."""
    return Diagnoser(circuit, rates).diagnose(measured, tried)


def _suspects(circuit: Circuit, cells: Cells) -> list[Suspect]:
    """Every part and command, and nothing, with their cells."""
    parts = [Suspect(part.id, (cells.part == k).any(axis=1)) for k, part in enumerate(circuit.parts)]
    commands = [Suspect(command, cells.command_at == k) for command, k in circuit.commands.items()]
    return [*parts, *commands, Suspect("", cells.fault == FAULTS.index("healthy"))]


def _decided(hypotheses: Sequence[Hypothesis], healthy: float, comes: float) -> str:
    """Name the part, or 'healthy', that is sure; a contact that was not seen to fail does not stand in the way."""
    if healthy + (comes if comes < SEEN_TO_COME_AND_GO else 0.0) >= SURE:
        return "healthy"
    return hypotheses[0].part if hypotheses and hypotheses[0].probability >= SURE else ""


def _verdict(
    hypotheses: Sequence[Hypothesis], healthy: float, several: float, comes: float, lost: Mapping[str, float]
) -> str:
    if comes > LIKELY and hypotheses[0].probability < LIKELY:
        where = " or ".join(f"{h.part} ({percent(h.probability)})" for h in hypotheses[:4] if h.fault == "intermittent")
        return f"a contact comes and goes ({percent(comes)}), where is not decided yet: {where}"
    if healthy > hypotheses[0].probability:
        if healthy >= LIKELY:
            return f"healthy: the readings fit a circuit without a fault ({percent(healthy)})"
        by_far = healthy >= BY_FAR * hypotheses[0].probability
        others = _named(hypotheses[:3])
        rest = f"; otherwise {others}" if others else ""
        sure = "healthy, by far the likeliest but not proven:" if by_far else "not decided yet, likeliest so far:"
        return f"{sure} no fault in this circuit ({percent(healthy)}){rest}"
    top = hypotheses[0]
    if several > LIKELY and len(hypotheses) > 1:
        others = _named(hypotheses[1:4])
        both = [h for h in hypotheses if h.probability >= LIKELY and h.part in lost]
        volts = ", ".join(f"about {figure(lost[h.part], 'V', 1)} at {h.part}" for h in both)
        return (
            f"more than one part loses voltage ({percent(several)}): most likely {top.part}"
            f" ({percent(top.probability)}), and with it {others}{f'; {volts}' if len(both) > 1 else ''}"
        )
    said = f"{top.part} {top.words} ({percent(top.probability)})"
    if top.probability >= SURE:
        return said
    others = _named(hypotheses[1:4])
    rest = f"; otherwise {others}" if others else ""
    return f"{'most likely' if top.probability >= LIKELY else 'not decided yet, likeliest so far:'} {said}{rest}"


def _named(hypotheses: Sequence[Hypothesis]) -> str:
    """Name the parts that are worth naming as other possibilities."""
    return " or ".join(f"{h.part} ({percent(h.probability)})" for h in hypotheses if h.probability > NAMED_TOO)


def _finite(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None
