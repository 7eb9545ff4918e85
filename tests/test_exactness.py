"""The promise of the whole: each tone stands on its planned sample, in every format, early and late.

The files are decoded by another program than the one that wrote them. The frames to expect are worked
out here, in Fractions, from the plan's own numbers; nothing of the timeline is used for that.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import floor
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import correlate

from cuetrack import build
from cuetrack.sound.tones import tone_samples
from tests.helpers.decode import decoded_blocks

LOSSLESS = ("wav", "flac")
RATES_HZ = (48_000, 44_100, 22_050)
# Opus has one clock of 48,000 Hz (RFC 7845, section 5.1), whatever rate is asked for.
OPUS_RATE_HZ = 48_000

# Moves of 144/17 s (the shuttle run's first stage: 20 m at 8.5 km/h) never begin on a whole frame.
PLAN = """
session: Quay wall shuttles
lead-in: 4s
lead-out: 1s
calls: {{announce: off, start: {{count: 3, by: tones, sound: pips}}, finish: {{by: none}}}}
parts:
  - part: First minute
    rounds: 3
    rest: 13/3 s
    steps:
      - move: Shuttle
        work: 72/8.5 s
        cues: [{{at: 2.5s, tone: soft}}, {{at: -1/7 s, tone: bright}}, {{at: 50%, tone: slate}}]
{late}"""
LATE = """  - part: Third hour
    steps:
      - rest: 1:59:59
      - move: Shuttle
        work: 72/8.5 s
        cues: [{at: 2.5s, tone: soft}, {at: -1/7 s, tone: bright}, {at: 50%, tone: slate}]
