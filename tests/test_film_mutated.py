"""Spoilt films through the whole reading: each ends soon, with a reading, a refusal, a sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from pathlib import Path

import pytest

from classify.apart import GIB, Limits, ReadingProcesses
from classify.types import Known
from tests.mutated_films import crowds, giants, mutations, sources
from tracker.types import InputError
from ui.words import say

KNOWN = Known(distance_m=18.0, hand="right")
STRICT = Limits(wall_s=240.0, silent_s=240.0, cpu_s=60, memory_bytes=GIB)
"""A whole small film takes a few seconds of one processor, and a tenth of this memory. The clock's
limit is wide, since others may be at work on this computer."""


def outcomes(films: Iterable[tuple[str, bytes]], folder: Path) -> Counter[str]:
    """Read films, two at a time; count how they ended by the sentence's key."""
    processes = ReadingProcesses(most=2, limits=STRICT)
    known = (KNOWN, Known(), Known(distance_m=18.0, hand="left", capture_hz=Fraction(240)))

    def read(numbered: tuple[int, tuple[str, bytes]]) -> str:
        number, (name, content) = numbered
        path = folder / f"x{number}{Path(name).suffix}"
        path.write_bytes(content)
        try:
            reading = processes.read_clip(path, known=known[number % 3]).reading
            end = "read" if reading.refused is None else reading.refused.key
            said = "" if reading.refused is None else say(reading.refused)
            for note in reading.notes:
                assert "{" not in say(note)
        except InputError as mistake:
            end, said = mistake.message.key, say(mistake.message)
        assert "{" not in said, f"{name}: {said}"
        # Neither a mistake of ours, nor without an end within the limits above.
        bad = {"apart.broken", "apart.nonsense", "apart.too_long", "apart.not_started"}
        assert end not in bad, f"{name}: {said}"
        path.unlink()
        return end

    with ThreadPoolExecutor(2) as threads:
        counted = Counter(threads.map(read, enumerate(films)))
    processes.close()
    return counted


def test_a_sample_of_spoilt_films(tmp_path: Path) -> None:
    """Every kind of film and every way of spoiling it, a few times."""
    made = sources(tmp_path, flights=False)
    ended = outcomes(mutations(made, 60, seed=31), tmp_path)
    assert ended.total() == 60
    assert len(ended) > 4  # the films are spoilt in ways that are told apart


@pytest.mark.long
@pytest.mark.parametrize("count", [120, pytest.param(2106, marks=pytest.mark.endurance)])
def test_many_spoilt_films(tmp_path: Path, count: int) -> None:
    """Spoilt films, crowds of streams and giants: no mistake of ours, none without an end."""
    made = sources(tmp_path, flights=False)
    flights = {n: c for n, c in sources(tmp_path, flights=True).items() if n.startswith("flight")}
    ended = outcomes(mutations(made, count, seed=32), tmp_path)
    ended += outcomes(mutations(flights, count // 35, seed=33), tmp_path)
    ended += outcomes([*crowds(made), *giants(tmp_path)], tmp_path)
    print(ended)
    assert ended.total() >= count + count // 35
    assert ended["apart.crashed"] + ended["apart.memory"] < 0.01 * ended.total()
