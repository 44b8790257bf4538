"""What a coach types: units, exact rates, and slips of the finger refused in one sentence."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.types import InputError, message
from ui.arrow_input import parse_arrow, read_arrow_file
from ui.dash_words import Words
from ui.known_form import known_texts
from ui.known_input import QUANTITIES, parse_capture_hz, parse_known
from ui.words import say


def test_blank_means_that_nobody_said() -> None:
    """Nothing is filled in."""
    known = parse_known(dict.fromkeys(QUANTITIES, "  "))
    assert known.capture_hz is None
    assert known.distance_m is None
    assert known.hand is None


def test_units_become_si_once() -> None:
    """Centimetres and millimetres become metres, comma or point alike."""
    known = parse_known({"face_cm": "122", "nock_mm": "8,5", "distance_m": "18"})
    np.testing.assert_allclose(
        [known.face_diameter_m, known.nock_diameter_m, known.distance_m], [1.22, 0.0085, 18.0]
    )


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("240", Fraction(240)),
        ("239.98", Fraction(23998, 100)),
        ("30000/1001", Fraction(30000, 1001)),
        ("119,88", Fraction(11988, 100)),
        ("240 fps", Fraction(240)),
        ("120Hz", Fraction(120)),
    ],
)
def test_rates_stay_exact(text: str, rate: Fraction) -> None:
    """No rate is turned into a whole number or a float."""
    assert parse_capture_hz(text) == rate


@pytest.mark.parametrize("text", ["240 mm", "0", "1/0", "-240", "nan", "1e9", "inf"])
def test_impossible_rates_are_refused(text: str) -> None:
    """What is no rate gets a sentence."""
    with pytest.raises(InputError) as caught:
        parse_capture_hz(text)
    assert text in say(caught.value.message)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("distance_m", "eighteen"),
        ("distance_m", "1800"),
        ("speed_m_s", "0"),
        ("face_cm", "nan"),
        ("focal_px", "-3"),
        ("click", "4,5"),
        ("click", "1.5,2,3"),
        ("face_mark", "3,1,1,1,1"),
        ("hand", "both"),
        ("flight", "0"),
    ],
)
def test_slips_are_refused_with_what_was_typed(name: str, text: str) -> None:
    """The sentence repeats the slip, so that the coach finds it."""
    with pytest.raises(InputError) as caught:
        parse_known({name: text})
    assert text in say(caught.value.message)


@pytest.mark.parametrize("name", QUANTITIES)
def test_the_unit_may_stand_behind_the_number(name: str) -> None:
    """Whoever writes what the field's label says means the same; another unit is a slip."""
    unit = QUANTITIES[name].unit
    least = QUANTITIES[name].lowest
    bare, comma = {name: f"{least + 0.5}"}, {name: f" {least + 0.5} {unit}".replace(".", ",")}
    assert parse_known(comma) == parse_known(bare)
    with pytest.raises(InputError, match="not_a_number"):
        parse_known({name: f"{least + 0.5} yd"})
    with pytest.raises(InputError) as caught:
        parse_known({name: f"0 {unit}"})
    assert f" is 0 {unit};" in say(caught.value.message)


def test_a_slip_is_named_as_the_face_names_it() -> None:
    """An option for the command line, the field's own label on a page."""
    with pytest.raises(InputError) as caught:
        parse_known({"distance_m": "far_off"})
    slip = caught.value.message
    assert say(slip).startswith("--distance-m is 'far_off', which is not a number.")
    assert Words("en").tell(slip).startswith("“Distance to the target, m” is 'far_off'")
    assert Words("es").safe(slip).startswith("«Distancia a la diana, m» es 'far\\_off'")
    with pytest.raises(InputError) as caught:
        parse_known({"capture_hz": "2"})
    assert Words("en").safe(caught.value.message).startswith("“Frames a second, as filmed” is 2")


def test_a_refusal_asks_for_the_rate_where_it_is_given() -> None:
    """No page names an option of the command line."""
    asked = [
        message("label.no_capture_rate"),
        message("label.no_capture_rate_but", suggested_hz=240.0),
        message("tracker.no_flight_no_rate", file_hz=30.0),
    ]
    for sentence in asked:
        assert "--capture-hz 240" in say(sentence)
        assert "“Frames a second, as filmed”: 240" in Words("en").tell(sentence)
        assert "«Fotogramas por segundo, al grabar»: 240" in Words("es").tell(sentence)


def test_focal_length_and_field_of_view_are_one_thing() -> None:
    """Saying both is refused rather than one silently dropped."""
    with pytest.raises(InputError, match="focal_twice"):
        parse_known({"focal_px": "1100", "field_of_view_deg": "60"})


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "distance_m": st.floats(2, 150),
            "face_cm": st.floats(5, 200),
            "nock_mm": st.floats(2, 20),
            "speed_m_s": st.floats(15, 120),
        },
    )
)
def test_texts_of_what_is_known_are_read_back(numbers: dict[str, float]) -> None:
    """A form filled from what is known says the same again, to six digits."""
    known = parse_known({name: repr(value) for name, value in numbers.items()})
    again = parse_known(known_texts(known))
    for name in ("distance_m", "face_diameter_m", "nock_diameter_m", "speed_m_s"):
        one, other = getattr(known, name), getattr(again, name)
        assert (one is None) == (other is None)
        if one is not None:
            np.testing.assert_allclose(other, one, rtol=1e-5)


def test_arrow_file_reads_trade_units(tmp_path: Path) -> None:
    """Millimetres and grams become SI; what is not said stays unsaid."""
    file = tmp_path / "arrow.toml"
    file.write_text("spine = 600\nlength_mm = 724\npoint_g = 6.5\nvanes = 3\n")
    arrow = read_arrow_file(file)
    np.testing.assert_allclose([arrow.spine, arrow.length_m, arrow.point_kg], [600, 0.724, 0.0065])
    assert (arrow.vanes, arrow.balance_m) == (3, None)


def test_arrow_file_with_a_wrong_word_names_the_right_ones(tmp_path: Path) -> None:
    """A key that is not known is refused, with the list of those that are."""
    with pytest.raises(InputError) as caught:
        parse_arrow({"stiffness": "600"})
    assert "spine" in say(caught.value.message)
    with pytest.raises(InputError, match="arrow_file") as caught:
        read_arrow_file(tmp_path / "nowhere.toml")
    assert "Errno" not in say(caught.value.message)
    (tmp_path / "film.mp4").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="no_text"):
        read_arrow_file(tmp_path / "film.mp4")
