"""Turns a `Reading` into lines of text for the command line and the pages; computes nothing.

Numbers are rounded to what their standard error allows, and always carry it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from classify.label import disturbances_found
from classify.types import DISTURBANCES, ArrowSpec, Cause, Disturbance, ModeLine, Reading
from tracker.types import message
from ui.rounding import with_error
from ui.words import catalogue, say

_AXES = ("reading.side_to_side", "reading.up_and_down")


def reading_lines(reading: Reading, language: str = "en") -> list[str]:
    """Say a reading in about ten lines, the verdict first.

    Parameters
    ----------
    reading
        What was read, or why not.
    language
        Two letters.

    Returns
    -------
    list of str
        One sentence or table row each, without line breaks.
    """
    if reading.refused is not None:
        return list(_refused_lines(reading, language))
    return list(_read_lines(reading, language))


def _read_lines(reading: Reading, language: str) -> Iterator[str]:
    yield headline(reading, language)
    yield presence_line(reading, language)
    unseen = unseen_lines(reading, language)
    for axis, (title, modes) in enumerate(
        zip(_AXES, (reading.across, reading.up_down), strict=True)
    ):
        heading = say(message(title), language)
        lines = [f"{heading}: {mode_line(mode, language)}" for mode in modes[:2]]
        yield from lines or [
            unseen.get(axis, f"{heading}: {say(message('reading.no_modes'), language)}")
        ]
    if reading.clean_below_mm is not None:
        across, up_down = reading.clean_below_mm
        yield say(message("reading.clean_below", across=across, up_down=up_down), language)
    if reading.reasons:
        text = " ".join(say(reason, language) for reason in reading.reasons[:2])
        yield say(message("reading.why", text=text), language)
    yield scale_line(reading, language)
    yield from _cause_lines(reading.causes, language)
    for note in reading.notes[:2]:
        yield say(message("reading.note", text=say(note, language)), language)
    yield say(message("reading.caution"), language)


def unseen_lines(reading: Reading, language: str = "en") -> dict[int, str]:
    """Say for each axis without a swing how wide one could hide.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    dict
        A sentence by axis, 0 across, 1 up and down; empty for a clean flight, whose limits are
        said as such.
    """
    if reading.clean_below_mm is not None:
        return {}
    return {
        axis: say(
            message(
                "reading.unseen_below", axis=say(message(_AXES[axis]), language), limit_mm=limit
            ),
            language,
        )
        for axis, limit in enumerate(reading.unseen_below_mm)
        if limit is not None
    }


def _refused_lines(reading: Reading, language: str) -> Iterator[str]:
    yield headline(reading, language)
    for reason in reading.reasons:
        yield say(message("reading.why", text=say(reason, language)), language)
    for note in reading.notes:
        yield say(message("reading.note", text=say(note, language)), language)


def _cause_lines(causes: tuple[Cause, ...], language: str) -> Iterator[str]:
    if not causes:
        return
    first, *others = causes
    yield say(message("reading.first_cause", title=first.title, why=first.why), language)
    change = (
        first.first_change if first.caution is None else f"{first.first_change} {first.caution}"
    )
    yield say(message("reading.first", change=change), language)
    if others:
        titles = "; ".join(cause.title for cause in others[:3])
        yield say(message("reading.next_causes", list=titles), language)


def headline(reading: Reading, language: str = "en") -> str:
    """Say the verdict in one line.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    str
        Label, plain words and probability, or the reason of the refusal.
    """
    if reading.refused is not None:
        reason = say(reading.refused, language)
        return say(message("reading.headline_refused", reason=reason), language)
    label = found_words(reading.label, reading.presence, language)
    plain = "; ".join(plain_words(reading, language))
    percent = _chances(reading, language)
    if not percent:
        return say(message("reading.headline_clean", label=label, plain=plain), language)
    return say(
        message("reading.headline", label=label, plain=plain, percent=percent),
        language,
    )


def headline_chance(reading: Reading, language: str = "en") -> str:
    """Say how sure each disturbance is that was found.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    str
        For example "97 % sure", or "over 99 % and 97 % sure" for two, in the order in which
        `found_words` names them; empty for a refusal and for a clean flight.
    """
    percent = _chances(reading, language)
    return say(message("reading.headline_sure", percent=percent), language) if percent else ""


def _chances(reading: Reading, language: str) -> str:
    found = disturbances_found(reading.label, reading.presence)
    return listed([percent_words(reading.presence[one], language) for one in found], language)


def plain_words(reading: Reading, language: str = "en") -> list[str]:
    """Say in plain words what the tail does.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    list of str
        One for each disturbance that was found, else one for the label.
    """
    found = disturbances_found(reading.label, reading.presence) or (reading.label,)
    return [say(message(f"reading.plain_{one}"), language) for one in found]


def found_words(
    label: str | None, presence: Mapping[Disturbance, float], language: str = "en"
) -> str:
    """Name everything that was found, the leading disturbance first.

    Parameters
    ----------
    label, presence
        As in `Reading`, or as in the object that it is kept as.
    language
        Two letters.

    Returns
    -------
    str
        For example "Fishtailing and minnowing", "Clean flight", "No reading".
    """
    first, *others = disturbances_found(label, presence) or (label,)
    names = [label_word(one, language).lower() for one in others]
    return listed([label_word(first, language), *names], language)


def listed(words: Sequence[str], language: str = "en") -> str:
    """Join words to a list as it is spoken.

    Parameters
    ----------
    words
        In one language.
    language
        Two letters.

    Returns
    -------
    str
        "A", "A and B" or "A, B and C".
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {say(message('reading.and'), language)} {words[-1]}"


