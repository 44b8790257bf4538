"""A small logbook for tests."""

from __future__ import annotations

from classify import logbook
from classify.clip_store import keep_clip
from classify.evidence_book import decide, record
from classify.logbook_file import LogbookFile

TYPED = {
    "bow_length": "68 in",
    "brace_height": "8 3/4 in",
    "draw_weight": "34 lb",
    "nocking_point": "12 mm",
}
READING = {
    "label": "fishtailing",
    "presence": {"fishtailing": 0.97, "minnowing": 0.02, "porpoising": 0.04},
    "refused": None,
    "across": [{"kind": "yaw", "swing_mm": 8.0, "swing_sigma_mm": 0.6}],
    "up_down": [],
    "clean_below_mm": None,
}
BARE = {
    "distance_m": 18.0,
    "bare_m": [[0.05, 0.01], [0.06, -0.01], [0.055, 0.0]],
    "fletched_m": [[0.01, 0.01], [-0.01, -0.01], [0.0, 0.012], [0.012, -0.008], [-0.01, 0.0]],
    "crosswind_m_s": None,
}


def made_logbook(folder):
    """Make a logbook with one archer, two versions, evidence of several kinds, and a clip."""
    book = LogbookFile(folder)
    archer = logbook.add_archer(book, "Ünal-7", hand="left", notes="indoor season")
    first = logbook.add_setup(
        book, archer, "blue bow", typed=TYPED, dated="2026-01-10", reason="as bought"
    )
    film = folder / "film.mp4"
    film.write_bytes(b"not really a film, but bytes all the same" * 50)
    clip = keep_clip(book, film)
    record(
        book, first, "flight", {"reading": READING, "arrow": "1"}, dated="2026-01-10",
        clip_sha256=clip.sha256,
    )  # fmt: skip
    record(book, first, "powder", {"marks": []}, dated="2026-01-10")
    second = logbook.change_setup(
        book, first, {"nocking_point": "11.2 mm"}, dated="2026-01-12", reason="bare shafts low"
    )
    decide(
        book, first, cure="lower_nocking", amount=0.0008, is_test=False, dated="2026-01-12",
        proposal={"change": "Lower"}, to=second,
    )  # fmt: skip
    record(book, second, "bare shaft", BARE, dated="2026-01-12", note="evening, indoors")
    return book, archer, first, second
