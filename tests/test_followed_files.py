"""What was followed in a film outlasts the program: the same comes back, or nothing."""

from __future__ import annotations

import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import streamlit as st

from classify.plain_values import Array, to_plain
from classify.types import Known
from tests.made_readings import made_followed
from tracker.types import Click, Followed
from ui import followed_files, reading_store
from ui.demo_clips import demo_clips
from ui.followed_files import ENDING, FollowedFiles
from ui.shelf import file_sha256

FILM = "f" * 64
KNOWN = Known(distance_m=18.0)
HERE, ELSEWHERE = Path("film.mp4"), Path("elsewhere.mp4")


def same(one: Followed, other: Followed) -> bool:
    """Tell whether two are alike to the last bit, lost frames included."""
    kept: tuple[list[Array], list[Array]] = ([], [])
    trees = [to_plain(each, arrays) for each, arrays in zip((one, other), kept, strict=True)]
    return trees[0] == trees[1] and all(
        a.dtype == b.dtype and np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
        for a, b in zip(*kept, strict=True)
    )


@pytest.fixture
def disk(tmp_path: Path) -> FollowedFiles:
    """Give an empty folder of them."""
    return FollowedFiles(tmp_path / "followed")


def test_same_comes_back_for_a_film_that_moved(disk: FollowedFiles) -> None:
    """Every number is the same, a frame that was lost is lost, the film stands where it is now."""
    followed = made_followed(HERE)
    assert disk.load(ELSEWHERE, FILM, KNOWN) is None
    assert not disk.has(FILM, KNOWN)
    disk.keep(followed, FILM, KNOWN)
    assert disk.has(FILM, KNOWN)
    again = disk.load(ELSEWHERE, FILM, KNOWN)
    assert again is not None
    assert again.clip.path == ELSEWHERE
    assert np.isnan(again.flights[0].xy_px).any()
    assert same(replace(again, clip=replace(again.clip, path=followed.clip.path)), followed)


def test_tracker_is_told_the_same_or_nothing_is_kept(
    disk: FollowedFiles, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another film, capture rate, click or tracker begins anew; another distance does not."""
    disk.keep(made_followed(HERE), FILM, KNOWN)
    assert disk.load(ELSEWHERE, FILM, replace(KNOWN, distance_m=30.0)) is not None
    assert disk.load(ELSEWHERE, "e" * 64, KNOWN) is None
    assert disk.load(ELSEWHERE, FILM, replace(KNOWN, capture_hz=Fraction(240))) is None
    clicked = replace(KNOWN, click=Click(frame=1, x_px=2.0, y_px=3.0))
    assert disk.load(ELSEWHERE, FILM, clicked) is None
    monkeypatch.setattr(followed_files, "tracker_print", lambda: "the next tracker")
    assert disk.load(ELSEWHERE, FILM, KNOWN) is None


def test_damaged_file_is_as_good_as_none(
    disk: FollowedFiles, tmp_path: Path, rng: np.random.Generator
) -> None:
    """One bit that fell over, anywhere, or an end that is missing: it is followed again."""
    disk.keep(made_followed(HERE), FILM, KNOWN)
    (file,) = (tmp_path / "followed").iterdir()
    whole = file.read_bytes()
    for at in rng.integers(len(whole), size=60):
        spoilt = bytearray(whole)
        spoilt[at] ^= 1 << int(rng.integers(8))
        file.write_bytes(spoilt)
        assert disk.load(ELSEWHERE, FILM, KNOWN) is None
        file.write_bytes(whole[:at])
        assert disk.load(ELSEWHERE, FILM, KNOWN) is None
    file.write_bytes(whole)
    assert disk.load(ELSEWHERE, FILM, KNOWN) is not None


def test_one_longest_unused_makes_room(tmp_path: Path) -> None:
    """With room for two, a third sends away the one that nobody has asked for."""
    probe = FollowedFiles(tmp_path / "probe")
    probe.keep(made_followed(HERE), FILM, KNOWN)
    size = next((tmp_path / "probe").iterdir()).stat().st_size
    disk = FollowedFiles(tmp_path / "followed", most_bytes=2 * size)
    for age_s, film in ((300, "a" * 64), (200, "b" * 64)):
        disk.keep(made_followed(HERE), film, KNOWN)
        for file in (tmp_path / "followed").iterdir():
            moment = file.stat().st_mtime - age_s
            os.utime(file, (moment, moment))
    assert disk.load(ELSEWHERE, "a" * 64, KNOWN) is not None
    disk.keep(made_followed(HERE), "c" * 64, KNOWN)
    left = [disk.has(letter * 64, KNOWN) for letter in "abc"]
    assert left == [True, False, True]
    assert {file.suffix for file in (tmp_path / "followed").iterdir()} == {ENDING}


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path: Path) -> None:
    """A file in the folder's place costs the reading nothing."""
    (tmp_path / "followed").write_text("in the way", encoding="utf-8")
    disk = FollowedFiles(tmp_path / "followed")
    disk.keep(made_followed(HERE), FILM, KNOWN)
    assert disk.load(ELSEWHERE, FILM, KNOWN) is None
    assert not disk.has(FILM, KNOWN)


def test_next_start_of_the_program_follows_no_film_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reading is the same to the last digit, and no film is decoded for it."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    demo = next(one for one in demo_clips() if one.name == "clean")
    sha256 = file_sha256(demo.path)

    def read() -> str:
        st.cache_resource.clear()  # as a program that has just started
        kept = reading_store.kept_reading(
            demo.path, sha256, demo.known, lambda: lambda _stage, _share: None
        )
        return repr(kept.reading)

    assert not reading_store.followed_before(sha256, demo.known)
    first = read()
    assert reading_store.followed_before(sha256, demo.known)
    followed_again: list[Path] = []
    # Other tests' threads may still read other demos.
    monkeypatch.setattr(reading_store, "read_clip", lambda path, **_: followed_again.append(path))
    assert read() == first
    assert demo.path not in followed_again
