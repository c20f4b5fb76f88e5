"""The diagnosis: which part, how sure, on what evidence, what contradicts what, and what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.cautions import DEFERS, applying
from meterlog.circuit.acts import trying
from meterlog.circuit.cost import Choice, Money, choice
from meterlog.circuit.evidence.contradictions import contradictions
from meterlog.circuit.evidence.for_and_against import Case
from meterlog.circuit.evidence.lost_voltage import lost_v
from meterlog.circuit.evidence.repeats import without_repeats
from meterlog.circuit.faults.fault_cells import all_cells
from meterlog.circuit.faults.fault_rates import Rates
from meterlog.circuit.hypotheses import LIKELY, Array, Hypothesis, chances_of, hypotheses_of, suspects_of
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.next_measurement.candidates import Tool
from meterlog.circuit.next_measurement.outlook import outlook_of, works_or_not
from meterlog.circuit.next_measurement.propose import Step, in_order, propose, warming, worth
from meterlog.circuit.next_measurement.suggest import LEAST_BITS, Suggestion, suggest
from meterlog.circuit.probability.posterior import Posterior, posterior
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.when_hot import is_cold
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.suspicious_readings import stays_on
from meterlog.circuit.readings.trial import Told
from meterlog.circuit.verdict import FITS_NOTHING, LOOK_AGAIN, NOTHING_YET, decided, verdict_of
from meterlog.text.figures import percent

NOW_AND_THEN, COMES_IF_SAID = "now and then", 0.5
"""The complaint of what fails and works again, and in how many of these a contact comes and goes, if the circuit is the
right one. A guess."""
LEAST_BITS_WHEN_LIKELY = 0.05
"""Least information worth the way to the vehicle once one answer is likelier than all others together: what is left
then are mostly faults that no reading of the circuit tells. Guess."""
DOUBTED = 0.5
"""From this probability on that it is a bad one a reading is doubted: said where it is asked for again. A choice."""
WRONG_REPAIR_MIN = 120.0
"""Minutes that it costs to call a faulty circuit good: the way back and the search elsewhere. A guess."""


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
        return decided(self.hypotheses, 0.0 if self.cold else self.healthy, self.comes_and_goes)

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
        self.suspects = suspects_of(circuit, self.cells)
        self.tool: Tool = tool
        self._money = money or Money()
        self._engine_runs = engine_runs
        self._dead = complaint == "dead"
        self._comes_share = self.rates.of("intermittent", "intermittent")
        if complaint == NOW_AND_THEN:  # relative to the cells, which hold the rest
            self._comes_share = (1 - self._comes_share) * COMES_IF_SAID / (1 - COMES_IF_SAID)

    def diagnose(
        self,
        measured: Sequence[Measurement],
        tried: Sequence[Told] = (),
        *,
        suggestions: int = 5,
        sentences: bool = True,
    ) -> Diagnosis:
        """Diagnose from the readings.

        Args:
            measured: the readings.
            tried: what was tried and observed.
            suggestions: how many next measurements to work out; what is worth trying before the last of them comes
                besides.
            sentences: say what speaks for and against each part, and what is inconsistent; that is a fifth of the work.
        """
        known = self.weigh(measured, tried)
        case = Case(self.network, known, measured, tried)
        chances = self.chances(known.weight, known.comes_and_goes)
        healthy = chances.pop("healthy")
        several = float(known.weight[self.cells.part[:, 1] >= 0].sum())
        told = self._told_once(case) if sentences else None
        lost = lost_v(self.network, known) if several > LIKELY else {}
        hypotheses = hypotheses_of(case, told, self.suspects, chances, lost)
        comes = float(known.comes_and_goes.sum())
        cold = is_cold(tried)
        sure = decided(hypotheses, 0.0 if cold else healthy, comes)
        likely = max([healthy, *(h.probability for h in hypotheses)]) >= LIKELY
        least_bits = LEAST_BITS_WHEN_LIKELY if likely else LEAST_BITS
        following = self._following(known, measured, tried, suggestions, least_bits) if suggestions else ()
        acting = self._acting(hypotheses, healthy, following)
        if acting is not None and (acting.quicker or (sure and not acting.pays)):
            following = ()
        if sure == "healthy":
            following = tuple(s for s in following if (s.right_after - healthy) * WRONG_REPAIR_MIN > s.minutes)
            following = following or (() if cold or not suggestions else self._once_more(known, measured))
        if cold and suggestions and not following and healthy > hypotheses[0].probability:
            following = (warming(outlook_of(self.network, known)),)
        verdict = verdict_of(hypotheses, healthy, several, comes, lost) if measured or tried else NOTHING_YET
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
            inconsistent=tuple(contradictions(case, self.suspects, on)) if sentences else (),
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
        doubted = [m for m, bad in zip(measured, known.bad, strict=True) if bad > DOUBTED]
        found = suggest(outlook, measured, suggestions, least_bits, self.tool, self._engine_runs, doubted)
        least = min(map(worth, found), default=0.0)
        return in_order(found, propose(outlook, measured, tried, least_bits, least))

    def _once_more(self, known: Posterior, measured: Sequence[Measurement]) -> tuple[Step, ...]:
        """Give a reading of a circuit that works, in case a contact comes and goes: worth it as long as a vehicle that
        is given back with one is likely to cost more."""
        outlook = works_or_not(outlook_of(self.network, known, unseen=True))
        found = suggest(outlook, measured, 1, LEAST_BITS, self.tool, self._engine_runs)
        right = float(outlook.by_part.sum(axis=1).max())
        return tuple(s for s in found if (s.right_after - right) * WRONG_REPAIR_MIN > s.minutes)

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
        """The probability that each part or command is at fault, and of 'healthy' (see `chances_of`)."""
        return chances_of(self.circuit, self.cells, weight, comes_and_goes)

    def _told_once(self, case: Case) -> Case:
        """The case without what repeats an earlier reading: two that agree leave nothing for each other to say."""
        once = without_repeats(case.measured)
        if len(once) == len(case.measured):
            return case
        return Case(self.network, self.weigh(once, case.tried), once, case.tried)


def diagnose(
    circuit: Circuit,
    measured: Sequence[Measurement],
    tried: Sequence[Told] = (),
    rates: Rates | None = None,
) -> Diagnosis:
    """Diagnose a circuit once."""
    return Diagnoser(circuit, rates).diagnose(measured, tried)
