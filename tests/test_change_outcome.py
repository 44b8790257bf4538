"""Whether a change worked is judged by what it was made for, and what follows for the next one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from classify import logbook
from classify.casebook import open_case, propose
from classify.evidence import FlightSeen, flight_from_json
from classify.evidence_book import decide, decide_change, record, set_outcome
from classify.logbook_file import LogbookFile
from classify.outcome import aim_of, judge_change
from classify.setup_change import suggested_changes
from tests.made_logbook import READING, TYPED

DAY, NEXT_DAY = "2026-03-01", "2026-03-02"
FLETCHED = [[0.0, 0.0], [0.01, 0.01], [-0.01, -0.01], [0.01, -0.01], [-0.01, 0.01], [0.0, 0.01]]


def _line(kind, mm, sigma=0.4):
    return {"kind": kind, "swing_mm": mm, "swing_sigma_mm": sigma}


def _flight(across=(), up_down=(), **presence):
    return {
        **READING,
        "label": next(iter(presence), "clean"),
        "presence": {"fishtailing": 0.02, "minnowing": 0.02, "porpoising": 0.02, **presence},
        "across": list(across),
        "up_down": list(up_down),
        "unseen_below_mm": {
            "across": None if across else 1.5,
            "up_down": None if up_down else 1.5,
        },
    }


def _bare(right_cm, up_cm):
    spots = [(right_cm, up_cm), (right_cm + 1, up_cm + 1), (right_cm - 1, up_cm - 1)]
    return {
        "distance_m": 18.0,
        "bare_m": [[x / 100, y / 100] for x, y in spots],
        "fletched_m": FLETCHED,
        "crosswind_m_s": 0.0,
    }


class Bow:
    """A logbook with one set-up, to which a test adds what was seen and done."""

    def __init__(self, folder, typed=TYPED):
        self.book, self.flights = LogbookFile(folder), 0
        self.archer = logbook.add_archer(self.book, "Reed", hand="right", notes="")
        self.now = logbook.add_setup(
            self.book, self.archer, "bow", typed=typed, dated=DAY, reason="as found"
        )

    @property
    def case(self):
        """Give what the logbook holds."""
        return open_case(self.book, self.archer, self.now.setup_id)

    def see(self, kind, *payloads):
        """Write down what was seen of the newest version."""
        for payload in payloads:
            record(self.book, self.now, kind, payload, dated=DAY)

    def fly(self, *readings):
        """Write down flights; no two are measured exactly alike."""
        for reading in readings:
            self.flights += 1
            presence = {name: p + 1e-6 * self.flights for name, p in reading["presence"].items()}
            self.see("flight", {"reading": {**reading, "presence": presence}, "arrow": None})

    def do(self, cure, changes, cause="", note=""):
        """Carry out a change; the version before and the decision are kept for judging."""
        self.before = self.now
        self.decision, self.now = decide_change(
            self.book, self.now, changes, cure=cure, amount=None, dated=NEXT_DAY,
            proposal={"cause": cause}, reason="asked for", note=note,
        )  # fmt: skip

    def judge(self):
        """Judge the last change."""
        return judge_change(self.book, self.before, self.now, self.decision)

    def keep(self, outcome):
        """Keep an outcome with the last change."""
        set_outcome(self.book, self.decision, outcome)


@pytest.fixture
def bow(tmp_path):
    """Give a bow with a filled sheet."""
    return Bow(tmp_path, {**TYPED, "plunger_spring": "3 turns"})


def test_a_turned_nock_is_not_blamed_for_a_slow_swing_that_stays(bow):
    """Quick swings are gone, the slow one is the spine's: the change worked."""
    slow = _line("yaw", 8.0)
    for _ in range(4):
        bow.fly(_flight([slow, _line("fast", 4.0)], minnowing=0.97, fishtailing=0.98))
    bow.do("turn_nock", {"nock_turn": "1/32 turn"}, "contact_side")
    for _ in range(4):
        bow.fly(_flight([slow], fishtailing=0.98, minnowing=0.01))
    judged = bow.judge()
    assert judged.outcome == "better"
    assert judged.swing.before == pytest.approx(4.0)
    assert judged.swing.after == 0.0


def test_a_nock_turned_where_nothing_swings_quickly_is_judged_by_what_swings(bow):
    """Contact may show as a slow swing alone."""
    for _ in range(3):
        bow.fly(_flight([_line("yaw", 8.0)], fishtailing=0.98))
    bow.do("turn_nock", {"nock_turn": "1/32 turn"}, "contact_side")
    for _ in range(3):
        bow.fly(_flight([_line("yaw", 2.0)], fishtailing=0.1))
    judged = bow.judge()
    assert (judged.outcome, judged.swing.before) == ("better", 8.0)


