"""The headline of a filming plan."""

from __future__ import annotations

from classify.plan_types import FilmingPlan
from tracker.types import Message, message

WORTH_FILMING = ("planning.yes", "planning.partly")
"""Headlines of films that show at least some of what they should."""


def plan_headline(plan: FilmingPlan) -> Message:
    """Say in a few words whether a film would show what it should.

    Parameters
    ----------
    plan
        What it would show.

    Returns
    -------
    Message
        Yes, partly, no, or not worth filming.
    """
    if plan.refused is not None:
        return message("planning.refused")
    enough = [swing.enough for swing in (plan.yaw, plan.fast) if swing is not None]
    if enough and all(enough):
        return message("planning.yes")
    return message("planning.partly" if any(enough) else "planning.no")
