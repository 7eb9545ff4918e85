"""A stranger's folder beside the user's own, and what must hold whatever a command finds in it.

The user's files hold a secret; the stranger's plan has neither speech nor calls, so that a render is quick.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from cuetrack.cli.commands import run

KEEPSAKE = "the keys hang behind the boathouse"
NEW_FILES = frozenset({"plan.wav", "plan.timeline.json"})
PLAN = """\
session: Quay
lead-in: 0s
lead-out: 0s
calls: {announce: off, start: off, finish: off}
"""
PARTS = """\
parts:
  - part: Main
    steps: [{move: March, work: 2s}]
"""
VOICE = """\
name: quay
description: A voice of the quay.
engine: recorded
languages: any
folder: clips
licence: own
origin: the quay
audition: Row.
"""
HOUSE = f"coach: {KEEPSAKE}\n"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a command ended with, and what it said."""

    code: int
    said: str


@dataclass(slots=True)
class Stranger:
    """`home` is the stranger's folder, `own` that of the user beside it."""

    home: Path
    own: Path
    capfd: pytest.CaptureFixture[str]
    before: Mapping[Path, Any] = field(default_factory=dict)

    def plan(self, more: str = "", parts: str = PARTS, name: str = "plan.yaml") -> Path:
        """A plan that is whole but for `more`, in its folder."""
        path = self.home / name
        path.write_bytes((PLAN + more + ("\n" if more else "") + parts).encode("utf-8", "surrogatepass"))
        return path

    def link(self, name: str, target: str | Path) -> Path:
        """A link in the stranger's folder."""
        path = self.home / name
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            path.symlink_to(target)
        except (OSError, NotImplementedError):
            pytest.skip("no links can be made here")
        return path

    def run(self, *arguments: object, may_write: frozenset[str] = frozenset()) -> Outcome:
        """What a command does, after all that always holds was asserted.

        `may_write` are the names of files that may be new or other than before in the stranger's folder.
        """
        self.capfd.readouterr()
        before = known_files(self.own), known_files(self.home)
        code = run([str(argument) for argument in arguments])
        out, err = self.capfd.readouterr()
        outcome = Outcome(code, out + err)
        assert code in {0, 1, 2, 3}, outcome.said
        assert "Traceback" not in outcome.said
        assert "a fault in cuetrack itself" not in outcome.said
        assert KEEPSAKE not in outcome.said
        assert len(outcome.said) < 200_000
        now_own = known_files(self.own)
        touched = {path for path in {*now_own, *before[0]} if now_own.get(path) != before[0].get(path)}
        assert not touched, f"changed or made: {sorted(touched)}"
        now = known_files(self.home)
        changed = {path for path in {*now, *before[1]} if now.get(path) != before[1].get(path)}
        assert {str(path.relative_to(self.home)) for path in changed} <= may_write
        for path in changed:
            if path.is_file():
                assert KEEPSAKE.encode() not in path.read_bytes()
        if code:
            assert not changed
            assert "error:" in outcome.said.lower()
        return outcome

    def refused(self, *arguments: object, naming: str, code: int = 1) -> str:
        """What is said where a command has to refuse, naming the thing."""
        outcome = self.run(*arguments)
        assert outcome.code == code, outcome.said
        assert naming in " ".join(outcome.said.split()), outcome.said
        return outcome.said


def known_files(folder: Path) -> dict[Path, Any]:
    """Every path below `folder` without following links: a file's bytes, where a link leads, or its kind."""
    found: dict[Path, Any] = {}
    for place, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(place) / name
            if path.is_symlink():
                found[path] = path.readlink()
            elif path.is_file():
                found[path] = path.read_bytes() if path.stat().st_size < 1_000_000 else path.stat().st_size
            else:
                found[path] = path.stat().st_mode
    return found


def tune(path: Path, seconds: float = 3.0, rate_hz: int = 8_000, **how: Any) -> bytes:
    """Soft noise as a sound file, and its bytes."""
    samples = 0.1 * np.random.default_rng(7).standard_normal(round(seconds * rate_hz))
    soundfile.write(path, samples.astype(np.float32), rate_hz, **how)
    return path.read_bytes()
