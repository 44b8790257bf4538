"""Whatever goes into a public function comes out as a value or as one sentence, never otherwise."""

from __future__ import annotations

import io
import json
import math
import struct
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields
from fractions import Fraction
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from classify.bare_shaft import bare_shaft_offset
from classify.compare import compare
from classify.distances import growth_with_distance
from classify.evidence_payload import KINDS, check_payload
from classify.exchange import import_zip
from classify.impacts import group_from_diameter, group_from_points, group_from_score
from classify.judgement import check_known
from classify.logbook_file import LogbookFile
from classify.pipeline import read_followed
from classify.plain_values import UnexpectedError, from_plain, to_plain
from classify.read_result import ReadResult
from classify.setup_sheet import (
    arrow_spec,
    differences,
    fill_sheet,
    questions,
    sheet_fields,
    sheet_findings,
)
from classify.several import Swing, who_swings
from classify.thresholds import parse_thresholds
from classify.types import ArrowSpec, FaceMark, Known
from classify.units import UNITS, UnitKind, parse_quantity, shown
from classify.wire import receive, send
from tests.made_readings import made_followed, made_result
from tracker.capture import capture_rate, check_said, pace, said_by_metadata
from tracker.file_name import name_of, printable
from tracker.types import Click, InputError
from ui.arrow_input import ARROW_KEYS, parse_arrow, read_arrow_file
from ui.command import main
from ui.command_evidence import pairs_cm
from ui.command_plan import parse_picture
from ui.known_input import parse_known
from ui.words import say

some = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
few = settings(some, max_examples=15)

NUMBERS = st.floats() | st.floats(1e-3, 200) | st.integers(-(2**70), 2**70)
TYPED = (
    st.text(max_size=20)
    | NUMBERS.map(str)
    | st.from_regex(r"[-−]?[0-9]{1,4}([.,][0-9]{0,3})?( [0-9]/[0-9])? ?(mm|cm|in|lb|gr|g|\")?")
    | st.sampled_from(["", " ", "1e400", "nan", "-inf", "9" * 5000, "1/0", "٣", "1_0", "0x10", "½"])
)
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(max_size=8),
    lambda parts: (
        st.lists(parts, max_size=4) | st.dictionaries(st.text(max_size=8), parts, max_size=4)
    ),
    max_leaves=12,
)


def answer(question: Callable[[], object]) -> object:
    """Ask; a refusal must be sayable, and is answered with None."""
    try:
        return question()
    except InputError as mistake:
        assert say(mistake.message).strip()  # noqa: PT017 - a refusal is as good as a value
        return None


def finite(value: object) -> bool:
    """Tell whether every number in a nest of values is finite."""
    plain = json.dumps(to_plain(value, []))
    return "NaN" not in plain and "Infinity" not in plain


@some
@given(
    steps=st.lists(st.floats(0, 1e300, exclude_min=True), max_size=80)
    | st.lists(st.integers(1, 2**50), max_size=80),
    tick=st.floats(1e-12, 1e3),
)
def test_any_frame_times_have_a_rate_or_none(steps: list[float], tick: float) -> None:
    """Increasing times of any kind."""
    times = np.cumsum([0.0, *steps])
    times = times[np.concatenate([[True], np.diff(times) > 0])]
    if not np.isfinite(times).all():
        return
    how = answer(lambda: pace(times, tick))
    if how is not None:
        assert how.hz is None or how.hz > 0
        assert 0 <= how.first_frame <= how.last_frame < len(times)
        how.notes(len(times))


RATES = st.none() | st.fractions(min_value=Fraction(1, 10**6), max_value=10**6)


@some
@given(
    written=st.dictionaries(st.just("com.android.capture.fps"), TYPED), file_hz=RATES, said=RATES
)
def test_any_metadata_and_any_word_have_an_answer(written, file_hz, said) -> None:
    """A rate or none, and who vouches for it."""
    said = None if said is None else answer(lambda: check_said(said))
    found = answer(lambda: capture_rate(file_hz, said=said, written=said_by_metadata(written)))
    if found is None:
        return
    hz, vouched, notes = found
    assert (hz is None) == (vouched == "unknown")
    assert all(say(note) for note in notes)


@some
@given(st.text(st.characters(codec=None), max_size=30))
def test_any_name_can_be_shown(name: str) -> None:
    """Lone surrogates, controls and line ends are replaced."""
    assert printable(name).isprintable()
    assert name_of(Path(name.replace("\0", ""))).isprintable()


