"""Rules: what was decided and what stands in a sheet is said in the language of the page."""

from __future__ import annotations

import pytest

from classify.evidence_book import Decision
from classify.knowledge import load_knowledge
from classify.setup_sheet import fill_sheet
from ui.decided_words import decided_change, reason_in
from ui.sheet_words import sheet_text
from ui.words import LANGUAGES


def decided(cure: str, amount: float | None, said: str) -> Decision:
    """Make a decision whose proposal was seen in these words."""
    return Decision(
        id="d",
        version_id="v",
        to_version_id=None,
        dated="2026-01-12",
        cure=cure,
        amount=amount,
        is_test=False,
        outcome=None,
        proposal={"change": said},
        note="",
    )


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kept_in", LANGUAGES)
def test_a_decision_is_said_in_the_language_of_the_page(kept_in: str, language: str) -> None:
    """Whatever language it was made in, with the step that was proposed: near or far."""
    then, now = load_knowledge("left", kept_in).cures, load_knowledge("left", language).cures
    for name, cure in then.items():
        near, far = decided(name, None, cure.change), decided(name, None, cure.far_change)
        assert decided_change(near, "left", language) == now[name].change
        if cure.far_change != cure.change:
            assert decided_change(far, "left", language) == now[name].far_change


def test_a_proposal_that_was_worded_otherwise_is_told_by_its_amount() -> None:
    """The larger step stays the larger one; an amount that nobody proposes stays as it was said."""
    cure = next(c for c in load_knowledge("right").cures.values() if c.far_amount != c.amount)
    spanish = load_knowledge("right", "es").cures[cure.name]
    near, far = (
        decided(cure.name, a, "As it was once said.") for a in (cure.amount, cure.far_amount)
    )
    assert decided_change(near, "right", "es") == spanish.change
    assert decided_change(far, "right", "es") == spanish.far_change
    other = decided(cure.name, 12345.0, "As it was once said.")
    assert decided_change(other, "right", "es") == "As it was once said."
    assert decided_change(decided("no_such_cure", None, ""), None, "es") == "no_such_cure"


def test_a_persons_own_reason_stays_as_it_was_typed() -> None:
    """A version made for a proposal says it in Spanish; one made for a thought of one's own not."""
    english, spanish = load_knowledge("left").cures, load_knowledge("left", "es").cures
    said = english["lower_nocking"].change
    assert reason_in(said, "left", "es") == spanish["lower_nocking"].change
    assert reason_in("bare shafts low", "left", "es") == "bare shafts low"


@pytest.mark.parametrize(
    ("name", "typed", "english", "spanish"),
    [
        ("nock_fit", "good", "good", "bueno"),
        ("holds_60_s", "yes", "yes", "sí"),
        ("plunger_spring", "3 turns", "3 turns", "3 vueltas"),
        ("plunger_spring", "1 turn", "1 turn", "1 vuelta"),
        ("vane_offset", "1 1/2 degrees", "1 1/2 degrees", "1 1/2 grados"),
        ("vane_offset", "helical, both turns", "helical, both turns", "helical, both turns"),
        ("nock_turn", "0.0625 turns", "2/32 of a turn", "2/32 de vuelta"),
        ("nock_turn", "-1/32 turns", "-1/32 of a turn", "-1/32 de vuelta"),
        ("nock_turn", "0.05 turns", "0.05 turns", "0.05 vueltas"),
        ("brace_height", "8 3/4 in", "8 3/4 in", "8 3/4 in"),
    ],
)
def test_a_sheet_is_said_in_the_language_of_the_page(
    name: str, typed: str, english: str, spanish: str
) -> None:
    """Choices and units are words; a nock's turn is told in the steps it is turned by."""
    sheet = fill_sheet({name: typed})
    assert sheet_text(sheet, name, "en") == english
    assert sheet_text(sheet, name, "es") == spanish
    assert sheet.typed[name] == typed
    assert sheet_text(sheet, "tiller", "es") == ""
