"""A stranger's folder for each test, and an end to any that hangs."""

from __future__ import annotations

import faulthandler
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.hostile.stranger import HOUSE, KEEPSAKE, VOICE, Stranger, tune

_HANGS_AFTER_SECONDS = 120


@pytest.fixture(autouse=True)
def end_of_hanging() -> Iterator[None]:
    """Ends the process should a case wait for something that never comes."""
    faulthandler.dump_traceback_later(_HANGS_AFTER_SECONDS, exit=True, file=sys.__stderr__)
    yield
    faulthandler.cancel_dump_traceback_later()


@pytest.fixture
def stranger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Stranger:
    """The folder of a stranger's plan, one of the user's beside it, and the user's home."""
    home, own = tmp_path / "stranger", tmp_path / "own"
    for folder in (home / "clips", home / "beds", own / "clips"):
        folder.mkdir(parents=True)
    (own / "notes.txt").write_text(KEEPSAKE, encoding="utf-8")
    (own / "notes.yaml").write_text(f"{KEEPSAKE}: [", encoding="utf-8")
    (own / "house.yaml").write_text(HOUSE, encoding="utf-8")
    (own / "quay.yaml").write_text(f"{VOICE}# {KEEPSAKE}\n", encoding="utf-8")
    (own / "face.png").write_bytes(b"\x89PNG\r\n\x1a\n" + KEEPSAKE.encode())
    (own / "model.onnx").write_text(KEEPSAKE, encoding="utf-8")
    (own / "model.onnx.json").write_text(f'{{"espeak": {{"voice": "{KEEPSAKE}"}}}}', encoding="utf-8")
    tune(own / "tide.wav")
    tune(own / "clips" / "row.wav", 0.5)
    tune(home / "beds" / "tide.wav")
    tune(home / "clips" / "row.wav", 0.5)
    monkeypatch.setenv("HOME", str(own))
    monkeypatch.setenv("USERPROFILE", str(own))
    monkeypatch.setenv("CUETRACK_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.chdir(tmp_path)
    return Stranger(home, own, capfd)
