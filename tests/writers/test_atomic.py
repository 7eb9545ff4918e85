"""The first rule of writing: a file appears whole or not at all."""

from __future__ import annotations

import errno
import os
import re
import signal
import subprocess
import sys
import tempfile
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from cuetrack.errors import WriteError
from cuetrack.writers.atomic import atomic_files

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals, permissions or files")


def names_in(folder):
    return sorted(entry.name for entry in folder.iterdir())


def write(*targets, text="new", **options):
    with atomic_files(*targets, **options) as paths:
        for path in paths:
            path.write_text(text)


def test_the_files_appear_together_at_the_end(tmp_path):
    sound, table = tmp_path / "quay.wav", tmp_path / "quay.json"
    sound.write_text("old")
    with atomic_files(sound, table) as (sound_path, table_path):
        sound_path.write_text("new sound")
        table_path.write_text("new table")
        assert sound.read_text() == "old"
        assert not table.exists()
    assert (sound.read_text(), table.read_text()) == ("new sound", "new table")
    assert names_in(tmp_path) == ["quay.json", "quay.wav"]


def test_hidden_files_lie_beside_their_targets_and_say_whose_they_are(tmp_path):
    with atomic_files(tmp_path / "quay.wav") as (path,):
        assert path.parent == tmp_path
        assert re.fullmatch(rf"\.quay\.wav\.[0-9a-f]{{8}}-{os.getpid()}-[0-9a-f]{{8}}\.part", path.name)


def test_two_writers_of_one_target_do_not_share_a_hidden_file(tmp_path):
    target = tmp_path / "quay.wav"
    with atomic_files(target) as (one,), atomic_files(target) as (other,):
        one.write_text("one")
        other.write_text("other")
    assert target.read_text() == "one"  # the last to finish


@pytest.mark.parametrize("failure", [KeyboardInterrupt, SystemExit, ValueError, MemoryError, OSError])
def test_any_exception_leaves_what_stood_there(tmp_path, failure):
    sound, table = tmp_path / "quay.wav", tmp_path / "quay.json"
    sound.write_text("old")

    def fail_halfway():
        with atomic_files(sound, table) as (path, _):
            path.write_text("half of the n")
            raise failure

    with pytest.raises(WriteError if failure is OSError else failure):
        fail_halfway()
    assert names_in(tmp_path) == ["quay.wav"]
    assert sound.read_text() == "old"


def test_the_content_is_on_the_disk_before_a_name_is_changed(tmp_path, monkeypatch):
    done = []
    fsync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append("sync"), fsync(handle)))
    monkeypatch.setattr(Path, "replace", lambda a, b: (done.append("rename"), replace(a, b)))
    write(tmp_path / "quay.wav", tmp_path / "quay.json")
    assert done[:4] == ["sync", "sync", "rename", "rename"]
    # And then the folder that holds the names, where a folder can be synced.
    assert done[4:] == ([] if os.name == "nt" else ["sync"])


@pytest.mark.parametrize("interrupted_rename", [0, 1])
@pytest.mark.parametrize("before", [True, False])
def test_an_interrupt_between_two_renames_waits_for_the_second(
    tmp_path, monkeypatch, interrupted_rename, before
):
    sound, table = tmp_path / "quay.wav", tmp_path / "quay.json"
    sound.write_text("old")
    calls = []
    replace = Path.replace

    def interrupted(path, target):
        calls.append(target)
        if before and len(calls) == interrupted_rename + 1:
            raise KeyboardInterrupt
        replace(path, target)
        if len(calls) == interrupted_rename + 1:
            raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write(sound, table)
    assert (sound.read_text(), table.read_text()) == ("new", "new")
    assert names_in(tmp_path) == ["quay.json", "quay.wav"]