def label_word(label: str | None, language: str = "en") -> str:
    """Name a label.

    Parameters
    ----------
    label
        Of a reading; None for a refusal.
    language
        Two letters.

    Returns
    -------
    str
        The trade's word.
    """
    return say(message(f"reading.label_{label or 'none'}"), language)


def percent_words(share: float, language: str = "en") -> str:
    """Say a probability without claiming certainty.

    Parameters
    ----------
    share
        0 to 1.
    language
        Two letters.

    Returns
    -------
    str
        "97 %", "under 1 %" or "over 99 %".

    Examples
    --------
    >>> percent_words(0.9999)
    'over 99 %'
    """
    if share < 0.01:
        return say(message("reading.percent_low"), language)
    if share > 0.99:
        return say(message("reading.percent_high"), language)
    return say(message("reading.percent", percent=100 * share), language)


def presence_line(reading: Reading, language: str = "en") -> str:
    """List the chance of each disturbance.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    str
        The three chances.
    """
    items = [
        say(
            message(
                "reading.presence_item",
                label=label_word(name, language),
                percent=percent_words(reading.presence[name], language),
            ),
            language,
        )
        for name in DISTURBANCES
        if name in reading.presence
    ]
    return say(message("reading.presence", list=", ".join(items)), language)


def mode_line(mode: ModeLine, language: str = "en") -> str:
    """Say one swing along one axis.

    Parameters
    ----------
    mode
        The swing.
    language
        Two letters.

    Returns
    -------
    str
        Frequency, expected range, swing and what moves.
    """
    kind = say(message(f"reading.kind_{mode.kind}"), language)
    frequency = frequency_words(mode, language)
    swing = swing_words(mode, language)
    if mode.expected_hz is None:
        text = message("reading.mode", frequency=frequency, swing=swing, kind=kind)
    else:
        low, high = expected_range_hz(mode)
        text = message(
            "reading.mode_expected",
            frequency=frequency,
            swing=swing,
            kind=kind,
            low=low,
            high=high,
        )
    return say(text, language)


def expected_range_hz(mode: ModeLine) -> tuple[float, float]:
    """Give the range that physics expects, two standard errors to each side.

    Parameters
    ----------
    mode
        A swing with an expectation, whose sigma is in hertz.

    Returns
    -------
    tuple of float
        Lowest and highest frequency in hertz.

    Raises
    ------
    ValueError
        If nothing is expected of this kind.
    """
    if mode.expected_hz is None:
        raise ValueError(f"nothing is expected of a mode of kind {mode.kind}")
    # Expectations are log-normal: the range is a factor to each side, and never below nought.
    factor = math.exp(2 * mode.expected_hz.sigma / mode.expected_hz.value)
    return mode.expected_hz.value / factor, mode.expected_hz.value * factor


