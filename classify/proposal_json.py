"""The next change as one JSON object: a proposal goes in, plain values come out.

Computes nothing; the names are kept stable.
"""

from __future__ import annotations

from collections.abc import Callable

from classify.reasoning import NextChange
from classify.report_json import Json
from tracker.types import Message


def proposal_json(proposal: NextChange, say: Callable[[Message], str]) -> dict[str, Json]:
    """Turn a proposal into plain values.

    Parameters
    ----------
    proposal
        From the reasoning.
    say
        Turns a message into a sentence of the wanted language.

    Returns
    -------
    dict
        What to do, why, what to expect, and the table of causes with what speaks for and against.
    """
    offset = proposal.findings.offset
    return {
        "cause": proposal.cause,
        "cause_title": proposal.cause_title,
        "why": proposal.why,
        "cure": proposal.cure,
        "direction": proposal.direction,
        "change": proposal.change,
        "amount": proposal.amount,
        "unit": proposal.unit,
        "is_test": proposal.is_test,
        "before_others": proposal.before_others,
        "expect_clip": proposal.expect_clip,
        "expect_test": proposal.expect_test,
        "stop": proposal.stop,
        "caution": proposal.caution,
        "source": proposal.source,
        "passed_over": [say(text) for text in proposal.passed_over],
        "conflicts": [say(text) for text in proposal.conflicts],
        "notes": [say(text) for text in proposal.findings.notes],
        "later": list(proposal.later),
        "findings": {name: float(sure) for name, sure in proposal.findings.sure.items()},
        "bare_shaft": None
        if offset is None
        else {
            "distance_m": offset.distance_m,
            "right_cm": 100 * float(offset.offset_m[0]),
            "up_cm": 100 * float(offset.offset_m[1]),
            "right_interval_cm": [100 * float(x) for x in offset.interval_m[0]],
            "up_interval_cm": [100 * float(x) for x in offset.interval_m[1]],
        },
        "table": [
            {
                "cause": row.cause,
                "title": row.title,
                "support": row.support,
                "start": row.start,
                "for": [{"finding": n, "title": t, "weight": w} for n, t, w in row.pro],
                "against": [{"finding": n, "title": t, "weight": w} for n, t, w in row.con],
            }
            for row in proposal.table
        ],
    }
