"""Chapters inside sound files, read back by mutagen and by ffmpeg, to the millisecond."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import imageio_ffmpeg
import mutagen
import pytest
from mutagen.mp4 import MP4

from cuetrack import build
from cuetrack.writers.chapters import chapters_of
from tests.helpers.likely import UNTIDY_TEXTS, likely

PLAN = f"""
session: Quay chapters
voice: system
lead-in: 12.3456s
calls: {{announce: off, finish: {{warn: off}}}}
parts:
  - part: Circuit
    rounds: 2
    rest: 7.9015s
    steps:
      - {{move: 'Row = pull; # \\ "{UNTIDY_TEXTS[2]}"', work: 13.217s}}
      - {{move: '<b>Press</b> 🚣', work: 10s}}
"""
ENDINGS = (".mp3", ".m4a", ".ogg", ".opus", ".flac")


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("chapters") / "plan.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def expected(plan: Path) -> list[tuple[int, str]]:
    chapters = chapters_of(likely(plan))
    assert any(one.start_milliseconds % 1000 >= 500 for one in chapters)
    return [(one.start_milliseconds, one.title) for one in chapters]


@pytest.fixture(scope="module", params=ENDINGS)
def file(request: pytest.FixtureRequest, plan: Path) -> Path:
    path = plan.with_name(f"quay{request.param}")
    build.render(plan, path, quality="small")
    return path


def test_mutagen_reads_every_chapter_back(file: Path, expected: list[tuple[int, str]]) -> None:
    assert by_mutagen(file) == expected


def by_mutagen(file: Path) -> list[tuple[int, str]]:
    if file.suffix == ".m4a":
        chapters = MP4(file).chapters
        return [(round(one.start * 1000), one.title) for one in chapters]
    tags = mutagen.File(file).tags
    if file.suffix == ".mp3":
        (table,) = tags.getall("CTOC")
        frames = [tags[f"CHAP:{name}"] for name in table.child_element_ids]
        ends = [one.end_time for one in frames[:-1]]
        assert ends == [one.start_time for one in frames[1:]]
        return [(one.start_time, one.sub_frames["TIT2"].text[0]) for one in frames]
    starts = {key: value for key, value in tags if re.fullmatch(r"CHAPTER\d{3}", key)}
    names = {key.removesuffix("NAME"): value for key, value in tags if key.endswith("NAME")}
    found = []
    for key, clock in sorted(starts.items()):
        hours, minutes, seconds = clock.split(":")
        milliseconds = (int(hours) * 60 + int(minutes)) * 60_000 + round(float(seconds) * 1000)
        found.append((milliseconds, names[key]))
    return found


def test_ffmpeg_reads_every_chapter_back(file: Path, expected: list[tuple[int, str]]) -> None:
    """As ffmpeg prints what it finds in a file, and in the order in which it stands there."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-i", str(file)]
    told = subprocess.run(command, capture_output=True, check=False).stderr.decode()
    starts = re.findall(r"Chapter #0:\d+: start (\d+\.\d+)", told)
    titles = re.findall(r"Chapter #0:\d+:.*\n\s+Metadata:\n\s+title\s+: (.*)", told)
    assert [(round(float(s) * 1000), t) for s, t in zip(starts, titles, strict=True)] == expected
