"""Everything that goes with a track, by one call: all files there, agreeing with the sound to the frame."""

from __future__ import annotations

import csv
import io
import json
import re
from html import unescape
from pathlib import Path
from urllib.parse import unquote

import pytest
import soundfile
from click.testing import CliRunner

from cuetrack.build_papers import PAPER_ENDINGS, PAPER_NAMES
from cuetrack.cli.commands import commands, run
from cuetrack.writers import typeface

PLAN = """
session: "Quay <all> & more"
voice: system
lead-in: 12s
parts:
  - part: Circuit
    rest: 15s
    steps:
      - {move: Band row, work: 20s, setup: Sit tall., equipment: [band]}
      - {move: Press, stages: [{slow: 10s}, {fast: 10s}]}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A render with everything, under a name that pages and listings have to take care of."""
    folder = tmp_path_factory.mktemp("papers")
    plan = folder / "50% quay #1.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    result = CliRunner().invoke(commands, ["render", str(plan), "--all", "--stems"])
    assert result.exit_code == 0, result.output
    return folder / "50% quay #1"


def test_everything_is_there_and_nothing_else(folder: Path) -> None:
    names = {path.name for path in folder.iterdir()}
    endings = [ending for paper in PAPER_NAMES for ending in PAPER_ENDINGS[paper]]
    stems = [".voice.wav", ".tones.wav"]
    expected = {
        f"{folder.name}{ending}" for ending in (*endings, *stems, ".index.html", ".timeline.json", ".wav")
    }
    assert names == expected


def test_the_index_links_every_file(folder: Path) -> None:
    page = (folder / f"{folder.name}.index.html").read_text(encoding="utf-8")
    linked = {unquote(unescape(url)).removeprefix("./") for url in re.findall(r'<a href="([^"]+)"', page)}
    assert linked == {path.name for path in folder.iterdir()} - {f"{folder.name}.index.html"}


def test_all_agree_with_the_sound_to_the_frame(folder: Path) -> None:
    stem = folder / folder.name
    timeline = json.loads(Path(f"{stem}.timeline.json").read_text(encoding="utf-8"))
    assert soundfile.info(f"{stem}.wav").frames == timeline["frames"]
    text = Path(f"{stem}.markers.csv").read_text(encoding="utf-8-sig")
    markers = list(csv.DictReader(io.StringIO(text)))
    told = sorted((row["kind"], int(row["start_frame"]), int(row["frames"])) for row in markers)
    rows = [*timeline["phases"], *timeline["cues"]]
    assert told == sorted((row["kind"], row["start_frame"], row["frames"]) for row in rows)
    page = Path(f"{stem}.player.html").read_text(encoding="utf-8")
    assert f"{timeline['frames']}" in page
    shown = {row["start_frame"] // 48 for row in timeline["cues"]}
    captions = Path(f"{stem}.captions.srt").read_text(encoding="utf-8")
    first = re.search(r"(\d+):(\d+):(\d+),(\d+) -->", captions)
    assert first is not None
    hours, minutes, seconds, thousandths = map(int, first.groups())
    assert ((hours * 60 + minutes) * 60 + seconds) * 1000 + thousandths in {
        at + off for at in shown for off in (0, 1)
    }


def test_only_what_is_asked_for_is_written(tmp_path: Path) -> None:
    plan = tmp_path / "quay.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    target = tmp_path / "quay.mp3"
    assert run(["render", str(plan), "-o", str(target), "--with", "chapters, captions"]) == 0
    names = {path.name for path in tmp_path.iterdir()} - {"quay.yaml", "quay.mp3", "quay.timeline.json"}
    assert names == {"quay.chapters.txt", "quay.captions.vtt", "quay.captions.srt", "quay.index.html"}


@pytest.mark.parametrize(
    ("arguments", "told"),
    [(["--with", "sheets"], "did you mean 'sheet'"), (["--sound-inside"], "add --with player")],
)
def test_wrong_usage_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    plan = tmp_path / "quay.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    assert run(["render", str(plan), *arguments]) == 2
    assert told in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["quay.yaml"]


def test_without_the_extra_all_does_what_can_be_done_and_with_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def nothing_installed(name: str) -> None:
        return None

    monkeypatch.setattr(typeface, "find_spec", nothing_installed)
    plan = tmp_path / "quay.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    assert run(["render", str(plan), "--with", "picture"]) == 3
    assert "the extra `paper`" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["quay.yaml"]
    assert run(["render", str(plan), "--all"]) == 0
    assert "quay.sheet.pdf" not in {path.name for path in (tmp_path / "quay").iterdir()}
    assert "NAME.picture.png is left out" in capsys.readouterr().err


def test_a_sheet_is_written_without_any_sound(tmp_path: Path) -> None:
    plan = tmp_path / "quay.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    assert run(["sheet", str(plan)]) == 0
    assert (tmp_path / "quay.sheet.pdf").read_bytes().startswith(b"%PDF")
    assert run(["sheet", str(plan), "-o", str(tmp_path / "quay.csv"), "--paper", "letter"]) == 0
    assert run(["sheet", str(plan), "-o", str(tmp_path / "quay.doc")]) == 2
    assert run(["sheet", str(plan), "-o", str(plan)]) == 2
    assert plan.read_text(encoding="utf-8") == PLAN


def test_the_sound_can_be_carried_in_the_page(tmp_path: Path) -> None:
    plan, target = tmp_path / "quay.yaml", tmp_path / "quay.mp3"
    plan.write_text(PLAN, encoding="utf-8")
    assert run(["render", str(plan), "-o", str(target), "--with", "player", "--sound-inside"]) == 0
    page = (tmp_path / "quay.player.html").stat().st_size
    # Base64 makes four bytes of three (RFC 4648).
    assert page > target.stat().st_size * 4 / 3