def test_a_full_disk_that_only_the_last_sync_reports(tmp_path, monkeypatch):
    """Some file systems notice a full disk or a used-up share only then (`man 2 fsync`, ENOSPC)."""

    def no_room(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    target = tmp_path / "quay.wav"
    target.write_text("old")
    monkeypatch.setattr(os, "fsync", no_room)
    with pytest.raises(WriteError, match=r"quay\.wav could not be written: there is no room left"):
        write(target)
    assert target.read_text() == "old"
    assert names_in(tmp_path) == ["quay.wav"]


def test_too_little_room_is_refused_before_anything_is_made(tmp_path):
    target = tmp_path / "quay.wav"
    with (
        pytest.raises(WriteError, match=r"it needs 4,611,686,018,427\.4 MB and the disk has [\d,.]+ MB left"),
        atomic_files(target, needed_bytes=2**62),
    ):
        pytest.fail("the block must not begin")
    assert names_in(tmp_path) == []


def test_a_folder_that_is_not_there_is_made_and_goes_again_if_nothing_comes_into_it(tmp_path):
    folder = tmp_path / "tuesday"
    with suppress(KeyboardInterrupt), atomic_files(folder / "quay.wav"):
        assert folder.is_dir()
        raise KeyboardInterrupt
    assert names_in(tmp_path) == []
    write(folder / "quay.wav")
    assert names_in(folder) == ["quay.wav"]


def test_one_folder_is_made_and_no_more(tmp_path):
    """A disk that is not there is not replaced by a folder of its name and the files in it."""
    with pytest.raises(WriteError, match=r"the folder .*tuesday could not be made: .*nowhere does not exist"):
        write(tmp_path / "nowhere" / "tuesday" / "quay.wav")
    assert names_in(tmp_path) == []


def test_a_folder_that_is_a_file(tmp_path):
    (tmp_path / "plan.yaml").write_text("session: Quay")
    with pytest.raises(
        WriteError, match=r"quay\.wav could not be written: what should be its folder is a file"
    ):
        write(tmp_path / "plan.yaml" / "quay.wav")


def test_a_target_that_is_a_folder(tmp_path):
    (tmp_path / "quay.wav").mkdir()
    with pytest.raises(WriteError, match=r"quay\.wav could not be written: it is a folder"):
        write(tmp_path / "quay.wav")


def test_a_name_that_is_too_long(tmp_path):
    with pytest.raises(WriteError, match=r"w\.wav could not be written: the name is too long"):
        write(tmp_path / ("w" * 300 + ".wav"))


@pytest.mark.parametrize("letter", ["w", "潮"])
def test_the_longest_name_there_is(tmp_path, letter):
    """255 bytes; the hidden name must not be longer."""
    longest = tmp_path / (letter * (251 // len(letter.encode())) + ".wav")
    write(longest)
    assert longest.read_text() == "new"


@posix_only
def test_what_is_no_ordinary_file_is_left_alone(tmp_path):
    os.mkfifo(tmp_path / "quay.wav")
    with pytest.raises(WriteError, match=r"quay\.wav is no ordinary file and is left as it is"):
        write(tmp_path / "quay.wav")
    assert (tmp_path / "quay.wav").is_fifo()
    assert names_in(tmp_path) == ["quay.wav"]


@posix_only
def test_a_second_target_that_cannot_be_written_spoils_neither(tmp_path):
    sound, table = tmp_path / "quay.wav", tmp_path / "quay.json"
    sound.write_text("old")
    table.mkdir()
    with pytest.raises(WriteError, match=r"quay\.json could not be written: it is a folder"):
        write(sound, table)
    assert sound.read_text() == "old"
    assert names_in(tmp_path) == ["quay.json", "quay.wav"]


def test_an_error_about_another_file_passes_as_it_is(tmp_path):
    with pytest.raises(FileNotFoundError, match="bed"), atomic_files(tmp_path / "quay.wav"):
        (tmp_path / "bed.ogg").read_bytes()
    assert names_in(tmp_path) == []


@posix_only
def test_a_link_is_followed(tmp_path):
    real, link = tmp_path / "shelf" / "quay.wav", tmp_path / "quay.wav"
    real.parent.mkdir()
    real.write_text("old")
    link.symlink_to(real)
    write(link)
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert names_in(tmp_path / "shelf") == ["quay.wav"]


@posix_only
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664])
def test_a_replaced_file_keeps_its_permissions(tmp_path, mode):
    target = tmp_path / "quay.wav"
    target.write_text("old")
    target.chmod(mode)
    write(target)
    assert target.read_text() == "new"
    assert target.stat().st_mode & 0o777 == mode


@posix_only
def test_a_new_file_gets_the_permissions_of_any_new_file(tmp_path):
    (tmp_path / "plain.txt").write_text("")
    write(tmp_path / "quay.wav")
    assert (tmp_path / "quay.wav").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


@contextmanager
def folder_of_an_ordinary_user():
    """A folder in which permissions bind us: the superuser, whom none bind, becomes somebody else."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o777)
        is_superuser = os.geteuid() == 0
        if is_superuser:
            os.seteuid(65_534)
        try:
            yield folder
        finally:
            if is_superuser:
                os.seteuid(0)


@posix_only
def test_a_folder_that_may_not_be_written_to():
    with folder_of_an_ordinary_user() as folder:
        closed = folder / "closed"
        closed.mkdir()
        closed.chmod(0o555)
        with pytest.raises(WriteError, match=r"quay\.wav could not be written: this is not allowed here"):
            write(closed / "quay.wav")
        closed.chmod(0o755)
        assert names_in(closed) == []


@posix_only
def test_a_write_protected_file_is_not_replaced():
    with folder_of_an_ordinary_user() as folder:
        target = folder / "quay.wav"
        target.write_text("old")
        target.chmod(0o444)
        with pytest.raises(WriteError, match=r"quay\.wav could not be written: this is not allowed here"):
            write(target)
        assert target.read_text() == "old"
        assert names_in(folder) == ["quay.wav"]


LONG_WRITE = """
import signal, sys, time
from pathlib import Path
from cuetrack.writers.atomic import atomic_files
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may have started us deaf to it
with atomic_files(Path(sys.argv[1])) as (path,):
    path.write_text("half of the n")
    print("writing", flush=True)
    # In short naps: a signal just before one of a minute would be looked at after it.
    for _ in range(600):
        time.sleep(0.1)
"""


@posix_only
@pytest.mark.parametrize(("sent", "left_over"), [(signal.SIGINT, 0), (signal.SIGKILL, 1)])
def test_a_stopped_process_leaves_what_stood_there(tmp_path, sent, left_over):
    """Ctrl-C cleans up; a killed process cannot, but what it leaves is hidden and is not the target."""
    target = tmp_path / "quay.wav"
    target.write_text("old")
    command = [sys.executable, "-c", LONG_WRITE, str(target)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout.readline() == "writing\n"
        process.send_signal(sent)
        assert process.wait(30) == -sent
    assert target.read_text() == "old"
    assert len([name for name in names_in(tmp_path) if name.endswith(".part")]) == left_over
