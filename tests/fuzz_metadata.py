"""Search, led by coverage, for files and frame times that break what is read before any picture.

``python -m tests.fuzz_metadata FOLDER SECONDS`` grows a corpus in FOLDER from one small film of
each kind. What a run finds belongs into `tests/test_film_found.py`. Needs ``pip install atheris``,
which is no dependency of the tests.
"""

from __future__ import annotations

import math
import os
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

import atheris
import numpy as np

with atheris.instrument_imports(include=["tracker"]):
    from tracker.capture import capture_rate, pace, said_by_metadata
    from tracker.decode import Reader
    from tracker.outline import missing_bytes, most_samples
    from tracker.types import InputError

LARGEST_BYTES = 16_384
FRAMES_EACH = 3
FILE = Path(tempfile.gettempdir()) / f"tailsway-fuzz-{os.getpid()}.bin"


def one_file(content: bytes) -> None:
    """Read a file's outline, open it, take a few frames."""
    FILE.write_bytes(content)
    try:
        most_samples(FILE)
        assert missing_bytes(FILE) >= 0
        with Reader(FILE) as reader:
            for number, frame in enumerate(reader.frames()):
                assert frame.luma.shape == (reader.height, reader.width)
                if number == FRAMES_EACH:
                    return
            said = reader.clip
            assert said.capture_hz is None or said.capture_hz > 0
    except InputError:
        pass


def one_clock(content: bytes) -> None:
    """Measure the rate of any increasing times, and weigh it against any metadata and any word."""
    take = atheris.FuzzedDataProvider(content)
    written = take.ConsumeUnicodeNoSurrogates(24)
    said = Fraction(take.ConsumeIntInRange(1, 20_000), take.ConsumeIntInRange(1, 1001))
    tick_s = 1 / take.ConsumeIntInRange(1, 2**31)
    steps = [take.ConsumeIntInRange(1, 2 ** take.ConsumeIntInRange(1, 44)) for _ in range(60)]
    count = take.ConsumeIntInRange(0, 60)
    times_s = np.cumsum([0, *steps[:count]]) * tick_s
    try:
        how = pace(times_s, tick_s)
        rate = said_by_metadata({"com.android.capture.fps": written})
        hz, _, _ = capture_rate(how.hz, said=said if count % 2 else None, written=rate)
        how.notes(len(times_s))
    except InputError:
        return
    assert how.hz is None or (how.hz > 0 and math.isfinite(float(how.hz)))
    assert hz is None or hz > 0
    assert 0 <= how.first_frame <= how.last_frame < len(times_s)


def one(content: bytes) -> None:
    """Take a film as such, and anything behind an exclamation mark for a clock."""
    if content[:1] == b"!":
        one_clock(content[1:])
    else:
        one_file(content)


def main() -> None:
    """Grow a corpus for some time."""
    folder, seconds = Path(sys.argv[1]), int(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    from tests.mutated_films import sources

    for name, content in sources(Path(tempfile.mkdtemp()), flights=False).items():
        (folder / name).write_bytes(content[:LARGEST_BYTES])
    (folder / "clock").write_bytes(b"!" + np.random.default_rng(8).bytes(400))
    settings = [
        f"-max_total_time={seconds}",
        f"-max_len={LARGEST_BYTES}",
        "-timeout=60",
        "-rss_limit_mb=3000",
    ]
    settings += [f"-artifact_prefix={folder.parent}/found-", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], *settings, str(folder)], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