@pytest.mark.parametrize(
    ("before_cm", "after_cm", "bare", "outcome"),
    [
        (-9.0, -4.0, "nearer", "better"),
        (-4.0, -9.0, "further", "worse"),
        (-5.0, -4.5, "unclear", None),
        (-1.0, 1.0, None, None),
    ],
)
def test_where_the_flight_was_clean_bare_shafts_judge(bow, before_cm, after_cm, bare, outcome):
    """A nocking point that brings bare shafts nearer is kept though no swing shrank."""
    bow.see("bare shaft", _bare(0.0, before_cm))
    bow.fly(*[_flight()] * 3)
    bow.do("lower_nocking", {"nocking_point": "11.2 mm"}, "nocking_high")
    bow.see("bare shaft", _bare(0.0, after_cm))
    bow.fly(*[_flight()] * 3)
    judged = bow.judge()
    assert (judged.axis, judged.bare, judged.outcome) == ("up_down", bare, outcome)
    said = [sentence.key for sentence in judged.sentences]
    assert "tuning.swing_same" not in said
    assert (f"tuning.bare_up_down_{bare}" in said) == (bare is not None)


def test_bare_shafts_judge_where_nobody_filmed(bow):
    """Without flights the impacts decide alone."""
    bow.see("bare shaft", _bare(9.0, 0.0))
    bow.do("plunger_stiffer", {"plunger_spring": "3.25 turns"}, "fine_weak")
    bow.see("bare shaft", _bare(4.0, 0.0))
    judged = bow.judge()
    assert (judged.swing, judged.flights, judged.outcome) == (None, (0, 0), "better")


def test_a_test_that_the_wind_spoilt_judges_nothing_once_it_was_shot_again(bow):
    """As for the next change, what was shot again in calm air takes its place."""
    bow.see("bare shaft", _bare(9.0, 0.0))
    bow.do("plunger_stiffer", {"plunger_spring": "3.25 turns"}, "fine_weak")
    bow.see("bare shaft", {**_bare(12.0, 0.0), "crosswind_m_s": 6.0}, _bare(4.0, 0.0))
    assert bow.judge().bare == "nearer"


def test_a_swing_that_rose_is_not_excused_by_bare_shafts(bow):
    """Nearer bare shafts and a wider swing contradict each other: nothing is concluded."""
    bow.see("bare shaft", _bare(9.0, 0.0))
    bow.fly(*[_flight([_line("yaw", 9.0)], fishtailing=0.98)] * 3)
    bow.do("plunger_stiffer", {"plunger_spring": "3.25 turns"}, "fine_weak")
    bow.see("bare shaft", _bare(4.0, 0.0))
    bow.fly(*[_flight([_line("yaw", 14.0)], fishtailing=0.98)] * 3)
    assert bow.judge().outcome is None


def test_lower_vanes_for_the_rest_are_judged_up_and_down(bow):
    """What they were to cure decides the axis, not their name."""
    bow.fly(*[_flight(up_down=[_line("yaw", 9.1)], porpoising=0.98)] * 3)
    bow.do("lower_vanes", {"vane_height": "7 mm"}, "contact_below")
    bow.fly(*[_flight(up_down=[_line("yaw", 2.1)], porpoising=0.1)] * 3)
    judged = bow.judge()
    assert (judged.axis, judged.outcome) == ("up_down", "better")


def test_a_change_by_hand_is_ordered_back_only_if_the_swing_grew(bow):
    """Nobody said what it was for; weighing a nock shrinks no swing."""
    bow.fly(*[_flight([_line("yaw", 8.0)], fishtailing=0.98)] * 3)
    before = bow.now
    after = logbook.change_setup(
        bow.book, before, {"nock_mass": "8 gr"}, dated=NEXT_DAY, reason="weighed"
    )
    bow.now = after
    bow.fly(*[_flight([_line("yaw", 8.1)], fishtailing=0.98)] * 3)
    judged = judge_change(bow.book, before, after, None)
    assert [sentence.key for sentence in judged.sentences] == ["tuning.swing_no_worse"]
    assert judged.outcome is None


def test_what_a_clip_is_not_asked_to_cure_does_not_have_to_fall():
    """Fletching for the long distance is asked for no more than a flight that stays."""

    class Made:
        cure, proposal = "less_offset", {"cause": "drag"}

    assert aim_of(Made()).goal == "no rise"