def frequency_words(mode: ModeLine, language: str = "en") -> str:
    """Say a frequency with its error.

    Parameters
    ----------
    mode
        The swing.
    language
        Two letters.

    Returns
    -------
    str
        For example "4.1 ± 0.2 Hz".
    """
    value = with_error(mode.frequency_hz, mode.frequency_sigma_hz)
    return say(message("reading.frequency", value=value), language)


def swing_words(mode: ModeLine, language: str = "en") -> str:
    """Say the width of a swing with its error, zero to peak.

    Parameters
    ----------
    mode
        The swing.
    language
        Two letters.

    Returns
    -------
    str
        For example "12 ± 1 mm (1.6°)".
    """
    if mode.swing_mm is None or mode.swing_sigma_mm is None:
        return say(message("reading.swing_unknown"), language)
    value = with_error(mode.swing_mm, mode.swing_sigma_mm)
    if mode.swing_deg is None:
        return say(message("reading.swing_mm", value=value), language)
    return say(message("reading.swing_mm_deg", value=value, degrees=mode.swing_deg), language)


def scale_line(reading: Reading, language: str = "en") -> str:
    """Say what pixels were turned into millimetres by.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    str
        Scale, its source, and the arrow's speed where it follows.
    """
    scale = reading.scale
    if scale is None:
        return say(message("reading.scale_none"), language)
    size = with_error(scale.mm_per_px_at_release.value, scale.mm_per_px_at_release.sigma)
    source = source_words(scale.from_, language)
    if scale.speed_m_s is None:
        text = message("reading.scale_no_speed", scale=size, source=source)
    else:
        value = with_error(scale.speed_m_s.value, scale.speed_m_s.sigma)
        speed = say(message("reading.speed", value=value), language)
        text = message("reading.scale", scale=size, source=source, speed=speed)
    return say(text, language)


def basis_lines(reading: Reading, language: str = "en") -> list[str]:
    """Say what hertz, millimetres and expected frequencies rest on.

    Parameters
    ----------
    reading
        What was read, or why not.
    language
        Two letters.

    Returns
    -------
    list of str
        The frame rate with who vouches for it; of a reading also the scale with its source and the
        arrow's speed, and whether the arrow was said.
    """
    lines = [clip_line(reading, language)]
    if reading.refused is None:
        lines.append(scale_line(reading, language))
        if reading.prediction is not None and reading.known.arrow in (None, ArrowSpec()):
            lines.append(say(message("reading.expected_usual"), language))
    return lines


def clip_line(reading: Reading, language: str = "en") -> str:
    """Say how many frames a second the film was taken at, and who vouches for it.

    Parameters
    ----------
    reading
        What was read, or why not.
    language
        Two letters.

    Returns
    -------
    str
        Frames, rate and its source.
    """
    facts = reading.clip_facts
    frames, hz = facts.get("frames"), facts.get("capture_hz")
    count = frames if isinstance(frames, int) else 0
    if not isinstance(hz, int | float):
        return say(message("reading.clip_no_rate", frames=count), language)
    vouched = str(facts.get("capture_from")).replace(" ", "_")
    source = say(message(f"reading.capture_from_{vouched}"), language)
    return say(message("reading.clip", frames=count, hz=hz, source=source), language)


def source_words(source: str, language: str = "en") -> str:
    """Name what a scale rests on.

    Parameters
    ----------
    source
        As the scale names it, several joined by "and".
    language
        Two letters.

    Returns
    -------
    str
        In that language; a name that the catalogue lacks stays as it is.
    """
    named = []
    for part in source.split(" and "):
        key = f"reading.source_{part.replace(' ', '_')}"
        named.append(say(message(key), language) if key in catalogue("en") else part)
    return f" {say(message('reading.and'), language)} ".join(named)
