"""Says in one sentence what is wrong, and which part or 'healthy' is sure enough to act on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from meterlog.circuit.hypotheses import LIKELY, Hypothesis
from meterlog.circuit.next_measurement.outlook import SEEN_TO_COME_AND_GO
from meterlog.circuit.words import figure
from meterlog.text.figures import percent

SURE = 0.9
"""From this probability on, a verdict names the part without 'most likely', and a repair is due. A guess."""
NAMED_TOO = 0.05
"""From this probability on, a verdict names a part as another possibility. A guess."""
BY_FAR = 3.0
"""Times as probable as the next from which 'healthy' is the verdict below one half too, said to be unproven. Guess."""
FITS_NOTHING = "these readings fit nothing in this circuit"
LOOK_AGAIN = "check the drawing, where the probes were, and what else hangs on this fuse and this ground"
NOTHING_YET = "nothing is measured yet, so the probabilities are the usual fault rates"


def decided(hypotheses: Sequence[Hypothesis], healthy: float, comes: float) -> str:
    """Name the part, or 'healthy', that is sure; a contact that was not seen to fail does not stand in the way."""
    if healthy + (comes if comes < SEEN_TO_COME_AND_GO else 0.0) >= SURE:
        return "healthy"
    return hypotheses[0].part if hypotheses and hypotheses[0].probability >= SURE else ""


def verdict_of(
    hypotheses: Sequence[Hypothesis], healthy: float, several: float, comes: float, lost: Mapping[str, float]
) -> str:
    """Say what is wrong within this circuit; `lost` are the volts that each of two parts at fault takes."""
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
