"""Readings in lines of text: rounding, order of lines, honesty about certainty."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from classify.knowledge import causes_for
from classify.types import DISTURBANCES, ArrowSpec
from tests.made_readings import made_reading, made_refusal, made_two_at_once
from tracker.types import CaptureSource, Message
from ui.cause_words import spoken
from ui.reading_words import (
    basis_lines,
    clip_line,
    expected_range_hz,
    found_words,
    frequency_words,
    headline,
    headline_chance,
    percent_words,
    reading_lines,
    scale_line,
    swing_words,
    unseen_lines,
)
from ui.rounding import with_error
from ui.words import LANGUAGES, say


def test_ten_lines_or_so_with_the_verdict_first() -> None:
    """A coach reads the label, its chance and its meaning in the first line."""
    lines = reading_lines(made_reading())
    assert lines[0].startswith("Fishtailing:")
    assert "97 %" in lines[0]
    assert 6 <= len(lines) <= 11
    assert all("\n" not in line for line in lines)


def test_numbers_carry_their_error_and_unit() -> None:
    """Frequency in hertz, swing in millimetres and degrees, each with its error."""
    text = "\n".join(reading_lines(made_reading()))
    assert "3.5 ± 0.2 Hz" in text
    assert "14.0 ± 0.6 mm (1.9°)" in text or "14.0 ± 0.6 mm (1.8°)" in text


def test_refusal_says_why_and_names_no_label() -> None:
    """A refusal is no reading: no chances, no swing, no cause."""
    lines = reading_lines(made_refusal())
    assert lines[0].startswith("No reading:")
    assert not any("nan" in line.lower() or "mm" in line for line in lines[:1])


@pytest.mark.parametrize(
    ("value", "sigma", "written"),
    [
        (4.1234, 0.0377, "4.12 ± 0.04"),
        (12.34, 1.23, "12.3 ± 1.2"),
        (1234.0, 56.0, "1234 ± 56"),
        (0.5, float("inf"), "0.5 ± ?"),
        (2.0, 0.0, "2 ± 0"),
    ],
)
def test_rounding_follows_the_error(value: float, sigma: float, written: str) -> None:
    """One digit of the error, two where it begins with 1 (common practice in metrology)."""
    assert with_error(value, sigma) == written


def test_sentences_round_as_the_tables_do() -> None:
    """The same swing has the same digits in the reasons and in the line of numbers."""
    mode = replace(
        made_reading().across[0], kind="fast", frequency_hz=18.871, frequency_sigma_hz=0.0678
    )
    mode = replace(mode, swing_mm=16.93, swing_sigma_mm=2.24)
    values = {
        "frequency_hz": mode.frequency_hz,
        "frequency_sigma_hz": mode.frequency_sigma_hz,
        "swing_mm": 16.93,
        "swing_sigma_mm": 2.24,
        "swing_deg": 2.2,
        "expected_hz": 3.0,
        "ratio": 6.0,
    }
    for kind in ("yaw", "fast", "bending", "wobble"):
        for direction in ("across", "up_down"):
            for language in LANGUAGES:
                said = say(Message(f"label.{kind}_{direction}", values), language)
                assert "17 ± 2 mm" in said
                assert f" {frequency_words(mode).removesuffix(' Hz')} " in said


def test_certainty_is_never_claimed() -> None:
    """No probability is said to be 0 or 100 %."""
    assert percent_words(1.0) == "over 99 %"
    assert percent_words(0.0) == "under 1 %"
    assert percent_words(0.25) == "25 %"


def test_without_a_scale_no_millimetres() -> None:
    """A swing of unknown scale is said to have none, never shown as zero."""
    mode = replace(made_reading().across[0], swing_mm=None, swing_sigma_mm=None, swing_deg=None)
    assert swing_words(mode) == "swing without a scale"
    assert "unknown" in scale_line(replace(made_reading(), scale=None))


def test_what_the_numbers_rest_on_is_said() -> None:
    """Rate with who vouches for it, scale with its error and source, and an arrow nobody said."""
    clip, scale, arrow = basis_lines(made_reading())
    assert clip == "Clip: 100 frames, taken at 240 a second (as you said)"
    assert (
        scale
        == "Scale: 2.27 ± 0.05 mm per pixel where the tail was first followed, from the face; "
        "arrow speed 55.0 ± 1.1 m/s"
    )
    assert arrow == "Expected frequencies: a typical arrow's, since none was said"
    said = replace(made_reading().known, arrow=ArrowSpec(spine=500.0))
    assert len(basis_lines(replace(made_reading(), known=said))) == 2
    facts = {**made_reading().clip_facts, "capture_hz": None, "capture_from": "unknown"}
    assert basis_lines(replace(made_refusal(), clip_facts=facts)) == [
        "Clip: 100 frames; nobody vouches for the capture rate"
    ]


@pytest.mark.parametrize("source", get_args(CaptureSource))
@pytest.mark.parametrize("language", LANGUAGES)
def test_whoever_vouches_for_a_rate_has_a_name(source: str, language: str) -> None:
    """Every source that the tracker knows is said in every language."""
    facts = {**made_reading().clip_facts, "capture_from": source}
    assert "240" in clip_line(replace(made_reading(), clip_facts=facts), language)


def test_an_axis_without_a_swing_says_how_wide_one_could_hide() -> None:
    """The limit is a fact of the reading; a clean flight says its limits once."""
    bare = replace(made_reading(), up_down=(), unseen_below_mm=(None, 3.24))
    hidden = "Up and down: no slow or fast swing found; one of up to 3.2 mm could hide (95 % sure)"
    assert hidden in reading_lines(bare)
    assert list(unseen_lines(bare)) == [1]
    clean = replace(bare, label="clean", clean_below_mm=(2.1, 3.24), unseen_below_mm=(2.1, 3.24))
    assert unseen_lines(clean) == {}


def test_expected_range_spans_two_errors_of_the_logarithm() -> None:
    """3.2 ± 0.8 Hz is 0.25 on the logarithm: from 3.2/e^0.5 to 3.2*e^0.5 (plain arithmetic)."""
    low, high = expected_range_hz(made_reading().across[0])
    assert (round(low, 3), round(high, 3)) == (1.941, 5.276)


def test_clean_flight_is_said_without_a_chance() -> None:
    """A clean flight has an upper limit of its swing instead."""
    clean = replace(made_reading(), label="clean", clean_below_mm=(2.1, 1.7), causes=())
    lines = reading_lines(clean)
    assert headline(clean).startswith("Clean flight:")
    assert any("below 2.1 mm across and 1.7 mm" in line for line in lines)


def test_two_disturbances_are_both_in_the_headline() -> None:
    """Each that is there is named with its own chance, the leading one first."""
    both = made_two_at_once()
    assert headline(both).startswith("Fishtailing and minnowing: ")
    assert headline_chance(both) == "over 99 % and 97 % sure"
    tipped = replace(both, label="minnowing")
    assert found_words(tipped.label, tipped.presence) == "Minnowing and fishtailing"
    assert headline_chance(tipped) == "97 % and over 99 % sure"
    assert found_words(tipped.label, tipped.presence, "es") == "Serpenteo y coleteo"


def test_three_disturbances_make_a_spoken_list() -> None:
    """Commas, and one "and" before the last."""
    presence = dict.fromkeys(DISTURBANCES, 0.9)
    assert found_words("porpoising", presence) == "Porpoising, fishtailing and minnowing"


def test_a_refusal_names_nothing_however_likely() -> None:
    """Halves that disagree are refused with chances; none of them counts as found."""
    presence = dict.fromkeys(DISTURBANCES, 0.9)
    assert found_words(None, presence) == "No reading"
    assert headline_chance(made_refusal()) == ""


def test_causes_are_said_in_the_language_asked_for() -> None:
    """A cause of the knowledge file changes its words, one that is not in it stays."""
    known = causes_for({"fishtailing": 0.9}, hand="left")
    reading = replace(made_reading(), causes=(*known, *made_reading().causes))
    reading = replace(reading, known=replace(reading.known, hand="left"))
    assert spoken(reading, "en").causes == reading.causes
    spanish = spoken(reading, "es").causes
    assert [cause.name for cause in spanish] == [cause.name for cause in reading.causes]
    assert spanish[0].first_change != known[0].first_change
    assert spanish[-1] == reading.causes[-1]
