"""What was decided on a set-up, in the words of a page: a kept sentence goes in, the page's out.

The logbook keeps a proposal in the words in which somebody saw it. Where the knowledge file knows
it still, it is said in the page's language; what it does not know stays as it was said.
"""

from __future__ import annotations

from classify.evidence_book import Decision
from classify.knowledge import Cure, load_knowledge
from classify.types import Hand
from ui.words import LANGUAGES, season_said


def decided_change(decision: Decision, hand: Hand | None, language: str) -> str:
    """Say what was proposed when somebody decided.

    Parameters
    ----------
    decision
        From the casebook.
    hand
        The archer's.
    language
        Two letters.

    Returns
    -------
    str
        In this language where the cure is known with this amount, else as it was kept.
    """
    kept = decision.proposal.get("change")
    said = kept if isinstance(kept, str) else ""
    now = load_knowledge(hand, language).cures.get(decision.cure)
    if now is None:
        return said or decision.cure
    for known in LANGUAGES:
        then = load_knowledge(hand, known).cures[decision.cure]
        if said in (then.change, then.far_change):
            return _step(now, far=said != then.change)
    # Worded otherwise since: the amount tells the smaller from the larger step.
    if not said or decision.amount == now.amount:
        return now.change
    return now.far_change if decision.amount == now.far_amount else said


def reason_in(reason: str, hand: Hand | None, language: str) -> str:
    """Say why a version of a set-up was made, which may be a proposal or a person's own words.

    Parameters
    ----------
    reason
        As kept.
    hand
        The archer's.
    language
        Two letters.

    Returns
    -------
    str
        A proposal in this language; anything else as it was typed.
    """
    now = load_knowledge(hand, language).cures
    for known in LANGUAGES:
        for name, then in load_knowledge(hand, known).cures.items():
            if reason in (then.change, then.far_change) and name in now:
                return _step(now[name], far=reason != then.change)
    return season_said(reason, language)


def _step(cure: Cure, *, far: bool) -> str:
    return cure.far_change if far else cure.change