CORNERS = ("x1_px", "y1_px", "x2_px", "y2_px")
KNOWN = st.builds(
    Known,
    capture_hz=st.none() | st.fractions(),
    click=st.none() | st.builds(Click, frame=st.integers(), x_px=st.floats(), y_px=st.floats()),
    face_mark=st.none()
    | st.builds(FaceMark, frame=st.integers(), **dict.fromkeys(CORNERS, st.floats())),
    hand=st.sampled_from([None, "right", "left"]),
    flight=st.integers(-2, 3),
    first_frame=st.none() | st.integers(),
    last_frame=st.none() | st.integers(),
    arrow=st.none()
    | st.builds(
        ArrowSpec,
        **{
            field.name: st.none() | (st.integers() if field.name == "vanes" else st.floats())
            for field in fields(ArrowSpec)
        },
    ),
    **{
        name: st.none() | st.floats() | st.floats(0.1, 100)
        for name in (
            "distance_m", "camera_distance_m", "speed_m_s", "face_diameter_m", "focal_px",
            "field_of_view_deg", "nock_diameter_m",
        )
    },
)  # fmt: skip


@some
@given(KNOWN)
def test_anything_that_is_known_is_taken_or_refused(known: Known) -> None:
    """Before any work is done; and it comes through to another process as it is."""
    answer(lambda: check_known(known))
    assert repr(from_plain(Known, json.loads(json.dumps(to_plain(known, []))), [])) == repr(known)


PLAUSIBLE = st.builds(
    Known,
    first_frame=st.none() | st.integers(-5, 90),
    last_frame=st.none() | st.integers(-5, 90),
    flight=st.integers(0, 1),
    hand=st.sampled_from([None, "right", "left"]),
    distance_m=st.none() | st.sampled_from([2.0, 18.0, 90.0, 150.0]),
    speed_m_s=st.none() | st.sampled_from([15.0, 58.0, 119.0]),
    camera_distance_m=st.none() | st.sampled_from([0.2, 2.0, 29.0]),
    nock_diameter_m=st.none() | st.sampled_from([0.0025, 0.0085, 0.02]),
    face_mark=st.none()
    | st.builds(
        FaceMark,
        frame=st.just(0),
        **dict.fromkeys(CORNERS, st.sampled_from([3.0, 60.0, 1e9])),
    ),
)


@settings(few, max_examples=6, phases=(Phase.explicit, Phase.generate))
@given(known=PLAUSIBLE)
@example(known=Known(first_frame=40, last_frame=20))
@example(
    known=Known(
        face_mark=FaceMark(frame=0, x1_px=3, y1_px=4, x2_px=3, y2_px=4), face_diameter_m=0.4
    )
)
def test_any_flight_said_to_be_anything_is_read_or_refused(known: Known) -> None:
    """A made flight with what a coach might say, sense or not: a reading, never an exception."""
    result = answer(lambda: read_followed(made_followed(Path("a.mp4")), known=known))
    if result is not None and result.reading.refused is not None:
        assert result.reading.label is None
        assert say(result.reading.refused)


@some
@given(text=TYPED, kind=st.sampled_from(get_args(UnitKind)))
def test_any_quantity_is_read_or_refused(text: str, kind: UnitKind) -> None:
    """A number with a unit of its kind, that can be written again in both systems."""
    found = answer(lambda: parse_quantity(text, kind, name="field"))
    if found is not None:
        assert found.unit in UNITS[kind]
        assert math.isfinite(found.si)
        assert shown(found, "metric")
        assert shown(found, "imperial")


@some
@given(
    st.dictionaries(st.sampled_from(list(sheet_fields())) | st.text(max_size=5), TYPED, max_size=6)
)
def test_any_sheet_is_filled_or_refused(typed: dict[str, str]) -> None:
    """And what is filled in can be worked with."""
    sheet = answer(lambda: fill_sheet(typed))
    if sheet is not None:
        arrow_spec(sheet)
        assert all(say(asked) for asked in questions(sheet))
        assert differences(sheet, sheet) == ()
        sheet_findings(sheet, foc_percent=None)


POINTS = (
    JSON
    | st.lists(st.tuples(NUMBERS, NUMBERS), max_size=6)
    | st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)), max_size=8)
)


@some
@given(bare=POINTS, fletched=POINTS, distance=NUMBERS, arrows=st.integers(-3, 40), score=NUMBERS)
def test_any_impacts_are_judged_or_refused(bare, fletched, distance, arrows, score) -> None:
    """Groups and bare shafts from anything that may have been kept."""
    answer(lambda: bare_shaft_offset(bare, fletched, distance_m=distance))
    groups = [
        answer(lambda: group_from_points(fletched, distance_m=distance)),
        answer(lambda: group_from_diameter(score, arrows=arrows, distance_m=30.0)),
        answer(
            lambda: group_from_score(score, arrows=arrows, distance_m=distance, face_diameter_m=0.8)
        ),
    ]
    answer(lambda: growth_with_distance([group for group in groups if group is not None]))


