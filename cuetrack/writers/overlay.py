"""Arrangement → a transparent strip for a video's lower edge: move, stage, side, seconds left, what is next.

What a video frame shows is what holds at the instant it begins, so it agrees with the sound to the video
frame at any rate. The strip is a QuickTime file with alpha, compressed without loss (Animation).
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import ceil
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import TYPE_CHECKING

from cuetrack.conform.arrangement import Arrangement
from cuetrack.sound.ffmpeg import SAFE_ARGUMENTS, ffmpeg_path
from cuetrack.writers.finish import failure_of
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import Scene, scene_title, scenes_of
from cuetrack.writers.typeface import shown, typefaces

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont

# SMPTE ST 12-1: the rates of television are 1000/1001 of whole ones.
VIDEO_RATES: Mapping[str, Fraction] = MappingProxyType(
    {
        "23.976": Fraction(24_000, 1001),
        "24": Fraction(24),
        "25": Fraction(25),
        "29.97": Fraction(30_000, 1001),
        "30": Fraction(30),
        "50": Fraction(50),
        "59.94": Fraction(60_000, 1001),
        "60": Fraction(60),
    }
)
WIDTH_PIXELS, HEIGHT_PIXELS = 1920, 220
_MARGIN_PIXELS = 48
_PANEL, _INK, _SOFT = (16, 20, 24, 200), (255, 255, 255, 255), (214, 218, 222, 255)


@dataclass(frozen=True, slots=True)
class Shown:
    """What the strip shows from `first_video_frame` on; `seconds_left` counts down to 1 in each scene."""

    first_video_frame: int
    scene: Scene
    seconds_left: int


def video_frames(arrangement: Arrangement, video_rate: Fraction) -> int:
    """How many video frames begin before the programme ends."""
    return ceil(Fraction(arrangement.frames, arrangement.rate_hz) * video_rate)


def shown_by_frame(arrangement: Arrangement, video_rate: Fraction) -> tuple[Shown, ...]:
    """Everything that the strip shows, each from its first video frame."""
    return tuple(
        Shown(first, scene, left)
        for scene in scenes_of(arrangement)
        for first, left in _seconds_of(scene, arrangement.rate_hz, video_rate)
    )


def _seconds_of(scene: Scene, rate_hz: int, video_rate: Fraction) -> Iterator[tuple[int, int]]:
    """The first video frame of each shown second of a scene; none where no video frame begins in it."""
    start, end = Fraction(scene.start_frame, rate_hz), Fraction(scene.end_frame, rate_hz)
    whole = ceil(end - start)
    begins = [start, *(end - left for left in range(whole - 1, 0, -1)), end]
    firsts = [ceil(instant * video_rate) for instant in begins]
    for index, (first, after) in enumerate(pairwise(firsts)):
        if after > first:
            yield first, whole - index


def write_overlay(
    path: Path,
    arrangement: Arrangement,
    video_rate: Fraction,
    progress: Callable[[int, int], None] | None = None,
) -> None:
    """Writes the strip for one of `VIDEO_RATES`; `progress` gets how many pictures are drawn, of how many.

    Raises:
        MediaMissingError: there is no ffmpeg.
        OSError: the file could not be written.
    """
    program = ffmpeg_path("the strip for a video")
    states, words = shown_by_frame(arrangement, video_rate), page_words(arrangement.timeline.session.language)
    scenes, frames = scenes_of(arrangement), video_frames(arrangement, video_rate)
    with TemporaryDirectory(prefix="cuetrack-") as folder:
        for number, state in enumerate(states):
            drawn = drawn_strip(state, scenes, words)
            drawn.save(Path(folder) / f"{number}.png", compress_level=1)
            if progress is not None:
                progress(number + 1, len(states))
        listing = Path(folder) / "pictures.txt"
        listing.write_text(_listing(states, frames, video_rate), encoding="ascii")
        # Our own list may give a clock for each picture, which ffmpeg calls unsafe in a stranger's.
        source = ["-f", "concat", "-safe", "0", "-i", f"file:{listing}"]
        frames_only = ["-vf", f"fps={video_rate}", "-frames:v", str(frames), "-map_metadata", "-1"]
        result = ["-c:v", "qtrle", "-pix_fmt", "argb", "-f", "mov", "-y", f"file:{path}"]
        arguments = [*source, *frames_only, "-fflags", "+bitexact", "-flags:v", "+bitexact", *result]
        done = subprocess.run([str(program), *SAFE_ARGUMENTS, *arguments], capture_output=True, check=False)
    if done.returncode != 0:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise failure_of(path, said[-1] if said else "the encoder stopped")


def _listing(states: Sequence[Shown], frames: int, video_rate: Fraction) -> str:
    """The list of pictures that ffmpeg reads, and how long each is shown, to the microsecond.

    A picture's own clock is that of the video: else it would be 25 frames a second.
    """
    firsts = [*(state.first_video_frame for state in states), frames]
    lines, clock = ["ffconcat version 1.0"], f"option framerate {video_rate}"
    for number, (first, after) in enumerate(pairwise(firsts)):
        lines += [f"file {number}.png", clock, f"duration {_decimal((after - first) / video_rate)}"]
    # The last picture's length is only kept if something follows.
    return "\n".join([*lines, f"file {len(states) - 1}.png", clock]) + "\n"


def _decimal(seconds: Fraction) -> str:
    microseconds = round(seconds * 1_000_000)
    return f"{microseconds // 1_000_000}.{microseconds % 1_000_000:06}"


def drawn_strip(state: Shown, scenes: Sequence[Scene], words: Mapping[str, str]) -> Image:
    """One picture of the strip, with alpha: names on the left, seconds on the right."""
    from PIL import Image, ImageDraw

    image = Image.new("RGBA", (WIDTH_PIXELS, HEIGHT_PIXELS), (0, 0, 0, 0))
    draw, scene = ImageDraw.Draw(image), state.scene
    draw.rectangle((0, 0, WIDTH_PIXELS, HEIGHT_PIXELS), fill=_PANEL)
    left = str(state.seconds_left)
    digits = _letters(130, bold=True)
    room = WIDTH_PIXELS - 2 * _MARGIN_PIXELS - int(digits.getlength("0" * max(3, len(left)))) - 40
    draw.text((WIDTH_PIXELS - _MARGIN_PIXELS, 116), left, font=digits, fill=_INK, anchor="rm")
    following = scenes[scene.following] if scene.following is not None else None
    name, about = _names(scene, words)
    after = scene_title(following, words) if following is not None else words["end"]
    for text, top, points, bold, ink in (
        (name, 22, 62, True, _INK),
        (about, 96, 42, False, _INK),
        (f"{words['next']}: {after}", 154, 38, False, _SOFT),
    ):
        font = _letters(points, bold=bold)
        draw.text((_MARGIN_PIXELS, top), _cut(text, font, room), font=font, fill=ink)
    return image


def _names(scene: Scene, words: Mapping[str, str]) -> tuple[str, str]:
    """What is done, and its stage, side and round."""
    side = words[scene.side] if scene.side else None
    in_round = words["round"].format(scene.round, scene.rounds) if scene.rounds > 1 and scene.move else None
    name = scene.move if scene.kind == "work" and scene.move else words[scene.kind]
    return name, " · ".join(filter(None, (scene.stage, side, in_round)))


def _cut(text: str, font: FreeTypeFont, most_pixels: int) -> str:
    """The text on one line, its end cut where there is no room for it."""
    line = shown(" ".join(text.split()))
    if font.getlength(line) <= most_pixels:
        return line
    while line and font.getlength(f"{line}…") > most_pixels:
        line = line[:-1]
    return f"{line.rstrip()}…"


@cache
def _letters(pixels: int, *, bold: bool) -> FreeTypeFont:
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(typefaces() / name), pixels)
