"""Exact, textbook and refusal: units, the set-up sheet and what follows from it."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classify.setup_sheet import (
    arrow_spec,
    brace_range_in,
    differences,
    fill_sheet,
    questions,
    sheet_fields,
    sheet_findings,
)
from classify.setup_worked_out import foc_step_percent, sheet_foc_percent, worked_out
from classify.units import UNITS, parse_quantity, shown
from tracker.types import InputError, message
from ui.entries import FaultsError, check_all
from ui.words import say

ARROW = {
    "spine": "600",
    "shaft": "carbon, 5.5 mm",
    "arrow_length": "28 1/2 in",
    "shaft_mass_per_length": "6.6 gr/in",
    "point_mass": "100 gr",
    "nock_mass": "7 gr",
    "fletching_mass": "12 gr",
}


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("8 3/4 in", "length", 0.22225),
        ("8-3/4 in", "length", 0.22225),
        ('8¾"', "length", 0.22225),
        ("½ in", "length", 0.0127),
        ("222,25 mm", "length", 0.22225),
        ("-3/16 in", "length", -0.0047625),
        ("7000 gr", "mass", 0.45359237),  # a pound is 7000 grains, by definition
        ("1 lb", "force", 4.4482216152605),  # pound-force, by definition
        ("100 gr", "mass", 0.006479891),
        ("1 gr/in", "mass per length", 0.00255113819),
        ("180 fps", "speed", 54.864),
        ("3/4 turn", "turn", 0.75),
    ],
)
def test_units_are_exact(text, kind, si):
    """Trade units in SI, to the last digit (definitions of inch, grain and pound)."""
    assert parse_quantity(text, kind, name="x").si == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    "text", ["", "abc", "8", "8 lb", "8 3/0 in", "1e3 in", "٣ in", "--2 in", "8 3/4"]
)
def test_a_length_without_number_or_unit_is_refused(text):
    """No unit is ever assumed."""
    with pytest.raises(InputError, match=r"unit|not_a_number"):
        parse_quantity(text, "length", name="brace height")


@given(
    whole=st.integers(0, 300),
    over=st.integers(0, 31),
    unit=st.sampled_from(sorted(UNITS["length"])),
)
def test_typed_text_comes_back_unchanged(whole, over, unit):
    """Whatever was typed is stored and shown as typed, through JSON and back."""
    text = f"{whole} {over}/32 {unit}"
    quantity = parse_quantity(text, "length", name="x")
    again = parse_quantity(json.loads(json.dumps(quantity.typed)), "length", name="x")
    assert again == quantity
    assert shown(quantity, "as typed") == text
    assert quantity.si == pytest.approx(
        (whole + over / 32) * float(UNITS["length"][unit]), rel=1e-12
    )


def test_other_units_on_wish():
    """Metric or not by choice; what is typed in the wanted system stays as typed."""
    brace = parse_quantity("8 3/4 in", "length", name="x")
    assert shown(brace, "metric") == "222.25 mm"
    assert shown(brace, "imperial") == "8 3/4 in"
    assert shown(parse_quantity("6.48 g", "mass", name="x"), "imperial") == "100.0 gr"


def test_foc_of_the_dealer_s_example():
    """L 28.5 in, A 19.0 in: 16.67 % (worked example of a dealer's page)."""
    sheet = fill_sheet({"arrow_length": "28.5 in", "balance_point": "19 in"})
    assert sheet_foc_percent(sheet) == pytest.approx(16.67, abs=0.005)


def test_mass_adds_up():
    """Shaft 6.6 x 28.5 + 100 + 7 + 12 = 307.1 grains."""
    lines = {line.name: line for line in worked_out(fill_sheet(ARROW))}
    assert lines["arrow_mass"].value == pytest.approx(307.1, abs=0.01)


def test_foc_from_masses_agrees_with_a_balance_by_hand():
    """Moments about the nock: shaft at half, point at the end, vanes 35 mm from the nock."""
    lines = {line.name: line for line in worked_out(fill_sheet(ARROW))}
    length = 28.5 * 25.4
    balance = (188.1 * length / 2 + 100 * length + 12 * 35) / 307.1
    assert lines["foc_from_masses"].value == pytest.approx(100 * (balance / length - 0.5), abs=0.05)


def test_ten_grains_move_the_balance_as_worked_out_twice():
    """The step is the difference of two sheets ten grains apart."""
    light, heavy = fill_sheet(ARROW), fill_sheet({**ARROW, "point_mass": "110 gr"})
    step = sheet_foc_percent(heavy) - sheet_foc_percent(light)
    assert foc_step_percent(light) == pytest.approx(step, rel=1e-9)


def test_frequencies_come_with_their_error():
    """Spine 600 at 28.5 in bends at about 74 Hz; yaw between 1.7 and 4.5 Hz."""
    lines = {line.name: line for line in worked_out(fill_sheet({**ARROW, "arrow_speed": "55 m/s"}))}
    assert lines["bending"].value == pytest.approx(74, abs=1.5)
    assert lines["bending"].low < 73.7 < lines["bending"].high
    assert 1.7 < lines["yaw"].value < 4.5


VANES = {
    "shaft_diameter": "5.5 mm",
    "vanes": "3",
    "vane_length": "44 mm",
    "vane_height": "8 mm",
    "vane_from_nock": "35 mm",
}


def test_a_usual_number_is_not_shown_as_this_arrows():
    """The formula that is shown is the one that gave the number.

    Without the vanes 2.8 Hz, usual of all arrows, stood beside "vanes and nose against the arrow's
    inertia", which give 2.2 Hz; without the weights nothing said that typical ones were taken.
    """
    sheets = {
        "bare": {name: ARROW[name] for name in ("spine", "arrow_length")},
        "weights": ARROW,
        "all": {**ARROW, **VANES},
    }
    shown_as = {}
    for name, sheet in sheets.items():
        lines = {line.name: line for line in worked_out(fill_sheet(sheet))}
        shown_as[name] = (lines["bending"].formula.key, lines["yaw"].formula.key)
    assert shown_as == {
        "bare": ("logbook.formula_bending_typical", "logbook.formula_yaw_usual"),
        "weights": ("logbook.formula_bending", "logbook.formula_yaw_usual"),
        "all": ("logbook.formula_bending", "logbook.formula_yaw"),
    }


def test_weighed_mass_that_differs_is_questioned():
    """An arrow weighed 10 % heavier than its parts is asked about, not refused."""
    lines = {line.name: line for line in worked_out(fill_sheet({**ARROW, "arrow_mass": "338 gr"}))}
    assert lines["arrow_mass"].question.key == "logbook.mass_differs"


def test_light_arrow_is_cautioned():
    """Under five grains for each pound the bow is at risk (common practice)."""
    sheet = fill_sheet({"draw_weight": "50 lb", "arrow_mass": "230 gr"})
    line = next(line for line in worked_out(sheet) if line.name == "grains_per_pound")
    assert line.question.key == "logbook.arrow_light"


def test_unusual_is_questioned_and_impossible_refused():
    """52 lb draws no question, 58 lb one, 300 lb a refusal."""
    assert not questions(fill_sheet({"draw_weight": "52 lb"}))
    asked = questions(fill_sheet({"draw_weight": "58 lb"}))
    assert [q.key for q in asked] == ["logbook.questioned"]
    with pytest.raises(InputError, match="impossible"):
        fill_sheet({"draw_weight": "300 lb"})


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ({"colour": "red"}, "unknown_field"),
        ({"nock_fit": "snug"}, "choice"),
        ({"vanes": "2.5"}, "whole"),
        ({"arrow_length": "20 in", "balance_point": "21 in"}, "balance_outside"),
    ],
)
def test_what_cannot_be_is_refused(typed, key):
    """Each impossible entry has its own sentence."""
    with pytest.raises(InputError, match=key):
        fill_sheet(typed)