SWINGS = st.lists(
    st.builds(
        Swing,
        value=st.floats(0, 100),
        sigma=st.floats(0.05, 50),
        arrow=st.none() | st.sampled_from(["1", "2", "3"]),
    ),
    max_size=7,
)


@some
@given(before=SWINGS, after=SWINGS, worth=st.floats())
def test_any_swings_are_compared_or_refused(before, after, worth) -> None:
    """Few, many, all alike, or none."""
    compared = answer(lambda: compare(before, after, worth=worth))
    if compared is not None:
        assert say(compared.sentence)
    told = answer(lambda: who_swings(before, natural=1.0))
    if told is not None:
        assert all(say(note) for note in told.notes)


FIELDS = (
    "distance_m", "bare_m", "fletched_m", "crosswind_m_s", "marks", "points_m", "diameter_m",
    "arrows", "score", "face_diameter_m", "seen", "groups_judged", "reading", "arrow", "known",
)  # fmt: skip


@settings(some, max_examples=150)
@given(
    kind=st.sampled_from([*KINDS, "other"]),
    payload=st.dictionaries(st.sampled_from(FIELDS), JSON | POINTS),
)
@example(kind="bare shaft", payload={"distance_m": 18, "bare_m": 3.0, "fletched_m": [[0, 0]] * 3})
@example(kind="groups", payload={"distance_m": 18, "diameter_m": 0.1, "arrows": 1e400})
@example(
    kind="flight",
    payload={"reading": {"presence": [], "across": "", "up_down": "", "label": 1, "refused": None}},
)
def test_any_evidence_is_kept_or_refused(kind, payload) -> None:
    """What stands in a file or a form."""
    answer(lambda: check_payload(kind, payload))


@few
@given(content=st.binary(max_size=200))
@example(content=b"PK\x05\x06" + bytes(18))
def test_any_bytes_to_import_are_refused(content: bytes, tmp_path: Path) -> None:
    """No bytes of chance are a logbook, and the logbook stays as it is."""
    book = LogbookFile(tmp_path / "book")
    source = tmp_path / "x.zip"
    source.write_bytes(content)
    with pytest.raises(InputError):
        import_zip(book, source)


@some
@given(
    st.text(max_size=60)
    | JSON.map(lambda tree: f"a = {json.dumps(tree)}")
    | st.just("[a]\nb = {from = 'x'}")
)
def test_any_thresholds_are_refused_as_promised(text: str) -> None:
    """Their documented error and no other: they are a developer's file."""
    with pytest.raises(ValueError, match=r"."):
        parse_thresholds(text)


NAMES = (
    "distance_m", "camera_distance_m", "speed_m_s", "face_cm", "focal_px", "field_of_view_deg",
    "nock_mm", "capture_hz", "hand", "click", "face_mark", "flight", "first_frame", "last_frame",
)  # fmt: skip


@settings(some, max_examples=200)
@given(st.dictionaries(st.sampled_from(NAMES), TYPED, max_size=4))
@example({"click": "1,2,1e999"})
@example({"capture_hz": "1e-400"})
@example({"capture_hz": "1e99999999"})
@example({"flight": "9" * 5000})
def test_anything_typed_about_a_clip_is_taken_or_refused(typed: dict[str, str]) -> None:
    """And what is taken is finite."""
    known = answer(lambda: parse_known(typed))
    if known is not None:
        assert finite(known)
        answer(lambda: check_known(known))


@some
@given(st.dictionaries(st.sampled_from(list(ARROW_KEYS)) | st.text(max_size=4), TYPED, max_size=4))
def test_any_arrow_is_taken_or_refused(typed: dict[str, str]) -> None:
    """Typed or from a file."""
    arrow = answer(lambda: parse_arrow(typed))
    assert arrow is None or finite(arrow)


@few
@given(
    content=st.binary(max_size=60)
    | st.dictionaries(st.sampled_from(list(ARROW_KEYS)), JSON.filter(lambda j: j is not None)).map(
        lambda d: "\n".join(f"{k} = {json.dumps(v)}" for k, v in d.items()).encode()
    )
)
def test_any_arrow_file_is_taken_or_refused(content: bytes, tmp_path: Path) -> None:
    """Bytes, tables, lists and huge numbers."""
    file = tmp_path / "arrow.toml"
    file.write_bytes(content)
    answer(lambda: read_arrow_file(file))


