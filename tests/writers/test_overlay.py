"""The strip for a video: what each frame shows, by arithmetic of its own, and as ffmpeg decodes it."""

from __future__ import annotations

import random
import subprocess
from fractions import Fraction
from itertools import pairwise
from math import ceil

import imageio_ffmpeg
import numpy as np
import pytest

from cuetrack.writers.overlay import (
    HEIGHT_PIXELS,
    VIDEO_RATES,
    WIDTH_PIXELS,
    drawn_strip,
    shown_by_frame,
    video_frames,
    write_overlay,
)
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import scenes_of
from tests.helpers.likely import SAMPLES, likely, likely_of, untidy_plan

_PLAN = """
session: Quay strip
lead-in: 7.3s
calls: {finish: {warn: off}}
parts:
  - part: Circuit
    rest: 6.05s
    steps:
      - {move: Row, stages: [{slow: 4.25s}, {fast: 3s}], sides: both, change: 2s}
      - {move: Press, work: 5s}
"""


def _expected(arrangement, video_rate, frame):
    """By hand: the phase at the instant the video frame begins, and its seconds left, begun ones whole."""
    instant = Fraction(frame) / video_rate
    for scene in scenes_of(arrangement):
        end = Fraction(scene.end_frame, arrangement.rate_hz)
        if instant < end:
            return scene.index, ceil(end - instant)
    raise AssertionError("behind the end")


@pytest.mark.parametrize("name", VIDEO_RATES)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_every_video_frame_shows_what_holds_at_its_instant(name, rate_hz):
    arrangement, video_rate = likely_of(_PLAN, rate_hz), VIDEO_RATES[name]
    states, frames = shown_by_frame(arrangement, video_rate), video_frames(arrangement, video_rate)
    assert Fraction(frames - 1) / video_rate < Fraction(arrangement.frames, rate_hz) <= frames / video_rate
    assert states[0].first_video_frame == 0
    firsts = [*(state.first_video_frame for state in states), frames]
    for state, (first, after) in zip(states, pairwise(firsts), strict=True):
        assert first < after
        for frame in range(first, after):
            assert _expected(arrangement, video_rate, frame) == (state.scene.index, state.seconds_left)


def test_rates_are_those_of_the_trade():
    """SMPTE ST 12-1: 30000/1001 and its like are meant by 29.97."""
    assert VIDEO_RATES["29.97"] == Fraction(30_000, 1001)
    assert {"25", "29.97", "30", "50", "60"} <= set(VIDEO_RATES)
    for name, rate in VIDEO_RATES.items():
        assert abs(Fraction(name) - rate) < Fraction(1, 1000)


@pytest.mark.parametrize("name", ["25", "29.97", "30", "50", "60"])
def test_decoded_video_frames_are_the_expected_pictures(tmp_path, name):
    """Fifty frames at random, decoded by ffmpeg: each pixel is that of the picture of the expected state."""
    arrangement, video_rate = likely_of(_PLAN), VIDEO_RATES[name]
    path = tmp_path / "quay.overlay.mov"
    write_overlay(path, arrangement, video_rate)
    states = {(one.scene.index, one.seconds_left): one for one in shown_by_frame(arrangement, video_rate)}
    scenes, words = scenes_of(arrangement), page_words("en")
    frames = video_frames(arrangement, video_rate)
    wanted = set(random.Random(7).sample(range(frames), 50)) | {0, frames - 1}
    count = 0
    for number, pixels in enumerate(_decoded(path)):
        count += 1
        if number in wanted:
            state = states[_expected(arrangement, video_rate, number)]
            assert np.array_equal(pixels, np.asarray(drawn_strip(state, scenes, words))), number
    assert count == frames
    assert f"{float(video_rate):.4g}"[:4] in _about(path)


def _decoded(path):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path), "-f", "rawvideo"]
    size = WIDTH_PIXELS * HEIGHT_PIXELS * 4
    with subprocess.Popen([*command, "-pix_fmt", "rgba", "pipe:1"], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        while data := process.stdout.read(size):
            yield np.frombuffer(data, np.uint8).reshape(HEIGHT_PIXELS, WIDTH_PIXELS, 4)


def _about(path):
    done = subprocess.run(
        [imageio_ffmpeg.get_ffmpeg_exe(), "-i", str(path)], capture_output=True, text=True, check=False
    )
    assert "argb" in done.stderr
    return done.stderr


@pytest.mark.parametrize("plan", [*SAMPLES, None], ids=lambda plan: plan.stem if plan else "untidy texts")
def test_pictures_have_room_for_every_text(plan):
    arrangement = likely_of(untidy_plan()) if plan is None else likely(plan)
    scenes, words = scenes_of(arrangement), page_words("en")
    for state in shown_by_frame(arrangement, Fraction(25))[:: 1 if plan is None else 40]:
        pixels = np.asarray(drawn_strip(state, scenes, words))
        assert pixels.shape == (HEIGHT_PIXELS, WIDTH_PIXELS, 4)
        # Nothing is drawn into the margins, so nothing is cut by them.
        assert len(np.unique(pixels[:, :40].reshape(-1, 4), axis=0)) == 1
        assert len(np.unique(pixels[:, -40:].reshape(-1, 4), axis=0)) == 1


def test_the_same_session_gives_the_same_bytes(tmp_path):
    arrangement = likely_of(_PLAN)
    for name in ("a.mov", "b.mov"):
        write_overlay(tmp_path / name, arrangement, Fraction(25))
    assert (tmp_path / "a.mov").read_bytes() == (tmp_path / "b.mov").read_bytes()