def test_changes_make_a_new_sheet():
    """The old sheet stays as it was; the difference names what changed, as typed."""
    before = fill_sheet({"brace_height": "8 1/2 in", "strands": "16"})
    after = before.with_changes({"brace_height": "8 3/4 in", "strands": ""})
    assert before.typed["brace_height"] == "8 1/2 in"
    assert differences(before, after) == (
        ("brace_height", "8 1/2 in", "8 3/4 in"),
        ("strands", "16", ""),
    )


def test_the_point_includes_the_insert():
    """What physics sees as the point is point and insert together."""
    spec = arrow_spec(fill_sheet({"point_mass": "90 gr", "insert_mass": "20 gr"}))
    assert spec.point_kg == pytest.approx(110 * 6.479891e-5)


def test_brace_height_against_the_usual_range():
    """68 in: 8 to 9 in over both clubs' pages; other lengths are not judged."""
    assert brace_range_in(68) == (8.0, 9.0)
    assert brace_range_in(62) is None
    sheet = fill_sheet({"bow_length": "68 in", "brace_height": "7 3/4 in", "nock_fit": "tight"})
    assert sheet_findings(sheet, foc_percent=19.0) == ("brace_low", "nock_tight", "foc_high")
    low, high = sheet_fields()["brace_height"].sane
    assert low < 8.0
    assert high > 9.5


def sheet_faults(typed):
    """Give every fault of a form."""
    try:
        check_all(typed, fill_sheet)
    except FaultsError as several:
        return several.faults
    except InputError as fault:
        return (fault.message,)
    return ()


def test_every_fault_of_a_sheet_is_told_at_once():
    """A form of thirty fields is not sent thirty times; fields that clash are told last."""
    wrong = {"draw_weight": "38", "arrow_length": "long", "string": "blue", "strands": "16"}
    assert [fault.values["field"] for fault in sheet_faults(wrong)] == [
        "draw weight",
        "arrow length",
    ]
    assert sheet_faults({**wrong, "draw_weight": "38 lb", "arrow_length": "28 in"}) == ()
    (clash,) = sheet_faults({"arrow_length": "28 in", "balance_point": "30 in"})
    assert clash.key == "logbook.balance_outside"


def test_a_count_has_no_unit_and_turns_are_known_in_spanish():
    """As a Spanish page shows them; "no unit" is none that anybody could write."""
    assert fill_sheet({"plunger_spring": "3,25 vueltas"}).si("plunger_spring") == 3.25
    for text in ("abc", "16 strands", "16.5"):
        (fault,) = sheet_faults({"strands": text})
        assert fault.key == "logbook.whole"


def test_a_page_calls_a_field_what_its_label_says():
    """In the page's language; on the command line it has the name that is typed there."""
    (fault,) = sheet_faults({"draw_weight": "heavy"})
    assert say(fault, "es", "page").startswith("Potencia en los dedos se dio como heavy")
    assert say(fault, "en", "page").startswith("Draw weight on the fingers is given as heavy")
    assert say(fault, "en").startswith("draw weight is given as heavy")


def test_a_disturbance_in_a_sentence_is_named_in_its_language():
    """As the verdict names it, and not by the key that it is kept under."""
    some = message("tuning.flights_disagree", seen="fishtailing", count=2, flights=5)
    assert "muestran coleteo con seguridad" in say(some, "es")
    assert "surely show fishtailing" in say(some, "en")
