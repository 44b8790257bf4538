"""Evidence and decisions in the logbook: what was seen and decided goes in and comes back out.

What was seen is kept as it was given; corrections keep what stood there before.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from classify.evidence_once import same_flight, was_refused
from classify.evidence_payload import EvidenceKind, check_payload
from classify.logbook import Version, add_version, checked_date, not_before_first, still_there
from classify.logbook_file import LogbookFile, new_id, now
from classify.logbook_undo import keep_history, kept_json
from tracker.types import InputError

Outcome = Literal["better", "same", "worse"]


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One piece of evidence.

    Attributes
    ----------
    id, version_id, kind, dated
        Which, of which version of a set-up, what it is, ISO date.
    payload
        As given; see `classify.evidence_payload`.
    note
        Anything.
    clip_sha256
        The film it comes from, or None.
    """

    id: str
    version_id: str
    kind: EvidenceKind
    dated: str
    payload: Mapping[str, object]
    note: str
    clip_sha256: str | None


@dataclass(frozen=True, kw_only=True)
class Decision:
    """What was decided on a version of a set-up.

    Attributes
    ----------
    id, version_id, to_version_id
        Which; the version it was decided on; the version it made, None for a test or as long as
        it was not done.
    dated, cure, amount, is_test
        ISO date; name in the knowledge file; how much; whether it measures and changes nothing.
    outcome
        What before and after said, None until compared.
    proposal
        What the person saw when deciding, as plain values.
    note
        Anything.
    """

    id: str
    version_id: str
    to_version_id: str | None
    dated: str
    cure: str
    amount: float | None
    is_test: bool
    outcome: Outcome | None
    proposal: Mapping[str, object]
    note: str


def record(
    book: LogbookFile, version: Version, kind: EvidenceKind, payload: Mapping[str, object], *,
    dated: str, note: str = "", clip_sha256: str | None = None,
) -> Seen:  # fmt: skip
    """Write down something that was seen.

    Parameters
    ----------
    book, version
        Logbook, and the version of the set-up it was seen with.
    kind, payload
        What; kept as given.
    dated
        ISO date.
    note
        Anything.
    clip_sha256
        Of a clip in the store.

    Returns
    -------
    Seen
        On the disk when this returns.

    Raises
    ------
    InputError
        If the payload is not what its kind needs, the clip is not in the store, the same flight
        stands under that version already, the date is before the set-up's first version, or the
        set-up was deleted meanwhile.
    """
    check_payload(kind, payload)
    seen = Seen(
        id=new_id(),
        version_id=version.id,
        kind=kind,
        dated=checked_date(dated),
        payload=payload,
        note=note,
        clip_sha256=clip_sha256,
    )
    with book.writing() as db:
        still_there(db, version.setup_id)
        not_before_first(db, version.setup_id, seen.dated)
        if kind == "flight":
            _refuse_twice(_evidence_rows(db, version), payload, clip_sha256)
        db.execute(
            "INSERT INTO evidence VALUES (?, ?, ?, ?, ?, ?, ?, ?, NULL)",
            (seen.id, version.id, kind, seen.dated, _json(payload), note, clip_sha256, now()),
        )
    return seen


def refuse_flight(
    book: LogbookFile, version: Version, *, clip_sha256: str, flight: int | None, dated: str
) -> None:
    """Refuse a flight of a film that could not be kept, before minutes are spent on reading it.

    Parameters
    ----------
    book, version
        Logbook, and the version of the set-up.
    clip_sha256, flight
        Of the film, and the flight's number in it from 0; None for that of a click, of which only
        its reading tells which it is.
    dated
        ISO date.

    Raises
    ------
    InputError
        If it stands there, or the date is before the set-up's first version.
    """
    with book.reading() as db:
        not_before_first(db, version.setup_id, dated)
    if flight is None:
        return
    unread = {"reading": {"flight": {"flight": flight}}}
    _refuse_twice(evidence_of(book, version), unread, clip_sha256)


def _refuse_twice(
    there: Sequence[Seen], payload: Mapping[str, object], clip_sha256: str | None
) -> None:
    for one in there:
        # one that was refused may be read again, with what was missing
        read = one.kind == "flight" and not was_refused(one.payload)
        if read and same_flight(one.payload, one.clip_sha256, payload, clip_sha256):
            raise InputError("logbook.kept_already", dated=one.dated, id=one.id[:8])


def correct(book: LogbookFile, seen: Seen, payload: Mapping[str, object], *, reason: str) -> Seen:
    """Correct evidence; what stood there before stays in the history.

    Parameters
    ----------
    book, seen
        Logbook and what is wrong.
    payload
        As it is to be.
    reason
        Why.

    Returns
    -------
    Seen
        As kept now.

    Raises
    ------
    InputError
        If the payload is not what its kind needs, or the evidence is not any more as `seen` has it.
    """
    check_payload(seen.kind, payload)
    with book.writing() as db:
        there = db.execute(
            "SELECT payload_json FROM evidence WHERE id = ? AND deleted_at IS NULL", (seen.id,)
        ).fetchone()
        # two people who correct one thing at once: the second has not seen what the first wrote
        if there is None or json.loads(there["payload_json"]) != json.loads(_json(seen.payload)):
            raise InputError("logbook.changed_meanwhile")
        keep_history(db, "evidence", seen.id, reason)
        db.execute("UPDATE evidence SET payload_json = ? WHERE id = ?", (_json(payload), seen.id))
    return Seen(**{**seen.__dict__, "payload": payload})


def evidence_of(book: LogbookFile, version: Version) -> list[Seen]:
    """List the evidence of one version in the order of dates and entry."""
    with book.reading() as db:
        return _evidence_rows(db, version)


