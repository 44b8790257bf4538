"""Says the causes of a reading in another language than the one they were first said in."""

from __future__ import annotations

from dataclasses import replace

from classify.knowledge import Knowledge, load_knowledge
from classify.types import Cause, Reading


def spoken(reading: Reading, language: str) -> Reading:
    """Give a reading whose causes are said in a language.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    Reading
        The same but for the sentences of its causes, in the words for the archer's own hand.
    """
    knowledge = load_knowledge(reading.known.hand, language)
    return replace(reading, causes=tuple(_said(cause, knowledge) for cause in reading.causes))


def _said(cause: Cause, knowledge: Knowledge) -> Cause:
    known = knowledge.causes.get(cause.name)
    if known is None:
        return cause
    cure = knowledge.cures[known.cures[0]]
    return replace(
        cause,
        title=known.title,
        why=known.why,
        first_change=cure.change,
        caution=cure.caution,
        source=known.source,
    )
