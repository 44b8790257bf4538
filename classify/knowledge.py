"""What a coach knows: the data file goes in; causes and cures in one hand's words come out.

Knows nothing of clips, numbers measured or physics: a finding is a name and how sure it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import cast

from classify.knowledge_rules import MIRRORED, Direction, faults, raw_knowledge, table
from classify.types import Cause, Hand

SHOW_FROM = 0.3
"""Support from which a cause is worth a line in the list of one reading; chosen here."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something that was seen, measured or said.

    Attributes
    ----------
    name
        Key in the data file.
    kind
        Which test gives it: "flight", "bare shaft", "powder", ...
    title
        A sentence for the archer's own hand.
    source
        Publication, or "common practice".
    """

    name: str
    kind: str
    title: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Cure:
    """One thing to do, with its direction and its step.

    Attributes
    ----------
    name
        Key in the data file.
    direction
        For the archer's own hand (right and left change places for a left-handed one; for an
        unknown hand, the direction of a right-handed archer).
    change, far_change
        What to do, step included; `far_change` where the reaction is far off.
    step
        The step in words.
    amount, far_amount, unit, limit
        The step as a number in `unit`, signed; the larger step when far off; the most that all
        steps together may amount to. None where a number makes no sense.
    repeat
        How often it may be done before the next cure is tried.
    cost
        0 nothing, 1 minutes, 2 a part, 3 a set of parts, 4 a set of arrows.
    reversible
        Whether it can be put back.
    caution, next_clip, next_test, stop
        What can hurt; what the next clip and test should show; when to stop.
    source
        Publication, or "common practice".
    """

    name: str
    direction: Direction
    change: str
    far_change: str
    step: str
    amount: float | None
    far_amount: float | None
    unit: str | None
    limit: float | None
    repeat: int
    cost: int
    reversible: bool
    caution: str
    next_clip: str
    next_test: str
    stop: str
    source: str


@dataclass(frozen=True, kw_only=True)
class KnownCause:
    """A cause with what speaks for and against it.

    Attributes
    ----------
    name, title, why, source
        Key in the data file; sentences for the archer's own hand; publication or practice.
    stage
        Its place in the trade's order of changes.
    start
        Support before any finding (natural log-odds, chosen here).
    weights
        By finding: plus speaks for the cause, minus against it.
    cures
        Names, in the order in which to try them.
    """

    name: str
    title: str
    why: str
    source: str
    stage: str
    start: float
    weights: Mapping[str, float]
    cures: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Knowledge:
    """The whole data file in one archer's words.

    Attributes
    ----------
    order
        Stages of the trade's order of changes, first to last.
    stages
        By stage, why it comes where it does.
    act_from
        Support from which a cause is acted on.
    findings, causes, cures
        By name.
    """

    order: tuple[str, ...]
    stages: Mapping[str, str]
    act_from: float
    findings: Mapping[str, Finding]
    causes: Mapping[str, KnownCause]
    cures: Mapping[str, Cure]

    def place(self, cause: str) -> int:
        """Place of a cause in the order of changes, from 0."""
        return self.order.index(self.causes[cause].stage)


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """A cause with its support and where that came from.

    Attributes
    ----------
    cause
        Name.
    support
        ``start + sum(parts)``, natural log-odds.
    parts
        By finding: weight times how sure the finding is.
    """

    cause: str
    support: float
    parts: Mapping[str, float]


def load_knowledge(hand: Hand | None, language: str = "en") -> Knowledge:
    """Read the data file in the words of one hand.

    Parameters
    ----------
    hand
        The archer's; None says both directions.
    language
        Two letters; a language without a file of its own is said in English.

    Returns
    -------
    Knowledge
        Checked for closure (see `classify.knowledge_rules.faults`).

    Raises
    ------
    ValueError
        If the data file breaks one of its own rules; all that are broken are named.

    Examples
    --------
    >>> load_knowledge("right").findings["bare_stiff"].title
    'The bare shafts land to the left of the fletched arrows: the arrow acts stiff.'
    >>> load_knowledge("left").findings["bare_stiff"].title
    'The bare shafts land to the right of the fletched arrows: the arrow acts stiff.'
    """
    return _load(hand, language)


@cache
def _load(hand: Hand | None, language: str) -> Knowledge:
    raw = raw_knowledge(language)
    broken = faults(raw)
    if broken:
        raise ValueError("knowledge file: " + "; ".join(broken))
    return _in_words(raw, hand)


def _in_words(raw: Mapping[str, object], hand: Hand | None) -> Knowledge:
    words = cast("dict[str, str]", raw["words"])
    sides = {"right": words["right"], "left": words["left"]}
    if hand == "left":
        sides = {side: words[MIRRORED[side]] for side in sides}
    elif hand is None:
        sides = {
            side: words["unknown_hand"].format(own=words[side], other=words[MIRRORED[side]])
            for side in sides
        }

    def spoken(entry: Mapping[str, object], field: str, step: str = "") -> str:
        return str(entry[field]).format(**sides, step=step)

    def source(entry: Mapping[str, object]) -> str:
        plain = str(entry["source"])
        return cast("dict[str, str]", raw["sources"]).get(plain, plain)

    findings = {
        name: Finding(
            name=name,
            kind=str(entry["kind"]),
            title=spoken(entry, "title"),
            source=source(entry),
        )
        for name, entry in table(raw, "findings").items()
    }
    causes = {
        name: KnownCause(
            name=name,
            title=spoken(entry, "title"),
            why=spoken(entry, "why"),
            source=source(entry),
            stage=str(entry["stage"]),
            start=float(cast("float", entry["start"])),
            weights=_weights(entry),
            cures=tuple(cast("list[str]", entry["cures"])),
        )
        for name, entry in table(raw, "causes").items()
    }
    cures = {}
    for name, entry in table(raw, "cures").items():
        step = spoken(entry, "step")
        far_step = spoken(entry, "far_step") if "far_step" in entry else step
        amount = cast("float | None", entry.get("amount"))
        direction = cast("Direction", entry["direction"])
        cures[name] = Cure(
            name=name,
            direction=MIRRORED.get(direction, direction) if hand == "left" else direction,
            change=spoken(entry, "change", step),
            far_change=spoken(entry, "change", far_step),
            step=step,
            amount=amount,
            far_amount=cast("float | None", entry.get("far_amount", amount)),
            unit=cast("str | None", entry.get("unit")),
            limit=cast("float | None", entry.get("limit")),
            repeat=cast("int", entry.get("repeat", 1)),
            cost=cast("int", entry["cost"]),
            reversible=bool(entry["reversible"]),
            caution=spoken(entry, "caution"),
            next_clip=spoken(entry, "next_clip"),
            next_test=spoken(entry, "next_test"),
            stop=spoken(entry, "stop"),
            source=source(entry),
        )
    return Knowledge(
        order=tuple(cast("list[str]", raw["order"])),
        stages=cast("dict[str, str]", raw["stages"]),
        act_from=float(cast("float", raw["act_from"])),
        findings=findings,
        causes=causes,
        cures=cures,
    )


def _weights(entry: Mapping[str, object]) -> dict[str, float]:
    """Weights for and against; no finding stands on both sides."""
    return {
        **cast("dict[str, float]", entry["for"]),
        **cast("dict[str, float]", entry["against"]),
    }


def weigh(findings: Mapping[str, float], knowledge: Knowledge) -> tuple[Weighed, ...]:
    """Add up what the findings say for and against every cause.

    Parameters
    ----------
    findings
        How sure each finding is, 0 to 1, by name.
    knowledge
        From `load_knowledge`.

    Returns
    -------
    tuple of Weighed
        Every cause, the best supported first; among equals the one that the trade looks at first.

    Raises
    ------
    ValueError
        If a finding is unknown or its sureness is no share.

    Examples
    --------
    >>> known = load_knowledge("right")
    >>> best = weigh({"minnowing": 1.0}, known)[0]
    >>> best.cause, best.support
    ('contact_side', 2.2)
    """
    for name, sure in findings.items():
        if name not in knowledge.findings:
            raise ValueError(f"finding {name!r} is not in the knowledge file")
        if not 0 <= sure <= 1:
            raise ValueError(f"finding {name!r} is {sure} sure, needed 0 to 1")
    weighed = []
    for cause in knowledge.causes.values():
        parts = {
            name: sure * cause.weights[name]
            for name, sure in findings.items()
            if name in cause.weights
        }
        weighed.append(
            Weighed(cause=cause.name, support=cause.start + sum(parts.values()), parts=parts)
        )
    return tuple(sorted(weighed, key=lambda w: (-w.support, knowledge.place(w.cause))))


def causes_for(
    findings: Mapping[str, float], *, hand: Hand | None, language: str = "en"
) -> tuple[Cause, ...]:
    """Likely causes of what was found, each with the first change to try.

    Parameters
    ----------
    findings
        How sure each finding is, 0 to 1, by name: a disturbance by its probability, and
        "wobble", "bending_only", "clean_flight" and all others of the data file.
    hand
        The archer's; None says both directions.
    language
        Two letters.

    Returns
    -------
    tuple of Cause
        The best supported first; empty where nothing speaks for any cause. That nobody has looked
        for contact yet comes before every kind of contact: no nock is turned before.

    Examples
    --------
    >>> causes_for({"minnowing": 0.97}, hand=None)[0].name
    'contact_unknown'
    >>> causes_for({"porpoising": 0.9}, hand="left")[0].name
    'vertical_unknown'
    """
    knowledge = load_knowledge(hand, language)
    shown = [w.cause for w in weigh(findings, knowledge) if w.support >= SHOW_FROM]
    contact = [k for k, name in enumerate(shown) if knowledge.causes[name].stage == "contact"]
    if contact and "contact_unknown" in shown[contact[0] :]:
        shown.remove("contact_unknown")
        shown.insert(contact[0], "contact_unknown")
    likely = []
    for name in shown:
        cause = knowledge.causes[name]
        cure = knowledge.cures[cause.cures[0]]
        likely.append(
            Cause(
                name=cause.name,
                title=cause.title,
                why=cause.why,
                first_change=cure.change,
                caution=cure.caution,
                source=cause.source,
            )
        )
    return tuple(likely)
