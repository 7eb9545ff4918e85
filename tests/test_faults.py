"""Whatever a machine refuses, and whenever: a plain error, and files as they were or whole.

First the calls of one kind that a command makes are counted, then it runs once for each of them, in which
that one fails; of more than 60, for 60 spread over them. Full disks are tried as they are.
"""

from __future__ import annotations

import errno
import io
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import cuetrack.speech.engines.engine as engines
from cuetrack import build
from cuetrack.batch.manifest import MANIFEST_FILE
from cuetrack.cli.commands import run
from cuetrack.sound import decoding
from cuetrack.speech.engines.engine import RawSpeech, Utterance

_MOST_TRIED = 60
_PLAN = """\
session: Quay start
lead-in: 3s
bed: {file: quay.wav}
calls: {announce: off, start: {count: 0, sound: plain}, finish: {warn: off, count: 0, by: tones}}
parts:
  - part: Row
    steps:
      - {move: Row, work: 3s}
"""
_COMMANDS = {
    "wav": "render quay.yaml -o made/quay.wav --rate 8000 --channels 1 --with captions,chapters",
    "mp3": "render quay.yaml -o made/quay.mp3 --rate 16000 --channels 1",
    "spoken": "render spoken.yaml -o made/quay.wav --rate 8000 --channels 1",
    "batch": "batch plans -o made --processes 1 --rate 8000 --channels 1",
    "verify": "verify quay.yaml whole.wav",
    "m4a": "render quay.yaml -o made/quay.m4a --rate 16000 --channels 1",
    "preview": "preview quay.yaml -o made/quay.wav",
}


def os_error(number: int) -> OSError:
    return OSError(number, os.strerror(number))


FULL, BROKEN, FORBIDDEN = os_error(errno.ENOSPC), os_error(errno.EIO), os_error(errno.EACCES)


class Refusing(io.FileIO):
    """What the program's own class for reading sound derives from here, so that the system can refuse."""

    def readinto(self, buffer: Any, /) -> int | None:
        return super().readinto(buffer)


# What fails: where the function is found, its name, and how it fails.
_FAULTS: dict[str, tuple[Any, str, tuple[Exception, ...]]] = {
    "open": (io, "open", (BROKEN, FORBIDDEN)),
    "create": (os, "open", (FULL, FORBIDDEN)),
    "rename": (Path, "replace", (BROKEN, FORBIDDEN)),
    "sync": (os, "fsync", (FULL, BROKEN)),
    "write text": (Path, "write_text", (FULL, MemoryError())),
    "write bytes": (Path, "write_bytes", (FULL, MemoryError())),
    "write sound": (soundfile.SoundFile, "write", (FULL, MemoryError())),
    "decode": (soundfile.SoundFile, "read", (BROKEN, MemoryError())),
    "read sound": (Refusing, "readinto", (BROKEN,)),
    "program": (subprocess, "Popen", (BROKEN, FORBIDDEN, os_error(errno.ENOMEM))),
    "temporary file": (tempfile, "TemporaryFile", (FULL,)),
    "temporary folder": (tempfile, "TemporaryDirectory", (FULL,)),
    "speak": (engines, "spoken_by_nobody", (MemoryError(), BROKEN)),
    "memory": (np, "zeros", (MemoryError(),)),
}


class Nobody:
    """An engine that says every word with the same tone."""

    def identity(self, utterance: Utterance) -> str:
        return "nobody"

    def spoken(self, utterance: Utterance) -> RawSpeech:
        frames = np.arange(8_000)
        return engines.spoken_by_nobody(np.sin(frames * 0.3).astype(np.float32) / 4)  # type: ignore[attr-defined]


