"""Tells whether two flights in the logbook are one: what was kept of each goes in, yes or no out.

The same flight twice would look like two arrows and make every error smaller than it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import nan

from classify.evidence_payload import Payload

MEASURED = ("label", "presence", "across", "up_down", "clip", "flight")
"""What of a reading is the same in every language."""


def same_flight(first: Payload, first_film: str | None, second: Payload, film: str | None) -> bool:
    """Tell whether two payloads of kind "flight" are of one flight.

    Parameters
    ----------
    first, first_film
        What was kept, and the hash of its film or None.
    second, film
        The same of the other.

    Returns
    -------
    bool
        With both films: whether film and number are the same, or, where one was found by a click,
        whether they flew at the same time: a click on any arrow of a film is read as its flight 0.
        Without: whether the readings are, unless they were refused, since refusals hold nothing to
        tell two films apart by.
    """
    if first_film is not None and film is not None:
        return first_film == film and _same_in_film(first, second)
    if was_refused(first) or was_refused(second):
        return False
    one, other = first["reading"], second["reading"]
    return all(one.get(name) == other.get(name) for name in MEASURED)


def _same_in_film(first: Payload, second: Payload) -> bool:
    """Tell whether two payloads of one film are of one flight."""
    if not (_clicked(first) or _clicked(second)):
        return flight_number(first) == flight_number(second)
    # whether a click set a path right or only repeated it: what flies at one time is one flight
    (begins, ends), (begins_too, ends_too) = _frames(first), _frames(second)
    both = min(ends, ends_too) - max(begins, begins_too)
    return 2 * both > min(ends - begins, ends_too - begins_too)


def _clicked(payload: Payload) -> bool:
    return _flight_facts(payload).get("found_by") == "click"


def _frames(payload: Payload) -> tuple[float, float]:
    """First and last frame; those that nobody told are no number, and overlap with nothing."""
    facts = _flight_facts(payload)
    first, last = facts.get("first_frame"), facts.get("last_frame")
    if isinstance(first, int) and isinstance(last, int):
        return first, last
    return nan, nan


def _flight_facts(payload: Payload) -> Mapping[str, object]:
    facts = payload["reading"].get("flight")
    return facts if isinstance(facts, Mapping) else {}


def was_refused(payload: Payload) -> bool:
    """Tell whether a kept flight is one that could not be read."""
    return payload["reading"].get("refused") is not None


def flight_number(payload: Payload) -> int:
    """Give the number of a kept flight within its film, from 0."""
    number = _flight_facts(payload).get("flight")
    return number if isinstance(number, int) else 0


def each_once(flights: Sequence[tuple[str | None, Payload]]) -> list[Payload]:
    """Leave out what is of the same film and flight as one before.

    A logbook that was brought together from several may hold one twice.

    Parameters
    ----------
    flights
        Hash of the film or None, and payload, of each.

    Returns
    -------
    list
        Payloads in their order; where one of the same flight was refused, the other.
    """
    kept: list[Payload] = []
    rows_of: dict[str, list[int]] = {}
    for film, payload in flights:
        rows = [] if film is None else rows_of.setdefault(film, [])
        same = next((row for row in rows if _same_in_film(kept[row], payload)), None)
        if same is None:
            rows.append(len(kept))
            kept.append(payload)
        elif was_refused(kept[same]):
            kept[same] = payload
    return kept
