"""Answers of the naming exercise: kept line by line, counted into a table for each trainee."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ui.shelf import add_line

LABELS = ("fishtailing", "minnowing", "porpoising", "clean")
RECENT = 10


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One answer.

    Attributes
    ----------
    when
        ISO 8601 in UTC.
    trainee
        Name or code.
    question
        Which flight.
    shown, said
        Labels.
    """

    when: str
    trainee: str
    question: str
    shown: str
    said: str

    @property
    def right(self) -> bool:
        """Whether it was right."""
        return self.shown == self.said


class LessonBook:
    """Answers in one file.

    Parameters
    ----------
    folder
        Made with the first answer.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / "lessons.jsonl"

    def add(self, *, trainee: str, question: str, shown: str, said: str) -> Answer:
        """Keep an answer.

        Parameters
        ----------
        trainee
            Name or code.
        question
            Which flight.
        shown, said
            Labels.

        Returns
        -------
        Answer
            As it was kept.

        Raises
        ------
        InputError
            If it cannot be written; nothing was kept then.
        """
        answer = Answer(
            when=datetime.now(UTC).isoformat(timespec="seconds"),
            trainee=trainee,
            question=question,
            shown=shown,
            said=said,
        )
        add_line(self._path, vars(answer))
        return answer

    def answers(self, trainee: str) -> list[Answer]:
        """Give a trainee's answers.

        Parameters
        ----------
        trainee
            Name or code.

        Returns
        -------
        list of Answer
            The oldest first.
        """
        if not self._path.is_file():
            return []
        found = []
        for line in self._path.read_text(encoding="utf-8", errors="replace").splitlines():
            try:
                answer = Answer(**json.loads(line))
            except (ValueError, TypeError):
                continue  # the last line of a machine that lost power
            if answer.trainee == trainee:
                found.append(answer)
        return found


def confusion(answers: Sequence[Answer]) -> list[list[int]]:
    """Count what was said for each thing shown.

    Parameters
    ----------
    answers
        Of one trainee.

    Returns
    -------
    list of list of int
        A row for each label shown, a column for each label said, in the order of `LABELS`.
    """
    table = [[0] * len(LABELS) for _ in LABELS]
    for answer in answers:
        if answer.shown in LABELS and answer.said in LABELS:
            table[LABELS.index(answer.shown)][LABELS.index(answer.said)] += 1
    return table


def recent_share(answers: Sequence[Answer]) -> list[float]:
    """Follow the share of right answers over time.

    Parameters
    ----------
    answers
        Of one trainee, the oldest first.

    Returns
    -------
    list of float
        After each answer, the share of right ones among the last ten.
    """
    shares = []
    for count in range(1, len(answers) + 1):
        lately = answers[max(0, count - RECENT) : count]
        shares.append(sum(answer.right for answer in lately) / len(lately))
    return shares