def _evidence_rows(db: sqlite3.Connection, version: Version) -> list[Seen]:
    rows = db.execute(
        "SELECT * FROM evidence WHERE version_id = ? AND deleted_at IS NULL ORDER BY dated, rowid",
        (version.id,),
    ).fetchall()
    return [_seen(row) for row in rows]


def decide(
    book: LogbookFile, version: Version, *, cure: str, amount: float | None, is_test: bool,
    dated: str, proposal: Mapping[str, object], to: Version | None = None, note: str = "",
) -> Decision:  # fmt: skip
    """Write down what was decided.

    Parameters
    ----------
    book, version
        Logbook, and the version it was decided on.
    cure, amount, is_test
        Name in the knowledge file, how much, whether it only measures.
    dated
        ISO date.
    proposal
        What the person saw, as plain values.
    to
        The version it made; None for a test or as long as it was not done.
    note
        Anything.

    Returns
    -------
    Decision
        On the disk when this returns.
    """
    decision = Decision(
        id=new_id(),
        version_id=version.id,
        to_version_id=None if to is None else to.id,
        dated=checked_date(dated),
        cure=cure,
        amount=amount,
        is_test=is_test,
        outcome=None,
        proposal=proposal,
        note=note,
    )
    with book.writing() as db:
        not_before_first(db, version.setup_id, decision.dated)
        _insert_decision(db, decision)
    return decision


def decide_change(
    book: LogbookFile, version: Version, changes: Mapping[str, str], *, cure: str,
    amount: float | None, dated: str, proposal: Mapping[str, object], reason: str, note: str = "",
) -> tuple[Decision, Version]:  # fmt: skip
    """Write down a change that was decided and done: both the decision and the sheet, or neither.

    Parameters
    ----------
    book, version
        Logbook, and the version it was decided on; must be the newest.
    changes
        Fields of the sheet that differ now; empty where the note alone says what was done. The next
        version then reads as before: what is seen from then on is no more of the old set-up.
    cure, amount, dated, proposal, note
        See `decide`.
    reason
        Why the sheet has another version.

    Returns
    -------
    Decision
        On the disk when this returns.
    Version
        The one it made.

    Raises
    ------
    InputError
        If a field cannot be used, or somebody made a newer version meanwhile.
    """
    sheet = version.sheet.with_changes(changes)
    with book.writing() as db:
        to = add_version(db, version, sheet, dated=dated, reason=reason, in_words=not changes)
        decision = Decision(
            id=new_id(),
            version_id=version.id,
            to_version_id=to.id,
            dated=to.dated,
            cure=cure,
            amount=amount,
            is_test=False,
            outcome=None,
            proposal=proposal,
            note=note,
        )
        _insert_decision(db, decision)
    return decision, to


def _insert_decision(db: sqlite3.Connection, decision: Decision) -> None:
    db.execute(
        "INSERT INTO decisions VALUES (?, ?, ?, ?, ?, ?, ?, NULL, ?, ?, ?, NULL)",
        (
            decision.id,
            decision.version_id,
            decision.to_version_id,
            decision.dated,
            decision.cure,
            decision.amount,
            int(decision.is_test),
            _json(decision.proposal),
            decision.note,
            now(),
        ),
    )


def set_outcome(book: LogbookFile, decision: Decision, outcome: Outcome) -> None:
    """Write down what before and after said of a change.

    Parameters
    ----------
    book, decision
        Logbook and which.
    outcome
        "better", "same" or "worse".

    Raises
    ------
    InputError
        If it is no such word, or somebody wrote another one down meanwhile.
    """
    if outcome not in get_args(Outcome):
        raise InputError("logbook.choice", field="outcome", found=outcome,
                         choices=", ".join(get_args(Outcome)))  # fmt: skip
    with book.writing() as db:
        there = db.execute(
            "SELECT outcome FROM decisions WHERE id = ? AND deleted_at IS NULL", (decision.id,)
        ).fetchone()
        if there is None or there["outcome"] not in (decision.outcome, outcome):
            raise InputError("logbook.changed_meanwhile")
        if there["outcome"] is not None:
            keep_history(db, "decisions", decision.id, "outcome")
        db.execute("UPDATE decisions SET outcome = ? WHERE id = ?", (outcome, decision.id))


def decisions_of(book: LogbookFile, setup_id: str) -> list[Decision]:
    """List the decisions on all versions of a set-up, oldest first."""
    with book.reading() as db:
        rows = db.execute(
            "SELECT d.* FROM decisions d JOIN versions v ON v.id = d.version_id"
            " WHERE v.setup_id = ? AND d.deleted_at IS NULL ORDER BY v.number, d.dated, d.rowid",
            (setup_id,),
        ).fetchall()
    return [_decision(row) for row in rows]


def _json(payload: Mapping[str, object]) -> str:
    return json.dumps(payload, ensure_ascii=False, allow_nan=False)


def _seen(row: sqlite3.Row) -> Seen:
    return Seen(
        id=row["id"],
        version_id=row["version_id"],
        kind=row["kind"],
        dated=row["dated"],
        payload=kept_json(row["payload_json"]),
        note=row["note"],
        clip_sha256=row["clip_sha256"],
    )


def _decision(row: sqlite3.Row) -> Decision:
    return Decision(
        id=row["id"],
        version_id=row["version_id"],
        to_version_id=row["to_version_id"],
        dated=row["dated"],
        cure=row["cure"],
        amount=row["amount"],
        is_test=bool(row["is_test"]),
        outcome=row["outcome"],
        proposal=kept_json(row["proposal_json"]),
        note=row["note"],
    )