def test_a_change_that_made_it_worse_is_taken_back_first(bow):
    """Then the sheet reads as before, and the same change is not proposed again."""
    bow.see("powder", {"marks": []})
    bow.see("bare shaft", _bare(5.0, 0.0))
    bow.do("plunger_stiffer", {"plunger_spring": "3.25 turns"}, "fine_weak")
    bow.see("bare shaft", _bare(5.0, 0.0))
    assert propose(bow.case).cure == "plunger_stiffer"
    bow.keep("worse")
    proposal = propose(bow.case)
    assert (proposal.cause, proposal.cure) == ("made_worse", "take_back")
    assert proposal.before_others
    back = suggested_changes("take_back", None, bow.now.sheet, before=bow.case.sheet_before)
    assert back == {"plunger_spring": "3 turns"}
    bow.do("take_back", back)
    assert len(bow.case.evidence.bare) == 1  # shot before the change, with this very set-up
    proposal = propose(bow.case)
    assert proposal.cure not in {"take_back", "plunger_stiffer"}
    assert "tuning.passed_worse" in [text.key for text in proposal.passed_over]


def test_taking_back_clears_a_field_that_the_change_filled_in(tmp_path):
    """An empty text stands for a field that was not on the sheet before."""
    bow = Bow(tmp_path, {"bow_length": "68 in"})
    bow.do("plunger_stiffer", {"plunger_spring": "2 turns"})
    back = suggested_changes("take_back", None, bow.now.sheet, before=bow.case.sheet_before)
    assert back == {"plunger_spring": ""}
    bow.do("take_back", back)
    assert bow.now.sheet.typed == {"bow_length": "68 in"}


def test_what_was_seen_before_a_change_in_words_is_of_the_old_version(bow):
    """A relaxed hand changes no field, and yet earlier flights speak of another archer."""
    bow.fly(*[_flight([_line("fast", 4.0)], minnowing=0.97)] * 4)
    bow.do("relax_bow_hand", {}, "contact_side", note="sling, open fingers")
    assert bow.case.evidence.flights == ()
    bow.fly(*[_flight()] * 4)
    assert bow.judge().outcome == "better"
    assert all(flight.clean for flight in bow.case.evidence.flights)
    assert propose(bow.case).cure == "keep"


def _with_weight(folder, *weights, **extra):
    bow = Bow(folder, {**TYPED, "draw_weight": weights[0], **extra})
    for weight in weights[1:]:
        bow.now = logbook.change_setup(
            bow.book, bow.now, {"draw_weight": weight}, dated=NEXT_DAY, reason="by hand"
        )
    return bow


@pytest.mark.parametrize(
    ("weights", "open_"),
    [
        (("38 lb",), True),
        (("38 lb", "42 lb"), False),  # by hand, and twice what a tune may do
        (("38 lb", "39.5 lb"), False),
        (("40 lb", "38 lb"), True),  # down is another way
    ],
)
def test_draw_weight_is_limited_by_what_the_sheets_say(tmp_path, weights, open_):
    """More than 2 lb in all is not proposed, whoever turned the bolts: shoulders carry it."""
    bow = _with_weight(tmp_path, *weights)
    bow.see("powder", {"marks": []})
    bow.see("bare shaft", _bare(-9.0, 0.0))
    proposal = propose(bow.case)
    assert (proposal.cure == "draw_weight_up") == open_
    assert ("tuning.passed_limit" in [text.key for text in proposal.passed_over]) == (not open_)


def test_more_was_done_than_was_proposed(tmp_path):
    """The amount that counts is the sheets', not the proposal's."""
    bow = _with_weight(tmp_path, "38 lb")
    bow.do("draw_weight_up", {"draw_weight": "42 lb"}, "spine_stiff")
    (tried,) = bow.case.evidence.tried
    assert (tried.cure, tried.amount) == ("draw_weight_up", pytest.approx(4.0))


def test_new_limbs_begin_anew(tmp_path):
    """Other limbs draw another weight; that was no tuning."""
    bow = _with_weight(tmp_path, "38 lb", "39 lb", "40 lb", limbs="old")
    bow.now = logbook.change_setup(
        bow.book, bow.now, {"limbs": "new", "draw_weight": "34 lb"}, dated=NEXT_DAY, reason="new"
    )
    assert bow.case.evidence.tried == ()


def test_a_new_spine_reopens_what_was_tried_with_the_old_one(tmp_path):
    """What made things worse with one shaft need not with another; the shafts tried stay known."""
    bow = Bow(tmp_path, {**TYPED, "spine": "800"})
    bow.do("plunger_stiffer", {"plunger_spring": "3.25 turns"})
    bow.keep("worse")
    bow.do("stiffer_shaft", {"spine": "600"})
    assert [step.cure for step in bow.case.evidence.tried] == ["stiffer_shaft"]


