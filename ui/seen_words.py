"""What was seen with a set-up, in the words of a page: one piece of evidence goes in, a text out.

Kept evidence may come from another coach's file, with anything in it: what cannot be told is left
out, and no page breaks on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from classify.bare_shaft import bare_shaft_offset
from classify.evidence_book import Seen
from classify.evidence_payload import read_bare, read_eye, read_group, read_powder
from classify.knowledge import load_knowledge
from classify.label import disturbances_found
from classify.types import DISTURBANCES, Disturbance, Hand
from tracker.types import InputError
from ui.dash_words import Words
from ui.reading_words import found_words
from ui.words import season_said

_Payload = Mapping[str, object]


def seen_words(seen: Seen, hand: Hand | None, word: Words) -> list[str]:
    """Say what a piece of evidence showed.

    Parameters
    ----------
    seen
        From the logbook.
    hand
        The archer's, by which the knowledge file names what was seen by eye.
    word
        The page's language.

    Returns
    -------
    list of str
        Not escaped; what was seen first, then the circumstances.
    """
    told: Mapping[str, Callable[[], list[str]]] = {
        "flight": lambda: [flight_words(seen.payload, word), *opinion_words(seen.payload, word)],
        "bare shaft": lambda: [_bare_words(seen.payload, word)],
        "powder": lambda: [_powder_words(seen.payload, word)],
        "groups": lambda: [_group_words(seen.payload, word)],
        "eye": lambda: _eye_words(seen.payload, hand, word),
    }
    try:
        parts = told[seen.kind]()
    except (InputError, LookupError, TypeError, ValueError, AttributeError):
        parts = []
    if "distance_m" in seen.payload:
        parts.append(word("rounds.at_distance", distance_m=str(seen.payload["distance_m"])))
    wind = seen.payload.get("crosswind_m_s")
    if wind:
        parts.append(word("rounds.in_wind", wind_m_s=str(wind)))
    if seen.note:
        parts.append(season_said(seen.note, word.language))
    return parts


def _bare_words(payload: _Payload, word: Words) -> str:
    test = read_bare(payload)
    offset = bare_shaft_offset(test.bare_m, test.fletched_m, distance_m=test.distance_m)
    right_m, up_m = offset.offset_m.tolist()
    across = "right" if right_m >= 0 else "left"
    up_down = "up" if up_m >= 0 else "down"
    return word(
        "rounds.bare_said",
        bare=len(test.bare_m),
        fletched=len(test.fletched_m),
        across=word(f"rounds.off_{across}", cm=100 * abs(right_m)),
        up_down=word(f"rounds.off_{up_down}", cm=100 * abs(up_m)),
    )


def _powder_words(payload: _Payload, word: Words) -> str:
    marks = read_powder(payload).marks
    if not marks:
        return word("rounds.powder_clean")
    return ", ".join(touch_words(pair, word) for pair in marks)


def touch_words(pair: tuple[str, str], word: Words) -> str:
    """Say which part of the arrow touched which part of the bow.

    Parameters
    ----------
    pair
        Their names.
    word
        The page's language.

    Returns
    -------
    str
        Not escaped.
    """
    arrow, bow = (word.title("rounds", f"touch_{part.replace(' ', '_')}", part) for part in pair)
    return word("rounds.touch", arrow=arrow, bow=bow)


def _group_words(payload: _Payload, word: Words) -> str:
    group = read_group(payload)
    if group.from_ == "diameter":
        wide_cm = 100 * float(cast("float", payload["diameter_m"]))
        return word("rounds.group_said_diameter", arrows=group.arrows, wide_cm=wide_cm)
    if group.from_ == "score":
        return word(
            "rounds.group_said_score",
            arrows=group.arrows,
            score=float(cast("float", payload["score"])),
            face_cm=100 * float(cast("float", payload["face_diameter_m"])),
        )
    radius_cm = 100 * group.mean_radius_m
    return word("rounds.group_said_points", arrows=group.arrows, radius_cm=radius_cm)


def _eye_words(payload: _Payload, hand: Hand | None, word: Words) -> list[str]:
    seen, judged = read_eye(payload)
    findings = load_knowledge(hand, word.language).findings
    said = [findings[name].title.rstrip(".") for name in seen]
    if judged is not None:
        said.append(word(f"rounds.groups_said_{judged}"))
    return said


def flight_words(payload: Mapping[str, object], word: Words) -> str:
    """Say what a kept flight showed, and which arrow it was.

    Parameters
    ----------
    payload
        As the logbook keeps it.
    word
        The page's language.

    Returns
    -------
    str
        Everything that was found in it, the leading disturbance first; of a refused clip the
        reason.
    """
    kept = payload.get("reading")
    reading: Mapping[str, object] = kept if isinstance(kept, dict) else {}
    label, refused = reading.get("label"), reading.get("refused")
    # Kept flights may come from another coach's file, with anything in them.
    presence = reading.get("presence")
    odds: Mapping[object, object] = presence if isinstance(presence, dict) else {}
    chances: dict[Disturbance, float] = {
        name: chance for name in DISTURBANCES if isinstance(chance := odds.get(name), float)
    }
    found = disturbances_found(label if isinstance(label, str) else None, chances)
    if found:
        said = found_words(found[0], chances, word.language)
    else:
        said = word.title("reading", f"label_{label or 'none'}", "")
    if label is None and isinstance(refused, str):
        # Kept as it was said that day; a refused clip must not stand there as if it told something.
        said = word("reading.headline_refused", reason=refused)
    arrow = payload.get("arrow")
    return said if not arrow else word("rounds.arrow_said", label=said, arrow=str(arrow))


def opinion_words(payload: _Payload, word: Words) -> list[str]:
    """Say what the coach saw in a kept flight.

    Parameters
    ----------
    payload
        As the logbook keeps it.
    word
        The page's language.

    Returns
    -------
    list of str
        One text, or none where nothing was said.
    """
    kept = payload.get("opinion")
    said: Mapping[str, object] = kept if isinstance(kept, dict) else {}
    label, why = said.get("label"), said.get("why")
    if not isinstance(label, str) or not label:
        return []
    text = word("pages.opinion_shown", label=word.title("reading", f"label_{label}", label))
    return [f"{text} {why}" if isinstance(why, str) and why else text]
