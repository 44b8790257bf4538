"""`tailsway batch`: every film gets a line, and one bad film does not stop the others."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from click.testing import CliRunner

import ui.command_batch
from classify.apart import ReadingProcesses
from classify.batch import ReadFilm, films_in, read_many
from classify.pipeline import ReadResult
from classify.types import Known
from tests.made_readings import made_reading, made_refusal, made_result
from tracker.types import InputError, message
from ui.command import main

CLIPS = Path(__file__).parents[1] / "fixtures" / "clips"


def test_films_are_found_by_their_ending(tmp_path: Path) -> None:
    """Notes beside the films are left out; the order is that of the names."""
    for name in ("b.MOV", "a.mp4", "notes.txt", "c.json"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "folder.mp4").mkdir()
    assert [path.name for path in films_in(tmp_path)] == ["a.mp4", "b.MOV"]


@pytest.mark.parametrize(("make", "key"), [(False, "no_folder"), (True, "no_films")])
def test_nothing_to_read_is_a_sentence(tmp_path: Path, make: bool, key: str) -> None:
    """A missing folder and an empty one are told apart."""
    folder = tmp_path / "clips"
    if make:
        folder.mkdir()
    with pytest.raises(InputError, match=key):
        films_in(folder)


def test_one_bad_film_does_not_stop_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bad input and our own mistakes both become a line of their own."""

    def read_clip(_: ReadingProcesses, path: Path, *, known: Known) -> ReadResult:
        assert known.capture_hz is None
        if path.name == "bad.mp4":
            raise InputError("tracker.missing_file", path=str(path))
        if path.name == "worse.mp4":
            raise ZeroDivisionError("by nothing")
        return made_result(path)

    monkeypatch.setattr(ReadingProcesses, "read_clip", read_clip)
    paths = [tmp_path / name for name in ("bad.mp4", "good.mp4", "worse.mp4")]
    done = {film.path.name: film for film in read_many(paths, known=Known(), jobs=1)}
    assert done["good.mp4"].reading is not None
    assert done["bad.mp4"].problem == message("tracker.missing_file", path=str(paths[0]))
    worse = done["worse.mp4"].problem
    assert worse is not None
    assert worse.values["text"] == "by nothing"


def test_a_cluster_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    """Neither a missing package nor a silent address is a traceback."""
    with pytest.raises(InputError, match=r"no_dask|no_cluster"):
        list(read_many([tmp_path / "a.mp4"], known=Known(), jobs=1, cluster="tcp://127.0.0.1:9"))


def test_a_cluster_reads_as_this_machine_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A scheduler and a worker of their own get the films; one that is none does not stop it."""
    from distributed import LocalCluster

    # A test of a page leaves a script there that is gone; a new worker would run it, and end.
    monkeypatch.setitem(sys.modules, "__main__", ModuleType("__main__"))
    film, missing = CLIPS / "clean.mp4", tmp_path / "none.mp4"
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        done, none = read_many(
            [film, missing], known=Known(), jobs=1, cluster=cluster.scheduler_address
        )
    (here,) = read_many([film], known=Known(), jobs=1)
    assert done.reading is not None
    assert here.reading is not None
    assert done.reading.label == here.reading.label
    assert done.reading.across == here.reading.across
    assert none.problem is not None
    assert none.problem.key == "film.missing_file"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give a folder of three films, one read, one refused, one not readable."""
    for name in ("1.mp4", "2.mp4", "3.mp4"):
        (tmp_path / name).write_bytes(b"x")

    def read_many(
        paths: list[Path], *, known: Known, jobs: int, cluster: str | None
    ) -> Iterator[ReadFilm]:
        assert (known.distance_m, jobs, cluster) == (18.0, 2, None)
        outcomes = (made_reading(), made_refusal(), None)
        for path, reading in reversed(list(zip(paths, outcomes, strict=True))):
            problem = None if reading else message("tracker.missing_file", path=str(path))
            yield ReadFilm(path=path, reading=reading, problem=problem, seconds=0.5)

    monkeypatch.setattr(ui.command_batch, "read_many", read_many)
    return tmp_path


def test_table_has_a_line_for_every_film_and_the_worst_status(folder: Path) -> None:
    """Ordered by name; status 2 since one film was not readable."""
    done = CliRunner().invoke(main, ["batch", str(folder), "--jobs", "2", "--distance-m", "18"])
    assert done.exit_code == 2
    lines = done.stdout.splitlines()
    assert [line.split()[0] for line in lines[2:5]] == ["1.mp4", "2.mp4", "3.mp4"]
    assert "Fishtailing" in lines[2]
    assert "97 % sure" in lines[2]
    assert lines[-1].startswith("1 read, 1 refused, 1 not readable")
    assert max(len(line) for line in lines[:5]) < 100
    assert [line.split(":")[0] for line in lines[5:7]] == ["- 2.mp4", "- 3.mp4"]


def test_json_lines_are_one_object_each(folder: Path) -> None:
    """Nothing else stands on standard output."""
    done = CliRunner().invoke(
        main, ["batch", str(folder), "--jobs", "2", "--distance-m", "18", "--json-lines"]
    )
    objects = [json.loads(line, parse_constant=pytest.fail) for line in done.stdout.splitlines()]
    assert len(objects) == 3
    assert {Path(each["film"]).name: each["problem"] is None for each in objects} == {
        "1.mp4": True,
        "2.mp4": True,
        "3.mp4": False,
    }