"""


def expected_tones(with_late: bool) -> tuple[list[tuple[str, Fraction]], Fraction]:
    """The plan's tones with their marks in exact seconds, and the session's end."""
    work, rest, now = Fraction(72) / Fraction("8.5"), Fraction(13, 3), Fraction(4)
    tones: list[tuple[str, Fraction]] = []

    def add_shuttle(start: Fraction) -> None:
        tones.extend(("pip-short", start - second) for second in (3, 2, 1))
        tones.append(("pip-long", start))
        tones.append(("call-soft", start + Fraction(5, 2)))
        tones.append(("slate", start + work / 2))
        tones.append(("call-bright", start + work - Fraction(1, 7)))

    for number in range(3):
        add_shuttle(now)
        now += work + (rest if number < 2 else 0)
    if with_late:
        now += 1 * 3600 + 59 * 60 + 59
        add_shuttle(now)
        now += work
    return sorted(tones, key=lambda tone: tone[1]), now + 1


def to_frame(seconds: Fraction, rate_hz: int) -> int:
    return floor(seconds * rate_hz + Fraction(1, 2))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("ending", LOSSLESS)
@pytest.mark.parametrize("late", [False, True], ids=["first minute", "third hour"])
def test_lossless_tones_begin_on_their_frames_and_rests_are_zeros(
    tmp_path: Path, ending: str, rate_hz: int, late: bool
) -> None:
    path, _ = rendered(tmp_path, ending, rate_hz, late)
    tones, end = expected_tones(late)
    spans = merged(tones, rate_hz)
    found, frames = sounding_spans(decoded_blocks(path, 1))
    assert frames == to_frame(end, rate_hz)
    assert found == spans


@pytest.mark.parametrize(
    ("ending", "rate_hz"),
    [(ending, rate) for ending in ("mp3", "m4a", "ogg", "opus") for rate in RATES_HZ],
)
def test_lossy_tones_decode_to_their_frames(tmp_path: Path, ending: str, rate_hz: int) -> None:
    assert_found_in_place(tmp_path, ending, rate_hz, late=False)


# A lossy file of two hours takes up to a minute to make.
@pytest.mark.parametrize(
    ("ending", "rate_hz"),
    [*((ending, rate) for ending in ("mp3", "m4a", "ogg") for rate in RATES_HZ), ("opus", OPUS_RATE_HZ)],
)
def test_lossy_tones_decode_to_their_frames_in_the_third_hour(
    tmp_path: Path, ending: str, rate_hz: int
) -> None:
    assert_found_in_place(tmp_path, ending, rate_hz, late=True)


def assert_found_in_place(tmp_path: Path, ending: str, rate_hz: int, *, late: bool) -> None:
    path, programme_rate_hz = rendered(tmp_path, ending, rate_hz, late)
    tones, end = expected_tones(late)
    marks = [to_frame(seconds, programme_rate_hz) for _, seconds in tones]
    windows, frames = cut_out(decoded_blocks(path, 1), marks, reach_frames=programme_rate_hz // 10)
    assert frames == to_frame(end, programme_rate_hz)
    errors = {
        (name, mark): best_offset(window, tone_samples(name, programme_rate_hz), mark - first)
        for (name, _), mark, (first, window) in zip(tones, marks, windows, strict=True)
    }
    assert errors == dict.fromkeys(errors, 0)
    assert len(errors) == len(tones)


def rendered(folder: Path, ending: str, rate_hz: int, late: bool) -> tuple[Path, int]:
    """The rendered file and its rate."""
    plan, target = folder / "quay.yaml", folder / f"quay.{ending}"
    plan.write_text(PLAN.format(late=LATE if late else ""), encoding="utf-8")
    done = build.render(plan, target, rate_hz=rate_hz, channels=1)
    expected_rate_hz = OPUS_RATE_HZ if ending == "opus" else rate_hz
    assert done.arrangement.rate_hz == expected_rate_hz
    return target, expected_rate_hz


def merged(tones: list[tuple[str, Fraction]], rate_hz: int) -> list[tuple[int, int]]:
    """Where the programme sounds, as half-open spans; tones that touch make one span."""
    spans: list[tuple[int, int]] = []
    for name, seconds in tones:
        start = to_frame(seconds, rate_hz)
        end = start + len(tone_samples(name, rate_hz))
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(end, spans[-1][1]))
        else:
            spans.append((start, end))
    return spans


def sounding_spans(blocks: Iterator[NDArray[np.int32]]) -> tuple[list[tuple[int, int]], int]:
    """Spans that sound, half-open; zeros inside a sound (up to 1 ms) do not end it. And all frames."""
    spans: list[tuple[int, int]] = []
    position = 0
    for block in blocks:
        sounding = np.flatnonzero(block[:, 0]) + position
        if len(sounding):
            breaks = np.flatnonzero(np.diff(sounding) > 20) + 1
            for group in np.split(sounding, breaks):
                start, end = int(group[0]), int(group[-1]) + 1
                if spans and start - spans[-1][1] < 20:
                    spans[-1] = (spans[-1][0], end)
                else:
                    spans.append((start, end))
        position += len(block)
    return spans, position


def cut_out(
    blocks: Iterator[NDArray[np.int32]], marks: list[int], reach_frames: int
) -> tuple[list[tuple[int, NDArray[np.float64]]], int]:
    """Around each mark, from `reach_frames` before it to seven times as far behind it."""
    spans = [(max(0, mark - reach_frames), mark + 7 * reach_frames) for mark in marks]
    parts: list[list[NDArray[np.float64]]] = [[] for _ in spans]
    position = 0
    for block in blocks:
        for (first, last), part in zip(spans, parts, strict=True):
            low, high = max(first, position), min(last, position + len(block))
            if low < high:
                part.append(block[low - position : high - position, 0] / 2**31)
        position += len(block)
    return [(first, np.concatenate(part)) for (first, _), part in zip(spans, parts, strict=True)], position


def best_offset(window: NDArray[np.float64], tone: NDArray[np.float32], mark: int) -> int:
    """By how many frames the tone is found away from `mark`: the highest correlation in the window."""
    return int(np.argmax(correlate(window, tone.astype(np.float64), "valid", "fft"))) - mark
