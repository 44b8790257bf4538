"""Print how the logbook's cost grows: 50,000 readings against 500.

Run as ``python -m tests.benchmarks.logbook [readings]``. Each reading is the whole JSON of a clip,
as `tailsway book flight` keeps it; every archer has two hundred. Milliseconds on the clock, the
best of several.
"""

from __future__ import annotations

import json
import os
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from itertools import count
from pathlib import Path

from classify import logbook
from classify.casebook import open_case
from classify.evidence_book import evidence_of, record
from classify.logbook import Version
from classify.logbook_file import LogbookFile, looked_over, new_id, now
from classify.logbook_search import search
from classify.report_json import reading_json
from tests.made_readings import made_reading
from ui.words import say

FEW = 500
MANY = 50_000
EACH = 200
"""Readings of one archer: ten rounds of twenty arrows."""


def filled(folder: Path, readings: int) -> tuple[LogbookFile, Version]:
    """Make a logbook of so many readings, and give a version that has its share of them."""
    book = LogbookFile(folder)
    payload = {"reading": reading_json(made_reading(), say), "arrow": "1"}
    text = json.dumps(payload, ensure_ascii=False)
    middle: Version | None = None
    for archer in range(readings // EACH):
        kept = logbook.add_archer(book, f"archer {archer}", hand="right")
        version = logbook.add_setup(
            book, kept, "blue bow", typed={"bow_length": "68 in"}, dated="2026-01-10", reason="made"
        )
        middle = version if archer == readings // EACH // 2 else middle
        # The program writes them one by one, each safe on the disk; that would take an hour here.
        with book.writing() as db:
            db.executemany(
                "INSERT INTO evidence (id, version_id, kind, dated, payload_json, note, made_at)"
                " VALUES (?, ?, 'flight', '2026-01-10', ?, ?, ?)",
                [(new_id(), version.id, text, f"arrow {shot}", now()) for shot in range(EACH)],
            )
    assert middle is not None
    with closing(sqlite3.connect(book.path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return book, middle


def best_ms(act: Callable[[], object], rounds: int) -> float:
    """Give the shortest of several times on the clock."""
    spans = []
    for _ in range(rounds):
        start = time.perf_counter()
        act()
        spans.append(time.perf_counter() - start)
    return 1e3 * min(spans)


def costs(folder: Path, readings: int) -> dict[str, float]:
    """Measure one size."""
    book, version = filled(folder, readings)
    payload = json.loads(json.dumps({"reading": reading_json(made_reading(), say), "arrow": "1"}))
    archer = logbook.find_archer(book, f"archer {readings // EACH // 2}")

    numbers = count(1)

    def add() -> None:  # each a flight of its own: the same one is not kept twice
        payload["reading"]["flight"]["last_frame"] = -next(numbers)
        record(book, version, "flight", payload, dated="2026-02-01")

    def first_open() -> None:
        looked_over().clear()
        LogbookFile(folder)

    return {
        "megabytes on the disk": book.path.stat().st_size / 1e6,
        "open, every page looked over": best_ms(first_open, 3),
        "open again": best_ms(lambda: LogbookFile(folder), 9),
        "list the archers": best_ms(lambda: logbook.archers(book), 9),
        "one set-up's evidence": best_ms(lambda: evidence_of(book, version), 9),
        "one case, all of it": best_ms(lambda: open_case(book, archer, version.setup_id), 9),
        "search, few hits": best_ms(lambda: search(book, "archer 1 arrow 17"), 3),
        "search, no hit": best_ms(lambda: search(book, "nowhere"), 3),
        "add a reading": best_ms(add, 20),
    }


def main() -> None:
    """Print one line for each thing that is done."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else MANY
    print(f"logbook, milliseconds; load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as few_at, tempfile.TemporaryDirectory() as many_at:
        small, large = costs(Path(few_at), FEW), costs(Path(many_at), many)
    print(f"{'readings':30}{FEW:>10}{many:>10}{'ratio':>8}")
    for what, cost in small.items():
        print(f"{what:30}{cost:10.2f}{large[what]:10.2f}{large[what] / cost:8.1f}")


if __name__ == "__main__":
    main()