class Nth:
    """A function whose n-th call raises; the others are counted and go through."""

    def __init__(self, function: Any, number: int | None, error: Exception | None) -> None:
        self.function, self.number, self.error, self.calls = function, number, error, 0

    def __get__(self, one: Any, kind: type | None = None) -> Any:
        """As a method of `one`."""
        return self if one is None else lambda *given, **named: self(one, *given, **named)

    def __call__(self, *given: Any, **named: Any) -> Any:
        self.calls += 1
        if self.calls == self.number and self.error is not None:
            # A new one each time, as the system makes it, with the name of the file where it is known.
            name = next((str(one) for one in given[:1] if isinstance(one, str | Path)), None)
            if isinstance(self.error, OSError):
                raise OSError(self.error.errno, self.error.strerror, name)
            raise type(self.error)
        return self.function(*given, **named)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with plans, music, a track to verify and files from before, named as those to be made."""
    folder = tmp_path_factory.mktemp("prepared")
    (folder / "plans").mkdir()
    (folder / "made").mkdir()
    for name in ("quay", "plans/one", "plans/two"):
        (folder / f"{name}.yaml").write_text(_PLAN, encoding="utf-8")
    (folder / "spoken.yaml").write_text(_PLAN.replace("announce: off, ", ""), encoding="utf-8")
    noise = np.random.default_rng(3).standard_normal(3 * 8_000) / 20
    for place in (folder, folder / "plans"):
        soundfile.write(place / "quay.wav", noise, 8_000)
    command = ["render", str(folder / "quay.yaml"), "-o", str(folder / "whole.wav")]
    assert run([*command, "--rate", "8000", "--channels", "1"]) == 0
    for name in ("quay.wav", "quay.mp3", "quay.timeline.json", "one.wav", "two.wav"):
        (folder / "made" / name).write_text("from before")
    return folder


@pytest.fixture
def nobody_speaks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engines, "spoken_by_nobody", lambda samples: RawSpeech(samples, 8_000), raising=False)
    monkeypatch.setattr(engines, "engine_of", lambda voice, language: Nobody())


@pytest.fixture
def reads_may_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding, "_Unnamed", type("Unnamed", (decoding._Unnamed, Refusing), {}))


def contents(folder: Path) -> dict[str, bytes]:
    """Of all files that are not hidden, and of what is half written."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {
        path.name: path.read_bytes()
        for path in files
        if not path.name.startswith(".") or path.suffix == ".part"
    }


def spread(calls: int) -> Sequence[int]:
    if calls <= _MOST_TRIED:
        return range(1, calls + 1)
    return sorted({1 + round(index * (calls - 1) / (_MOST_TRIED - 1)) for index in range(_MOST_TRIED)})


def fresh(prepared: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(prepared, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setenv("CUETRACK_CACHE_DIR", str(folder / "cache"))
    return folder


# Which commands come to such a call. Where several do the same, one or two of them are tried.
_REACHED = {
    "open": "wav spoken batch verify",
    "create": "wav spoken batch verify preview mp3",
    "rename": "wav spoken batch preview mp3",
    "sync": "wav spoken batch preview mp3",
    "write text": "wav batch m4a",
    "write bytes": "wav",
    "write sound": "wav batch preview",
    "decode": "wav batch verify preview",
    "read sound": "wav verify",
    "program": "mp3 m4a",
    "temporary file": "mp3 verify",
    "temporary folder": "m4a",
    "speak": "spoken",
    "memory": "wav mp3 verify",
}


def cases() -> Iterator[tuple[str, str]]:
    for fault, commands in _REACHED.items():
        for command in commands.split():
            yield command, fault


@pytest.mark.usefixtures("nobody_speaks", "reads_may_fail")
@pytest.mark.parametrize(("command", "fault"), list(cases()))
def test_every_call_of_a_kind_fails_once(
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    command: str,
    fault: str,
) -> None:
    arguments = _COMMANDS[command].split()
    where, name, errors = _FAULTS[fault]

    def tried(number: int | None, error: Exception | None) -> tuple[int, Nth, dict[str, bytes]]:
        folder = fresh(prepared, tmp_path / "run", monkeypatch)
        with monkeypatch.context() as patched:
            nth = Nth(getattr(where, name), number, error)
            patched.setattr(where, name, nth)
            code = run(arguments)
        return code, nth, contents(folder / "made")

    code, counted, new = tried(None, None)
    assert code == 0
    assert counted.calls
    capfd.readouterr()
    old = contents(prepared / "made")
    for error in errors:
        for number in spread(counted.calls):
            code, _, made = tried(number, error)
            said = capfd.readouterr().err
            about = f"call {number} of {counted.calls}, {error!r}: {code}: {said}"
            assert code in (0, 1, 2, 3), about
            assert "Traceback" not in said, about
            assert "fault in cuetrack itself" not in said, about
            if code:
                assert "error: " in said, about
            # Hidden files that are half written are in neither.
            for file in (made.keys() | old.keys()) - {MANIFEST_FILE}:
                allowed = [new.get(file)] if code == 0 else [old.get(file), new.get(file)]
                assert made.get(file) in allowed, f"{file}: {about}"


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX limits")
@pytest.mark.parametrize("share", [0.0, 0.5, 0.99])
@pytest.mark.parametrize("command", ["wav", "mp3", "m4a", "batch", "preview"])
def test_a_disk_that_is_full_after_a_share_of_the_sound(
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
    share: float,
) -> None:
    """By a limit on the size of files, which binds all that writes: libsndfile and ffmpeg, too."""
    import resource

    folder = fresh(prepared, tmp_path / "run", monkeypatch)
    assert run(_COMMANDS[command].split()) == 0
    endings = (".wav", ".mp3", ".m4a")
    sizes = [len(data) for name, data in contents(folder / "made").items() if name.endswith(endings)]
    folder = fresh(prepared, tmp_path / "run", monkeypatch)
    capsys.readouterr()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(share * max(sizes)), hard))
    try:
        code = run(_COMMANDS[command].split())
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    said = capsys.readouterr().err
    assert code == 1, said
    assert "could not be written: the disk takes no file of that size" in said
    assert "Traceback" not in said
    old, made = contents(prepared / "made"), contents(folder / "made")
    assert {name: made[name] for name in made if name != MANIFEST_FILE} == old


