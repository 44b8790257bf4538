"""The queue of clips: in order, with progress, cancelled at the next step, failures told."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace
from html import escape
from pathlib import Path

from classify.types import Reading
from tests.made_readings import made_reading, made_refusal, made_two_at_once
from tracker.types import InputError, Progress, message
from ui.clip_queue import ClipQueue, QueuedClip
from ui.dash_words import Words
from ui.page_round import table_html, together_words


def clip(name: str) -> QueuedClip:
    """Make a clip that waits."""
    return QueuedClip(token=name, name=name, path=Path(name), sha256=name, said={})


def wait_for(condition: Callable[[], bool]) -> None:
    """Wait until something holds, for five seconds at most."""
    until = time.monotonic() + 5.0
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.005)


def test_clips_are_read_in_order_and_all_told() -> None:
    """Bad input and our own mistake are told, and the rest goes on."""
    order: list[str] = []

    def read(queued: QueuedClip, progress: Progress) -> Reading:
        order.append(queued.name)
        progress("decode", 0.5)
        if queued.name == "b":
            raise InputError("tracker.missing_file", path="b")
        if queued.name == "c":
            raise ZeroDivisionError("by nothing")
        return made_reading()

    queue = ClipQueue(read)
    for name in "abcd":
        queue.add(clip(name))
    wait_for(lambda: not queue.busy())
    assert order == list("abcd")
    assert [queued.state for queued in queue.clips()] == ["done", "failed", "failed", "done"]
    assert queue.clips()[1].problem is not None


def test_progress_is_seen_while_a_clip_is_read() -> None:
    """Stage and share of the clip in work stand in the list."""
    go, reached = threading.Event(), threading.Event()

    def read(_: QueuedClip, progress: Progress) -> Reading:
        progress("search", 0.25)
        reached.set()
        go.wait(5.0)
        return made_reading()

    queue = ClipQueue(read)
    queue.add(clip("a"))
    assert reached.wait(5.0)
    seen = queue.clips()[0]
    assert (seen.state, seen.stage, seen.share) == ("reading", "search", 0.25)
    go.set()
    wait_for(lambda: not queue.busy())


def test_cancel_stops_at_the_next_step_and_keeps_the_rest_unread() -> None:
    """What was cancelled has no reading, and a new clip is read afterwards."""
    reached, go = threading.Event(), threading.Event()
    read_names: list[str] = []

    def read(queued: QueuedClip, progress: Progress) -> Reading:
        read_names.append(queued.name)
        if queued.name == "a":
            reached.set()
            go.wait(5.0)
        progress("decode", 1.0)
        return made_reading()

    queue = ClipQueue(read)
    queue.add(clip("a"))
    queue.add(clip("b"))
    assert reached.wait(5.0)
    queue.cancel()
    go.set()
    assert [queued.state for queued in queue.clips()] == ["cancelled", "cancelled"]
    queue.add(clip("c"))
    wait_for(lambda: not queue.busy())
    assert read_names == ["a", "c"]
    assert [queued.reading is None for queued in queue.clips()] == [True, True, False]


def test_the_same_clip_twice_is_one_line() -> None:
    """Giving a clip again reads it again, at the end."""
    queue = ClipQueue(lambda _clip, _progress: made_reading())
    for name in ("a", "b", "a"):
        queue.add(clip(name))
    wait_for(lambda: not queue.busy())
    assert sorted(queued.token for queued in queue.clips()) == ["a", "b"]
    queue.clear()
    assert queue.clips() == []


def test_table_escapes_names_and_says_why() -> None:
    """A file's name is text, never markup; a refusal stands in the table with its reason."""
    read = replace(clip("<b>.mp4"), state="done", reading=made_reading())
    refusal = made_refusal()
    refused = replace(clip("u"), state="done", reading=refusal)
    html = table_html([read, refused], Words("en"))
    assert "<b>" not in html
    assert "&lt;b&gt;.mp4" in html
    assert "97 % sure" in html
    assert refusal.refused is not None
    assert escape(Words("en").tell(refusal.refused)) in html


def test_a_refused_clip_is_called_so_and_its_sentence_may_wrap() -> None:
    """It is not "done", and its reason takes the place of the numbers that it has not."""
    refused = replace(clip("u"), state="done", reading=made_refusal())
    html = table_html([refused], Words("en"))
    assert ">refused</td>" in html
    assert ">done</td>" not in html
    assert 'class="ts-sentence" colspan="4"' in html
    failed = replace(clip("f"), state="failed", problem=message("film.missing_file", path="f"))
    assert 'class="ts-sentence"' in table_html([failed], Words("en"))


def test_a_flight_with_two_disturbances_has_both_in_its_row() -> None:
    """Names, chances, frequencies and swings stand in the same order, the leading one first."""
    both = replace(clip("b"), state="done", reading=made_two_at_once())
    html = table_html([both], Words("en")).replace("\N{NO-BREAK SPACE}", " ")
    for text in ("Fishtailing and minnowing", "over 99 % and 97 % sure", " Hz and 18.90 ± 0.07 Hz"):
        assert text in html


def test_only_flights_of_one_label_are_told_together() -> None:
    """A fast swing and a slow one, both from side to side, have no mean (arithmetic: 14 and 18)."""
    slow = made_reading()
    wider = replace(slow, across=(replace(slow.across[0], swing_mm=18.0),))
    quick = replace(
        slow, label="minnowing", across=(replace(slow.across[0], kind="fast", swing_mm=5.0),)
    )
    first = replace(slow, across=(replace(slow.across[0], swing_mm=14.0),))
    done = [
        replace(clip(str(number)), state="done", reading=reading)
        for number, reading in enumerate((first, quick, wider))
    ]
    assert together_words(done[:2], Words("en")) == ""
    said = together_words(done, Words("en"))
    assert "2 arrows" in said
    assert "16.0 ±" in said
