"""Print what the reader costs beside the decoding library alone, for each kind and size of film.

Run as ``python -m tests.benchmarks.decode [frames]``. Each pair is timed in the same process, in
turns, and the best of three counts. Processor time, over all threads, is the fairer measure on a
machine that does other things as well; time on the clock is what a person waits.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

from fixtures.encode import Coding, has_encoder, write_clip
from tracker.decode import THREADS, Reader

ROUNDS = 3
KINDS = {
    "H.264 720p": (1280, 720, "a.mp4", Coding(options={"preset": "veryfast"})),
    "H.264 1080p": (1920, 1080, "a.mp4", Coding(options={"preset": "veryfast"})),
    "H.264 1080p turned": (1080, 1920, "a.mp4", Coding(rotation_deg=90)),
    "H.264 2160p": (3840, 2160, "a.mp4", Coding(options={"preset": "ultrafast"})),
    "HEVC 1080p": (1920, 1080, "a.mp4", Coding(codec="libx265")),
    "HEVC 10 bit 1080p": (1920, 1080, "a.mov", Coding(codec="libx265", pix_fmt="yuv420p10le")),
    "VP9 1080p": (1920, 1080, "a.webm", Coding(codec="libvpx-vp9")),
    "AV1 1080p": (1920, 1080, "a.mkv", Coding(codec="libsvtav1")),
}


def scenes(width: int, height: int, count: int) -> Iterator[np.ndarray]:
    """Draw a textured scene with sensor noise and a spot crossing it."""
    rng = np.random.default_rng(7)
    coarse = rng.uniform(40, 200, (height // 40 + 2, width // 40 + 2))
    scene = np.kron(coarse, np.ones((40, 40)))[:height, :width]
    noise = rng.normal(0, 2, (height + 64, width + 64))
    for number in range(count):
        down, right = rng.integers(0, 64, 2)
        frame = scene + noise[down : down + height, right : right + width]
        x = 100 + 5 * number % (width - 200)
        frame[height // 2 : height // 2 + 12, x : x + 12] = 240
        yield np.clip(frame, 0, 255).astype(np.uint8)


def decode_alone(path: Path) -> int:
    """Decode with the library and do nothing with the pictures."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        stream.codec_context.thread_count = THREADS  # the quickest
        return sum(1 for _ in container.decode(stream))


def read(path: Path) -> int:
    """Decode with the reader: brightness, times, repeats, hash."""
    with Reader(path) as reader:
        count = sum(1 for _ in reader.frames())
        assert reader.clip.frames == count
        return count


def timed(run: Callable[[Path], int], path: Path) -> tuple[float, float]:
    """Milliseconds a frame of one run: processor and clock."""
    clock, processor = time.perf_counter(), time.process_time()
    count = run(path)
    spent = time.process_time() - processor, time.perf_counter() - clock
    return 1e3 * spent[0] / count, 1e3 * spent[1] / count


def main(count: int) -> None:
    """Print one line for each kind."""
    print(f"milliseconds a frame, {count} frames, best of {ROUNDS}")
    print(f"{'':22}{'processor':>27}{'clock':>27}")
    print(f"{'film':22}" + 2 * f"{'alone':>9}{'reader':>9}{'ratio':>9}")
    for name, (width, height, file, coding) in KINDS.items():
        if not has_encoder(coding.codec):
            print(f"{name:22} no encoder here")
            continue
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / file
            frames = scenes(width, height, count)
            write_clip(path, frames, container_hz=Fraction(240), coding=coding)
            runs = [(timed(decode_alone, path), timed(read, path)) for _ in range(ROUNDS)]
        line = f"{name:22}"
        for measure in (0, 1):
            alone = min(first[measure] for first, _ in runs)
            ours = min(second[measure] for _, second in runs)
            line += f"{alone:9.2f}{ours:9.2f}{ours / alone:9.2f}"
        print(line, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 120)