@pytest.mark.parametrize("command", ["wav", "mp3", "batch"])
def test_a_disk_that_is_full(
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    command: str,
) -> None:
    folder = fresh(prepared, tmp_path / "run", monkeypatch)
    shutil.rmtree(folder / "made")
    (folder / "made").mkdir()
    with small_disk(folder / "made", 12 * 1024):
        (folder / "made" / "quay.mp3").write_text("from before")
        assert run(_COMMANDS[command].split()) == 1
        assert contents(folder / "made").keys() <= {"quay.mp3", MANIFEST_FILE}
        assert (folder / "made" / "quay.mp3").read_text() == "from before"
    said = capfd.readouterr().err
    assert "there is no room left on the disk" in said or "MB left; free some" in said
    assert "Traceback" not in said


@contextmanager
def small_disk(place: Path, size_bytes: int) -> Iterator[None]:
    """A disk in memory of that size, where we may mount one; else the test is skipped."""
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size_bytes}", "small", str(place)]
    try:
        mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        mounted = False
    if not mounted:
        pytest.skip("nobody but the superuser may mount a small disk")
    try:
        yield
    finally:
        subprocess.run(["umount", str(place)], check=True)  # noqa: S607 - as the shell finds it


def test_music_that_vanishes_after_the_check(
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = fresh(prepared, tmp_path / "run", monkeypatch)
    sounded = build.sounded

    def vanished(*given: Any) -> Any:
        (folder / "quay.wav").unlink()
        return sounded(*given)

    monkeypatch.setattr(build, "sounded", vanished)
    assert run(_COMMANDS["wav"].split()) == 1
    assert "quay.yaml:3:13: error: quay.wav is not there" in capsys.readouterr().err
    assert contents(folder / "made") == contents(prepared / "made")


def test_a_fault_of_ours_is_told_even_where_its_report_cannot_be_kept(
    prepared: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    fresh(prepared, tmp_path / "run", monkeypatch)
    monkeypatch.setattr(build, "sounded", Nth(build.sounded, 1, ZeroDivisionError()))
    monkeypatch.setattr(tempfile, "NamedTemporaryFile", Nth(tempfile.NamedTemporaryFile, 1, FULL))
    assert run(_COMMANDS["wav"].split()) == 1
    assert "a fault in cuetrack itself, not in your plan (ZeroDivisionError)" in capsys.readouterr().err