@pytest.mark.parametrize(
    ("changes", "counts"),
    [
        ({"nocking_point": "11.2 mm"}, True),
        ({"nocking_point": "6 mm"}, False),
        ({"plunger_spring": "2.75 turns"}, True),
        ({"spine": "600"}, False),
        ({"strands": "16"}, False),
    ],
)
def test_clean_powder_counts_while_the_arrow_leaves_alike(bow, changes, counts):
    """A fine step leaves it standing; what moves or bends the arrow by more does not."""
    bow.see("powder", {"marks": []})
    bow.now = logbook.change_setup(bow.book, bow.now, changes, dated=NEXT_DAY, reason="by hand")
    assert bool(bow.case.evidence.powder) == counts


def test_a_measured_balance_moves_with_a_heavier_insert_too(tmp_path):
    """Ten grains in front are ten grains in front."""
    typed = {**TYPED, "arrow_length": "730 mm", "balance_point": "480 mm", "insert_mass": "0 gr"}
    bow = Bow(tmp_path, typed)
    before = bow.case.evidence.foc_percent
    bow.now = logbook.change_setup(
        bow.book, bow.now, {"insert_mass": "20 gr"}, dated=NEXT_DAY, reason="insert"
    )
    seen = bow.case.evidence
    assert seen.foc_percent == pytest.approx(before + 2 * seen.foc_step_percent)


def test_no_step_goes_below_nought(tmp_path):
    """A nocking point at square is not lowered, a spring that is let go is not softened."""
    bow = Bow(tmp_path, {**TYPED, "nocking_point": "0.4 mm", "plunger_spring": "0 turns"})
    bow.see("powder", {"marks": []})
    bow.see("bare shaft", _bare(0.0, -7.0))
    proposal = propose(bow.case)
    assert proposal.cure != "lower_nocking"
    assert "tuning.passed_end" in [text.key for text in proposal.passed_over]
    assert bow.case.evidence.at_end == {"lower_nocking", "plunger_softer"}


def test_a_nock_on_the_rest_does_not_raise_a_nocking_point_that_is_too_high(bow):
    """Bare shafts that land low forbid it: the rest comes first."""
    bow.see("powder", {"marks": [["nock", "rest"]]})
    bow.see("bare shaft", _bare(0.0, -7.0))
    proposal = propose(bow.case)
    assert proposal.cure == "rest_arm_in"
    assert "tuning.passed_bare_low" in [text.key for text in proposal.passed_over]


def test_what_is_less_than_a_fine_step_is_not_mended_by_a_coarse_one(bow):
    """A spring that was turned both ways is left where it is, and no point is changed instead."""
    bow.see("powder", {"marks": []})
    for cure, turns in (("plunger_stiffer", "3.25"), ("plunger_softer", "3")):
        bow.do(cure, {"plunger_spring": f"{turns} turns"})
    bow.see("bare shaft", _bare(4.0, 0.0))
    bow.fly(*[_flight()] * 3)
    proposal = propose(bow.case)
    assert "tuning.passed_between" in [text.key for text in proposal.passed_over]
    assert proposal.is_test or proposal.cure == "keep"


def test_tests_are_not_asked_for_without_end(bow):
    """Flights that swing alike with a bow that tests well are for a coach to look at."""
    for _ in range(4):
        bow.fly(_flight(up_down=[_line("yaw", 9.0)], porpoising=0.98))
    bow.see("powder", {"marks": []})
    spots = [[0.0, 0.0], [0.01, 0.0], [-0.01, 0.0], [0.0, 0.01], [0.0, -0.01], [0.0, 0.0]]
    bow.see("bare shaft", {**_bare(0, 0), "bare_m": spots})
    proposal = propose(bow.case)
    assert (proposal.cause, proposal.cure) == ("bow_says_nothing", "coach_looks")
    for _ in range(3):
        decide(
            bow.book, bow.now, cure="coach_looks", amount=None, is_test=True, dated=NEXT_DAY,
            proposal={},
        )  # fmt: skip
    assert bow.case.evidence.tested == ("coach_looks",) * 3
    assert propose(bow.case).cause == "cures_used_up"


def test_a_quick_swing_that_was_not_seen_is_nought_as_far_as_its_chance_goes():
    """The likelier a swing above the threshold, the larger may one be that was not seen."""
    unlikely, likely = (
        flight_from_json(_flight([_line("yaw", 8.0)], minnowing=chance, fishtailing=0.98))
        for chance in (0.001, 0.3)
    )
    assert unlikely.quick_across.value == likely.quick_across.value == 0.0
    assert unlikely.quick_across.sigma < likely.quick_across.sigma
    assert isinstance(replace(unlikely, refused=True), FlightSeen)
