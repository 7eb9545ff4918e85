"""`cuetrack timeline`: what a tempo calls, beside what else is called."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.cli.commands import run

PLAN = """session: Quay
lead-in: 8s
calls: {announce: off, finish: off}
parts:
  - part: Main
    rest: 10s
    steps:
      - {move: Row, tempo: {beat: 60 bpm, accent: 4, count: on}, work: 12s}
      - {move: Squat, tempo: {lift: 3-1-2-0, by: both}, work: 2 reps}
"""


def test_clicks_are_told_by_tone_and_words_with_the_work_they_pace(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A word begins just before its beat; on the first beat that is before the work."""
    monkeypatch.chdir(tmp_path)
    Path("quay.yaml").write_text(PLAN, encoding="utf-8")
    assert run(["timeline", "quay.yaml"]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert [" ".join(line.split()) for line in printed.out.splitlines()[2:]] == [
        "0:00 lead-in 0:08 0:05.0 ♪ 3 × count-short",
        "Main",
        "0:08 work 0:12 Row 0:08.0 “one”",
        "0:08.0 ♪ count-long",
        "0:08.0 ♪ 3 × click-accent",
        "0:09.0 ♪ 9 × click",
        "0:12.0 “two three”",
        "0:20 rest 0:10 0:27.0 ♪ 3 × count-short",
        "0:30 work 0:12 Squat 0:30.0 “Down.”",
        "0:30.0 ♪ count-long",
        "0:30.0 ♪ 2 × tempo-down",
        "0:33.0 “Hold.”",
        "0:33.0 ♪ 2 × tempo-hold",
        "0:34.0 “Up.”",
        "0:34.0 ♪ 2 × tempo-up",
        "0:36.0 “Down. Hold. Up.”",
    ]