@some
@given(
    TYPED
    | st.lists(st.tuples(NUMBERS, NUMBERS), max_size=3).map(
        lambda p: " ".join(f"{x},{y}" for x, y in p)
    )
)
def test_any_impacts_and_pictures_typed_are_taken_or_refused(text: str) -> None:
    """Pairs of centimetres, and the size of a picture."""
    answer(lambda: pairs_cm(text, "group"))
    answer(lambda: parse_picture(text))


def told(*arguments: str) -> None:
    """Run the command; hold it to its exit statuses, and to no traceback."""
    done = CliRunner().invoke(main, list(arguments))
    assert done.exit_code in (0, 2, 3), (arguments, done.output)
    assert "Traceback" not in done.output


ARGUMENT = TYPED.filter(lambda text: "\0" not in text)


@settings(some, max_examples=40)
@given(values=st.lists(ARGUMENT, min_size=8, max_size=8))
def test_any_arguments_of_plan_are_answered(values: list[str]) -> None:
    """Numbers that overflow, signs, texts and nothing."""
    usual = {
        "--frame-hz": "240", "--picture": "1920x1080", "--field-of-view-deg": "65", "--zoom": "1",
        "--behind-m": "2", "--offset-m": "0.4", "--distance-m": "18", "--nock-mm": "6.5",
    }  # fmt: skip
    third = len(values[0]) % 3
    pairs = zip(usual.items(), values, strict=True)
    said = [
        f"{name}={value if number % 3 == third else plain}"
        for number, ((name, plain), value) in enumerate(pairs)
    ]
    told("plan", *said, "--marking", "bright")


@settings(some, max_examples=25)
@given(name=ARGUMENT, texts=st.lists(ARGUMENT, min_size=3, max_size=3))
def test_any_arguments_of_the_book_are_answered(
    name: str, texts: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An archer of any name, with any sheet and any evidence."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    told("book", "archer", "--hand", "left", "--", name)
    told(
        "book",
        "setup",
        f"--set=plunger_spring={texts[0]}",
        f"--date={texts[1]}",
        "--reason=x",
        "--",
        name,
        "bow",
    )
    told(
        "book",
        "bare",
        f"--distance-m={texts[2]}",
        f"--bare-cm={texts[0]}",
        f"--fletched-cm={texts[1]}",
        "--",
        name,
    )
    told("book", "search", "--", texts[0])


@few
@given(options=st.dictionaries(st.sampled_from(NAMES), ARGUMENT, min_size=1, max_size=3))
def test_any_arguments_of_read_are_answered(options: dict[str, str], tmp_path: Path) -> None:
    """With a film that is none, whatever is said of it."""
    film = tmp_path / "a.mp4"
    film.write_bytes(b"no film")
    told(
        "read", str(film), *(f"--{name.replace('_', '-')}={text}" for name, text in options.items())
    )


RESULT_TREES = st.sampled_from(["reading", "followed", "track"])


@some
@given(tree=JSON, where=RESULT_TREES, inner=st.integers(0, 30))
def test_no_answer_of_another_shape_is_taken(tree, where: str, inner: int) -> None:
    """A reading process that says anything else is not believed, and nothing it says is run."""
    arrays: list[np.ndarray] = []
    whole = to_plain(made_result(Path("a.mp4")), arrays)
    part = whole[where]
    part[sorted(part)[inner % len(part)]] = tree
    with suppress(UnexpectedError):
        assert isinstance(from_plain(ReadResult, whole, arrays), ReadResult)


def framed(text: bytes) -> bytes:
    """Put its length before a text."""
    return struct.pack(">I", len(text)) + text


@some
@given(
    content=st.binary(max_size=60)
    | st.binary(max_size=60).map(framed)
    | JSON.map(lambda tree: framed(json.dumps(tree).encode()))
)
@example(content=struct.pack(">I", 45) + b'["x",null,[["float64",[99999,99999,99999,9]]]]')
@example(content=struct.pack(">I", 4_000) + b"[" * 4_000)
def test_no_message_of_another_shape_is_taken(content: bytes) -> None:
    """Any bytes are a message, the end, or refused; and none makes room for what it claims."""
    with suppress(UnexpectedError):
        receive(io.BytesIO(content))


@some
@given(word=st.text(max_size=9), tree=JSON, sides=st.lists(st.integers(0, 4), max_size=3))
def test_messages_come_through(word, tree, sides) -> None:
    """Word, values and arrays as they were sent."""
    stream = io.BytesIO()
    array = np.arange(math.prod(sides), dtype=np.float64).reshape(sides)
    send(stream, word, tree, [array])
    stream.seek(0)
    said = receive(stream)
    assert said is not None
    assert (said.word, repr(said.tree)) == (word, repr(tree))
    np.testing.assert_array_equal(said.arrays[0], array)
