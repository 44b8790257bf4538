"""Turns the worked season into lines of text; computes nothing."""

from __future__ import annotations

from collections.abc import Sequence

from fixtures.season import Round
from fixtures.season_stories import CLUB, STORIES
from tracker.types import message
from ui.text_table import table_lines
from ui.words import say

_COLUMNS = ("archer", "round", "version", "proposed", "truth")


def season_lines(rounds: Sequence[Round], language: str = "en") -> list[str]:
    """Say what happened in the season, round by round.

    Parameters
    ----------
    rounds
        From `fixtures.season.play_season`.
    language
        Two letters.

    Returns
    -------
    list of str
        The stories, a table, and whether every proposal was the one the truth needed.
    """
    heads = [say(message(f"logbook.season_{name}"), language) for name in _COLUMNS]
    yes, no = (say(message(f"logbook.season_{word}"), language) for word in ("yes", "no"))
    rows = [
        [
            one.archer,
            str(one.number),
            str(one.version),
            one.change if len(one.change) <= 72 else one.change[:71] + "…",
            yes if one.proposed == one.wanted else no,
        ]
        for one in rounds
    ]
    agreed = sum(one.proposed == one.wanted for one in rounds)
    total = message("logbook.season_total", agreed=agreed, rounds=len(rounds))
    return [
        CLUB,
        *(f"  {story.name}: {story.told}" for story in STORIES),
        "",
        *table_lines(heads, rows),
        "",
        say(total, language),
    ]
