"""Honesty: in the worked season every proposal is the one that the bow's truth needs."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import find_clip
from classify.logbook_file import LogbookFile
from fixtures.season import SeasonFilm, play_season, play_story, season_there
from fixtures.season_stories import STORIES
from tests.made_logbook import READING
from tracker.types import InputError
from ui.command import main
from ui.season_words import season_lines


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """Play the season once for all tests here."""
    book = LogbookFile(tmp_path_factory.mktemp("season"))
    return book, play_season(book)


def test_every_proposal_is_what_the_truth_needs(season):
    """The truth is known to the story alone; the reasoning sees only its flights and impacts."""
    _, rounds = season
    assert [(r.archer, r.number, r.proposed) for r in rounds] == [
        (r.archer, r.number, r.wanted) for r in rounds
    ]


def test_every_story_runs_to_a_good_tune(season):
    """Three archers, one of them left-handed, several rounds each, ending with keep."""
    book, rounds = season
    assert [a.hand for a in logbook.archers(book)].count("left") == 1
    for story in STORIES:
        own = [r for r in rounds if r.archer == story.name]
        assert len(own) >= 5
        assert own[-1].proposed == "keep"
        assert "keep" not in [r.proposed for r in own[:-1]]


def test_the_logbook_gives_the_same_answer_later(season):
    """Opened again, each case still proposes to keep the tune."""
    book, _ = season
    for archer in logbook.archers(book):
        case = open_case(book, archer, logbook.find_setup(book, archer, None).id)
        assert propose(case).cure == "keep"


def test_the_same_season_twice_is_the_same(season, tmp_path):
    """Chance is seeded: a story played again proposes the same rounds."""
    _, rounds = season
    again = play_story(LogbookFile(tmp_path), STORIES[2], start="2026-01-08")
    assert again == [r for r in rounds if r.archer == STORIES[2].name]


def test_the_season_in_lines(season):
    """The command's table names every round and the total."""
    _, rounds = season
    lines = season_lines(rounds)
    assert lines[-1].startswith(f"{len(rounds)} of {len(rounds)} ")
    assert sum(line.startswith("Birch ") for line in lines) == sum(
        r.archer == "Birch" for r in rounds
    )


def test_the_season_is_written_whole_or_not_at_all(season, tmp_path, monkeypatch):
    """A coach's own archer of the same name is told of before anything is written."""
    book = LogbookFile(tmp_path)
    logbook.add_archer(book, STORIES[-1].name, hand="right")
    with pytest.raises(InputError, match="season_names"):
        play_season(book)
    assert [archer.name for archer in logbook.archers(book)] == [STORIES[-1].name]
    assert not season_there(book)
    played, _ = season
    monkeypatch.setenv("TAILSWAY_FOLDER", str(played.folder))
    again = CliRunner().invoke(main, ["book", "season"])
    assert (again.exit_code, len(again.output.splitlines())) == (0, 1)
    assert "already" in again.output


def test_the_films_of_the_season_come_along(tmp_path, monkeypatch):
    """Played elsewhere and brought in: the film of the first flight stands in the logbook too."""
    monkeypatch.setattr("fixtures.season.STORIES", STORIES[2:])
    path = tmp_path / "film.mp4"
    path.write_bytes(b"any film")
    book = LogbookFile(tmp_path / "book")
    film = SeasonFilm(path=path, reading=READING, known={"hand": "right"})
    play_season(book, films=lambda _name: film)
    (archer,) = logbook.archers(book)
    case = open_case(book, archer, logbook.find_setup(book, archer, None).id)
    (kept,) = [one.clip_sha256 for one in case.seen[0] if one.clip_sha256 is not None]
    assert find_clip(book, kept).path.read_bytes() == b"any film"
