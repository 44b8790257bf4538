"""Rules: the knowledge file is closed, mirrors, and its arithmetic is the plain sum it claims."""

from __future__ import annotations

import copy

import pytest

from classify.knowledge import causes_for, load_knowledge, weigh
from classify.knowledge_rules import SENTENCES, faults, raw_knowledge
from ui.words import LANGUAGES


def test_shipped_file_breaks_no_rule():
    """Every finding has causes, every cause a cure, every cure all its fields."""
    assert faults(raw_knowledge()) == []


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda r: r["causes"]["drag"].update(cures=[]), "drag lacks a cure"),
        (lambda r: r["causes"]["drag"].update(cures=["magic"]), "unknown cure magic"),
        (lambda r: r["causes"]["drag"].update(stage="later"), "unknown stage later"),
        (lambda r: r["causes"]["drag"]["for"].update(moon=1.0), "weighs unknown moon"),
        (lambda r: r["causes"]["drag"]["for"].update(minnowing=-1.0), "speaks the wrong way"),
        (lambda r: r["cures"]["keep"].pop("caution"), "keep lacks caution"),
        (lambda r: r["cures"]["keep"].pop("source"), "keep lacks source"),
        (lambda r: r["cures"]["keep"].update(direction="sideways"), "unknown direction"),
        (lambda r: r["cures"]["keep"].update(stop="Move to the left."), "names a side"),
        (lambda r: r["causes"].pop("nock_tight"), "nock_tight speaks for no cause|cures nothing"),
    ],
)
def test_a_spoilt_file_is_caught(spoil, said):
    """The proof is not vacuous: each rule, broken once, is reported."""
    raw = copy.deepcopy(raw_knowledge())
    spoil(raw)
    joined = "; ".join(faults(raw))
    assert any(part in joined for part in said.split("|")), joined


def test_hands_mirror_in_every_sentence():
    """Swapping the two side words turns the right hand's sentences into the left hand's."""

    def swap(text: str) -> str:
        return text.replace("right", "\0").replace("left", "right").replace("\0", "left")

    right, left = load_knowledge("right"), load_knowledge("left")
    for name, finding in right.findings.items():
        assert swap(finding.title) == left.findings[name].title
    for name, cause in right.causes.items():
        assert swap(cause.why) == left.causes[name].why
        assert cause.weights == left.causes[name].weights
    for name, cure in right.cures.items():
        twin = left.cures[name]
        assert swap(cure.change) == twin.change
        assert swap(cure.next_test) == twin.next_test
        assert swap(cure.direction) == twin.direction


def test_up_and_down_do_not_mirror():
    """A nocking point goes the same way for both hands (common practice)."""
    for hand in ("right", "left"):
        cures = load_knowledge(hand).cures
        assert cures["lower_nocking"].direction == "down"
        assert cures["raise_nocking"].direction == "up"


def test_unknown_hand_says_both_sides():
    """Nobody's hand is assumed."""
    title = load_knowledge(None).findings["bare_weak"].title
    assert "right (left for a left-handed archer)" in title


def test_support_is_the_plain_sum():
    """Support = start + sum of weight times sureness, for every cause alike."""
    known = load_knowledge("right")
    findings = {"bare_weak": 0.8, "powder_clean": 1.0, "fishtailing": 0.6}
    for weighed in weigh(findings, known):
        cause = known.causes[weighed.cause]
        by_hand = cause.start + sum(s * cause.weights.get(f, 0.0) for f, s in findings.items())
        assert weighed.support == pytest.approx(by_hand, abs=1e-12)


def test_unknown_finding_and_impossible_sureness_raise():
    """A mistyped finding never passes silently."""
    known = load_knowledge("right")
    with pytest.raises(ValueError, match="not in the knowledge file"):
        weigh({"fishtail": 1.0}, known)
    with pytest.raises(ValueError, match="needed 0 to 1"):
        weigh({"fishtailing": 1.5}, known)


@pytest.mark.parametrize(
    ("findings", "first"),
    [
        # common practice: fast and narrow reads as poor clearance, which is looked for before
        # anything is turned; up-down may be the nocking point or contact, so its side is tested,
        # not guessed; a circle is a nock or a vane
        ({"minnowing": 0.95}, "contact_unknown"),
        ({"fishtailing": 0.95}, "side_unknown"),
        ({"porpoising": 0.95}, "vertical_unknown"),
        ({"wobble": 1.0}, "bent_nock"),
        ({"clean_flight": 0.95}, "in_tune"),
    ],
)
def test_one_reading_names_its_leading_cause(findings, first):
    """Each disturbance alone has the cause that the trade names first."""
    assert causes_for(findings, hand="right")[0].name == first


def test_no_nock_is_turned_before_anybody_has_looked():
    """Until powder was scraped nobody knows which vane touches, nor whether one does."""
    unseen = [cause.name for cause in causes_for({"minnowing": 0.97}, hand="right")]
    assert unseen[:2] == ["contact_unknown", "contact_side"]
    seen = {"minnowing": 0.97, "powder_vane_rest": 1.0}
    found = [cause.name for cause in causes_for(seen, hand="right")]
    assert found[0] == "contact_side"
    assert "contact_unknown" not in found


def test_porpoising_lists_contact_besides_the_nocking_point():
    """A vertical swing is not mapped to the nocking point alone (common practice)."""
    names = [cause.name for cause in causes_for({"porpoising": 0.9}, hand="right")]
    assert "contact_below" in names
    assert {"nocking_high", "nocking_low"} <= set(names)


def test_bending_alone_is_clean():
    """Shaft bending after a finger release is normal (Park, Arrows: dynamic behaviour)."""
    assert [c.name for c in causes_for({"bending_only": 1.0}, hand="right")] == ["in_tune"]


def sentences(raw):
    """Collect every sentence of a knowledge file by its place."""
    found = {}
    for kind in ("findings", "causes", "cures"):
        for name, entry in raw[kind].items():
            for field in SENTENCES:
                if field in entry:
                    found[kind, name, field] = entry[field]
    return found | {("stages", name, ""): text for name, text in raw["stages"].items()}


@pytest.mark.parametrize("language", sorted(set(LANGUAGES) - {"en"}))
def test_another_language_is_whole_and_keeps_the_rules(language):
    """Every sentence is said anew, sides stay in braces, and nothing else changes."""
    english, other = raw_knowledge(), raw_knowledge(language)
    assert faults(other) == []
    same = {place for place, text in sentences(other).items() if text == sentences(english)[place]}
    assert same == set()
    for cause, entry in english["causes"].items():
        assert other["causes"][cause]["for"] == entry["for"]
    for place, text in sentences(english).items():
        for brace in ("{right}", "{left}", "{step}"):
            assert (brace in text) == (brace in sentences(other)[place]), (place, brace)
