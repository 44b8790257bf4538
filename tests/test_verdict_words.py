"""What the pages say of a reading: every disturbance in the heading, in cards and in lists."""

from __future__ import annotations

from dataclasses import replace

from classify.report_json import reading_json
from tests.made_readings import made_refusal, made_two_at_once
from ui.dash_words import Words
from ui.seen_words import flight_words
from ui.verdict import basis_html, verdict_html

ENGLISH = Words("en")


def test_the_card_is_headed_with_both_disturbances() -> None:
    """Name, plain words, shape and chance of each, the leading one first."""
    card = verdict_html(made_two_at_once(), ENGLISH)
    assert "<h2>Fishtailing and minnowing</h2>" in card
    assert "over 99 % and 97 % sure" in card
    assert "slow and wide. The tail" in card
    assert card.index("ts-shape-fishtailing") < card.index("ts-shape-minnowing")


def test_the_card_says_how_wide_a_swing_could_hide() -> None:
    """As the command line does for an axis without one; without it the page would stay silent."""
    reading = replace(made_two_at_once(), up_down=(), unseen_below_mm=(None, 3.24))
    assert "one of up to 3.2 mm could hide" in verdict_html(reading, ENGLISH)


def test_under_the_card_stands_what_its_numbers_rest_on() -> None:
    """Rate, scale and arrow, the same sentences as elsewhere."""
    line = basis_html(made_two_at_once(), ENGLISH)
    scale = "mm per pixel where the tail was first followed"
    for text in ("240 a second (as you said)", scale, "a typical arrow"):
        assert text in line


def test_a_kept_flight_is_listed_with_both_disturbances() -> None:
    """The list of what was seen names what the card named, and the arrow."""
    kept = reading_json(made_two_at_once(), ENGLISH.tell)
    payload = {"reading": kept, "arrow": "3"}
    assert flight_words(payload, ENGLISH) == "Fishtailing and minnowing, arrow 3"


def test_a_refused_clip_is_listed_with_its_reason() -> None:
    """Whoever adds a clip that tells nothing is told so, and why."""
    refusal = made_refusal()
    assert refusal.refused is not None
    kept = reading_json(refusal, ENGLISH.tell)
    listed = flight_words({"reading": kept, "arrow": None}, ENGLISH)
    assert listed == f"No reading: {ENGLISH.tell(refusal.refused)}"


def test_a_kept_flight_with_anything_in_it_is_still_listed() -> None:
    """A file from elsewhere may hold chances that are no numbers, or no reading at all."""
    odd = {"label": "fishtailing", "presence": {"fishtailing": "much", "minnowing": None}}
    assert flight_words({"reading": odd}, ENGLISH) == "Fishtailing"
    assert flight_words({"reading": {"label": ["x"], "presence": 3}}, ENGLISH) == ""
    assert flight_words({}, ENGLISH) == "No reading"
