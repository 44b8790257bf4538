"""Places of which no more is known than that the arrow is about there are left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

from classify.pipeline import read_clip, read_followed
from classify.report_json import reading_json
from classify.types import Known
from fixtures.render import render
from tests.tracked_films import small_flight, written
from tracker import flight
from tracker.claims import claimed_px
from tracker.follow import follow
from tracker.settle import Settled
from tracker.types import Click, FloatArray, Followed, message


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a small film of one flight."""
    return written(tmp_path_factory.mktemp("film"), render(small_flight(), seed=8).frames())


def followed(film: Path, claim: Callable[[Settled], FloatArray]) -> Followed:
    """Follow a film, its places claimed by another rule."""
    with patch.object(flight, "claimed_px", claim):
        return follow(film)


def some_vague(settled: Settled) -> FloatArray:
    """Claim across, by turns: more than a pixel and the width, less than both, as it is."""
    sigma, size = claimed_px(settled), settled.size_px
    sigma[::3, 0] = np.maximum(1.01, 1.01 * size[::3])
    sigma[1::3, 0] = np.maximum(0.99, 0.99 * size[1::3])
    return sigma


def test_vague_places_are_left_out_and_no_others(film: Path) -> None:
    """Too much along one axis is enough."""
    usual = follow(film).flights[0]
    some = followed(film, some_vague).flights[0]
    left_out = np.flatnonzero(usual.seen & ~some.seen)
    assert len(left_out) == pytest.approx(usual.seen.sum() / 3, abs=2)
    # as it struck, one or two more may be taken for the target's
    assert len(set(left_out[:-2] % 3)) == 1
    assert np.isnan(some.sigma_px[left_out]).all()
    assert np.isnan(some.tail_px[left_out]).all()


def nothing_known(settled: Settled) -> FloatArray:
    """Claim 50 pixels everywhere."""
    return np.full_like(settled.sigma_px, 50.0)


def test_an_arrow_of_vague_places_is_shown_and_not_read(film: Path) -> None:
    """That no arrow was found would be untrue."""
    usual = follow(film).flights[0]
    vague = followed(film, nothing_known)
    # when it struck is not told, so that its last places may stand in the target
    assert vague.flights[0].seen[usual.seen].mean() > 0.9
    assert np.nanmin(vague.flights[0].sigma_px) == 50.0
    reading = read_followed(vague, known=Known(distance_m=12.0)).reading
    assert reading.label is None
    assert reading.refused is not None


@pytest.mark.long
def test_an_unsure_path_of_vague_places_is_no_flight(film: Path) -> None:
    """It may be anything."""
    with patch.object(flight, "confidence", lambda *_: 0.85):
        assert followed(film, claimed_px).flights != ()
        none = followed(film, nothing_known)
    assert none.flights == ()
    assert none.lost is not None
    assert none.lost.reason.key == "tracker.no_flight"


def test_a_path_in_doubt_is_shown_and_gets_no_label_until_a_person_clicks(film: Path) -> None:
    """A neighbour's arrow, or a limb of the bow, may look like an arrow of this release."""
    known = Known(distance_m=12.0)
    sure = read_clip(film, known=known)
    assert sure.track is not None
    assert not sure.track.in_doubt
    with patch.object(flight, "confidence", lambda *_: 0.85):
        doubted = read_clip(film, known=known)
        frame = sure.track.first_frame + 5
        x_px, y_px = sure.track.xy_px[frame] + sure.track.shake_px[frame]
        click = Click(frame=frame, x_px=float(x_px), y_px=float(y_px))
        clicked = read_clip(film, known=replace(known, click=click))
    assert doubted.track is not None
    assert doubted.track.in_doubt
    assert doubted.reading.label is None
    assert doubted.reading.causes == ()
    told = reading_json(doubted.reading, lambda said: said.key)["flight"]
    assert isinstance(told, dict)
    assert (told["found_by"], told["confidence"]) == ("itself", 0.85)
    assert clicked.reading.flight_facts["found_by"] == "click"
    assert doubted.reading.refused == message("label.path_in_doubt", sure=85)
    # its curves are there to be looked at, and nothing is said of the arrow
    assert doubted.reading.spectrum is not None
    assert doubted.reading.reasons == ()
    assert all(np.isnan(chance) for chance in doubted.reading.presence.values())
    # where another reason comes first, the doubt is told beside it
    few = replace(known, last_frame=sure.track.first_frame + 4)
    short = read_followed(doubted.followed, known=few).reading
    assert short.refused is not None
    assert short.refused.key != "label.path_in_doubt"
    assert message("label.path_perhaps", sure=85) in short.notes
    assert clicked.reading.refused == sure.reading.refused
    assert clicked.reading.label == sure.reading.label


def test_a_path_in_some_doubt_is_read_as_surely_as_it_is_the_arrow(film: Path) -> None:
    """The doubt is told, and no disturbance is surer than that."""
    known = Known(distance_m=12.0)
    sure = read_clip(film, known=known).reading
    with patch.object(flight, "confidence", lambda *_: 0.93):
        doubted = read_clip(film, known=known).reading
    assert doubted.label == sure.label
    assert doubted.across == sure.across
    note = message("label.path_perhaps", sure=93)
    assert note in doubted.notes
    assert note not in sure.notes
    for name, chance in sure.presence.items():
        assert doubted.presence[name] == pytest.approx(0.93 * chance + 0.07 * (1 - chance))
        assert 0.0699 < doubted.presence[name] < 0.9301
