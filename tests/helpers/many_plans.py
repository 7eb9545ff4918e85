"""Folders of small plans that are rendered in a moment: tones, and no words."""

from __future__ import annotations

from pathlib import Path

QUICK = """session: Quay steps, set {number}
lead-in: 3s
lead-out: 1s
calls: {{announce: off, start: {{count: 2, by: tones}}, finish: {{by: none}}}}
parts:
  - part: Main
    rounds: {rounds}
    rest: 2s
    steps:
      - {{move: March, work: 4s}}
"""


def write_plans(folder: Path, number: int, rounds: int = 1) -> list[Path]:
    """Writes so many plans, set-01.yaml and on, into a folder, which is made."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for one in range(1, number + 1):
        path = folder / f"set-{one:02}.yaml"
        path.write_text(QUICK.format(number=one, rounds=rounds), encoding="utf-8")
        paths.append(path)
    return paths
