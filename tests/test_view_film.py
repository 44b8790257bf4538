"""The follow view: exact frames, a tail that keeps its place, a film that browsers play."""

from __future__ import annotations

import io
from dataclasses import replace

import av
import numpy as np
import pytest

from tests.made_readings import (
    SINGULAR_S,
    made_frames,
    made_plate,
    made_reading,
    made_track,
    path_px,
)
from tracker.types import ByteArray, FloatArray
from ui.curves import Curves, curves_of
from ui.films import SIDE_PX, SLOW, Film, Framing, follow_film, framing_for, write_mp4, zoom_at
from ui.stills import chosen_frames, path_picture, strobe_picture
from ui.viewer import viewer_data


def made_curves() -> Curves:
    """Curves of the made reading."""
    curves = curves_of(made_reading())
    assert curves is not None
    return curves


def decoded(mp4: bytes) -> tuple[list[ByteArray], list[float]]:
    """Pictures and times of a film."""
    with av.open(io.BytesIO(mp4)) as container:
        frames = list(container.decode(video=0))
        return (
            [frame.to_ndarray(format="rgb24") for frame in frames],
            [float(frame.time or 0.0) for frame in frames],
        )


def test_film_is_of_the_kind_that_every_browser_plays() -> None:
    """H.264, yuv420p, no B-frames, the index in front of the pictures."""
    film = write_mp4([np.full((48, 64, 3), 90, np.uint8)] * 12, np.arange(12) / 240)
    with av.open(io.BytesIO(film)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert not stream.codec_context.has_b_frames
    assert film.index(b"moov") < film.index(b"mdat")


def test_frames_stand_at_their_own_slowed_times() -> None:
    """A gap in the clip is a gap in the film."""
    times = np.array([0.0, 1.0, 2.0, 5.0, 6.0]) / 240
    _, shown = decoded(write_mp4([np.zeros((48, 64, 3), np.uint8)] * 5, times))
    np.testing.assert_allclose(shown[:5], times * SLOW, atol=1e-4)


def test_one_picture_for_every_frame_of_the_flight() -> None:
    """Lost frames are shown too: only the nock was not seen in them."""
    curves, track = made_curves(), made_track()
    film = follow_film(
        made_frames(),
        curves=curves,
        track=track,
        framing=framing_for(curves, track, SINGULAR_S),
        says="x",
    )
    pictures, _ = decoded(film.mp4)
    assert len(pictures) == track.last_frame - track.first_frame + 1 + 1
    assert pictures[0].shape == (SIDE_PX, SIDE_PX, 3)


def spot(picture: ByteArray) -> FloatArray:
    """Centroid of the brightest part, by brightness; the scale bar is left out."""
    grey = picture.astype(float).min(axis=2)
    grey[-60:, :200] = 0.0
    weight = np.clip(grey - 0.7 * grey.max(), 0, None)
    rows, columns = np.mgrid[0 : grey.shape[0], 0 : grey.shape[1]]
    return np.array([(columns * weight).sum(), (rows * weight).sum()]) / weight.sum()


def test_crop_follows_the_path_and_not_the_nock() -> None:
    """The spot stands off the middle by the swing, in the scale of the drawing.

    The spot is 1.2 px or more wide in the clip and is enlarged, so its centroid in the film is
    good to a few per cent of the view.
    """
    curves, track, frames = made_curves(), made_track(), made_frames()
    framing = Framing(reach=40.0, singular_time_s=SINGULAR_S)
    film = follow_film(frames, curves=curves, track=track, framing=framing, says="x")
    pictures, _ = decoded(film.mp4)
    for index in (0, 10, 20):
        time_s = float(curves.time_s[index])
        zoom = zoom_at(curves, framing, time_s)
        offset = (
            track.xy_px[int(curves.frame[index])] - path_px(curves.time_s[index : index + 1])[0]
        )
        expected = (SIDE_PX - 1) / 2 + zoom * offset
        np.testing.assert_allclose(spot(pictures[index]), expected, atol=0.03 * SIDE_PX)


def test_enlargement_grows_as_the_arrow_recedes() -> None:
    """Twice as far from the camera, twice the enlargement, up to the limit."""
    curves = made_curves()
    framing = Framing(reach=400.0, singular_time_s=SINGULAR_S)
    near, far = (zoom_at(curves, framing, t) for t in (0.0, SINGULAR_S))
    np.testing.assert_allclose(far / near, 2.0)


def test_no_frame_of_the_flight_is_refused() -> None:
    """A film of nothing is a mistake of the caller."""
    curves, track = made_curves(), made_track()
    with pytest.raises(ValueError, match="part of the flight"):
        follow_film(
            {},
            curves=curves,
            track=track,
            framing=Framing(reach=10.0, singular_time_s=SINGULAR_S),
            says="x",
        )


def test_strobe_takes_arrows_that_stand_apart() -> None:
    """Chosen frames are a tail's width apart, and the last one seen is among them."""
    track = made_track()
    chosen = chosen_frames(track, made_frames())
    assert chosen[0] == track.first_frame
    assert chosen[-1] == track.last_frame
    steps = np.hypot(*np.diff(track.xy_px[chosen], axis=0).T)
    assert (steps[:-1] >= 3.0).all()


def test_stills_are_pictures_of_the_flight() -> None:
    """Both open as JPEG and are not the bare scene."""
    track = made_track()
    strobe = strobe_picture(made_plate(), made_frames(), track)
    drawn = path_picture(made_plate(), track)
    for picture in (strobe, drawn):
        assert picture.startswith(b"\xff\xd8")
        with av.open(io.BytesIO(picture)) as opened:
            shown = next(opened.decode(video=0)).to_ndarray(format="gray")
        assert float(shown.max()) - float(np.median(shown)) > 60


def test_scale_of_a_film_beside_another_can_be_read_at_half_the_size() -> None:
    """On a phone two films share 350 pixels: digits at least 9 pixels high then."""
    curves, track = made_curves(), made_track()
    framing = framing_for(curves, track, SINGULAR_S)
    high = {}
    for caption in ("", "one of two"):
        film = follow_film(
            {n: np.zeros_like(f) for n, f in made_frames().items()},
            curves=curves, track=track, framing=framing, says="x", caption=caption, drawn_on=False,
        )  # fmt: skip
        assert not film.drawn_on
        rows = np.flatnonzero((decoded(film.mp4)[0][0].min(axis=2) > 128).any(axis=1))
        bar = rows[-1]
        digits = rows[rows < bar - 4]
        high[caption] = int(digits[-1] - digits[0])
    assert high["one of two"] > 1.8 * high[""]
    assert high["one of two"] * 170 / SIDE_PX > 9


def made_film() -> Film:
    """Film of the made flight, in which the nock was lost in frames 40 and 41."""
    curves, track = made_curves(), made_track()
    framing = framing_for(curves, track, SINGULAR_S)
    return follow_film(made_frames(), curves=curves, track=track, framing=framing, says="x")


def test_cursor_steps_through_every_frame_of_the_film() -> None:
    """Frames without a nock are stepped through, too; the number under the film says so."""
    curves, film = made_curves(), made_film()
    data = viewer_data((curves,), (film,), (), "en")
    readouts = list(data["readouts"])  # type: ignore[call-overload]
    assert len(readouts) == len(film.frame)
    for number, said in zip(film.frame, readouts, strict=True):
        assert f"frame {number:.0f} " in said
        assert ("the nock was not seen" in said) == (number in (40, 41))


def test_no_ring_stands_where_the_nock_was_before() -> None:
    """In frames without a nock the ring is left out; it is there in those beside them."""
    pictures, _ = decoded(made_film().mp4)
    curves = made_curves()
    first = int(curves.frame[0])
    orange = {}
    for number in (39, 40, 41, 42):
        red, _, blue = np.moveaxis(pictures[number - first].astype(int), 2, 0)
        orange[number] = int(((red - blue) > 120).sum())
    assert max(orange[40], orange[41]) < 0.7 * min(orange[39], orange[42])


def test_each_step_aims_at_the_middle_of_its_own_frame() -> None:
    """However unlike the frames' stays are: half a usual stay on would miss the short ones."""
    times = np.array([0.0, 1.0, 2.0, 2.3, 3.0, 6.0, 7.0]) / 240
    film = replace(made_film(), time_s=times, frame=np.arange(7.0))
    ends = np.append(times[1:], 8.0 / 240)
    np.testing.assert_allclose(film.middles_s(times.tolist()), SLOW * (times + ends) / 2)
    assert film.middles_s([2.2 / 240])[0] == film.middles_s([2.3 / 240])[0]


def test_a_flight_that_is_over_has_no_number_beside_a_longer_one() -> None:
    """The last place of the shorter one would stand there as if the arrow still flew."""
    long, film = made_curves(), made_film()
    half = len(long.time_s) // 2
    short = Curves(
        time_s=long.time_s[:half],
        frame=long.frame[:half],
        swing=long.swing[:half],
        sigma=long.sigma[:half],
        fitted=long.fitted[:half],
        path_px=long.path_px[:half],
        unit=long.unit,
        per_px_s=long.per_px_s,
    )
    readouts = viewer_data((long, short), (film, film), (), "en")["readouts"]
    assert isinstance(readouts, list)
    assert "second nock not seen" in readouts[-1]
    assert "not seen" not in readouts[0]
    assert "not seen" not in readouts[-1].partition("second")[0]
