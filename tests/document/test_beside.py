"""Files that a plan names: those of its own folder, and nothing else without a word from the user."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from cuetrack.document.beside import file_beside
from cuetrack.errors import CuetrackError, NamedFileError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A plan's folder with a bed in it and one in a folder of its own; a file beside the folder."""
    plans = tmp_path / "plans"
    (plans / "beds").mkdir(parents=True)
    for file in (plans / "tide.ogg", plans / "beds" / "ebb tide.ogg", tmp_path / "private.ogg"):
        file.write_bytes(b"sound")
    return plans


def refusal(written: str, folder: Path, *, allow_outside: bool = False) -> tuple[str, str]:
    with pytest.raises(NamedFileError) as caught:
        file_beside(written, folder, allow_outside=allow_outside)
    assert isinstance(caught.value, CuetrackError)
    assert str(folder) not in str(caught.value).replace(repr(written), "")  # nothing of this machine is told
    return str(caught.value), caught.value.hint


@pytest.mark.parametrize(
    "written", ["tide.ogg", "./tide.ogg", "beds/../tide.ogg", "beds/ebb tide.ogg", "../plans/tide.ogg"]
)
def test_files_in_the_folder(folder: Path, written: str) -> None:
    assert file_beside(written, folder) == folder / written
    assert file_beside(written, folder).read_bytes() == b"sound"


def test_absolute_name_of_a_file_in_the_folder(folder: Path) -> None:
    assert file_beside(str(folder / "tide.ogg"), folder) == folder / "tide.ogg"


def test_folder_that_is_not_absolute(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder.parent)
    assert file_beside("tide.ogg", Path("plans")) == Path("plans/tide.ogg")
    monkeypatch.chdir(folder)
    assert file_beside("tide.ogg", Path()) == Path("tide.ogg")
    assert refusal("../private.ogg", Path())[0] == "'../private.ogg' lies outside the plan's folder"


OUTSIDE = "put a copy beside the plan, or say --allow-outside"


@pytest.mark.parametrize("written", ["../private.ogg", "beds/../../private.ogg", "..", "../not-there.ogg"])
def test_files_outside_are_refused_whether_they_are_there_or_not(folder: Path, written: str) -> None:
    assert refusal(written, folder) == (f"{written!r} lies outside the plan's folder", OUTSIDE)


def test_neighbour_folder_whose_name_begins_alike_is_outside(folder: Path) -> None:
    (folder.parent / "plans-of-others").mkdir()
    (folder.parent / "plans-of-others" / "tide.ogg").write_bytes(b"sound")
    assert refusal("../plans-of-others/tide.ogg", folder)[1] == OUTSIDE


def test_absolute_name_outside_is_refused(folder: Path) -> None:
    written = str(folder.parent / "private.ogg")
    assert refusal(written, folder) == (f"{written!r} lies outside the plan's folder", OUTSIDE)


def test_outside_is_read_if_the_user_says_so(folder: Path) -> None:
    assert file_beside("../private.ogg", folder, allow_outside=True).read_bytes() == b"sound"
    written = str(folder.parent / "private.ogg")
    assert file_beside(written, folder, allow_outside=True) == Path(written)
    assert refusal("../privat.ogg", folder, allow_outside=True) == (
        "there is no file '../privat.ogg'",
        "did you mean '../private.ogg'?",
    )


def linked(link: Path, target: str | Path) -> None:
    try:
        link.symlink_to(target)
    except (OSError, NotImplementedError):
        pytest.skip("no links can be made here")


def test_links_are_followed_before_they_are_judged(folder: Path) -> None:
    linked(folder / "inside.ogg", "beds/ebb tide.ogg")
    linked(folder / "outside.ogg", folder.parent / "private.ogg")
    linked(folder / "all", folder.parent)
    assert file_beside("inside.ogg", folder).read_bytes() == b"sound"
    assert refusal("outside.ogg", folder)[1] == OUTSIDE
    assert refusal("all/private.ogg", folder)[1] == OUTSIDE
    assert file_beside("outside.ogg", folder, allow_outside=True).read_bytes() == b"sound"


def test_plan_folder_may_itself_be_a_link(folder: Path) -> None:
    linked(folder.parent / "this-winter", folder)
    found = file_beside("tide.ogg", folder.parent / "this-winter")
    assert found.read_bytes() == b"sound"


def test_links_that_lead_nowhere(folder: Path) -> None:
    linked(folder / "gone.ogg", "not-there.ogg")
    linked(folder / "round.ogg", "round.ogg")
    assert refusal("gone.ogg", folder)[0] == "there is no file 'gone.ogg'"
    # As a Python tells it that follows a loop, or that refuses to.
    assert refusal("round.ogg", folder)[0] in {
        "there is no file 'round.ogg'",
        "'round.ogg' cannot be a file here",
    }


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("tid.ogg", "did you mean 'tide.ogg'?"),
        ("tide.oga", "did you mean 'tide.ogg'?"),
        ("gone.ogg", "put it beside the plan, or check the name"),
        ("Tide.OGG", "did you mean 'tide.ogg'?"),
        ("beds/ebbtide.ogg", "did you mean 'beds/ebb tide.ogg'?"),
        ("thunder.wav", "put it beside the plan, or check the name"),
        ("music/tide.ogg", "put it beside the plan, or check the name"),
        ("tide.ogg/tide.ogg", "put it beside the plan, or check the name"),
        ("~/tide.ogg", "put it beside the plan, or check the name"),
    ],
)
def test_what_is_not_there(folder: Path, written: str, hint: str) -> None:
    if written == "Tide.OGG" and (folder / written).exists():
        pytest.skip("names that differ in capitals are one name here")
    assert refusal(written, folder) == (f"there is no file {written!r}", hint)


@pytest.mark.parametrize("written", ["beds", ".", "beds/.."])
def test_folders_are_no_files(folder: Path, written: str) -> None:
    assert refusal(written, folder) == (f"{written!r} is a folder", "name a file")


@pytest.mark.parametrize(
    ("written", "shown"),
    [("tide\0.ogg", r"'tide\x00.ogg'"), ("x" * 400, f"'{'x' * 39}…'")],
    ids=["nul", "too long"],
)
def test_names_that_no_file_can_have(folder: Path, written: str, shown: str) -> None:
    message, hint = refusal(written, folder)
    assert message.startswith((f"{shown} cannot be a file here", "there is no file"))
    assert hint


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_named_pipe_and_device_are_no_ordinary_files(folder: Path) -> None:
    os.mkfifo(folder / "pipe.ogg")
    assert refusal("pipe.ogg", folder) == ("'pipe.ogg' is no ordinary file", "name a file")
    if Path("/dev/zero").exists():
        assert refusal("/dev/zero", folder)[1] == OUTSIDE
        assert refusal("/dev/zero", folder, allow_outside=True) == (
            "'/dev/zero' is no ordinary file",
            "name a file",
        )


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may look everywhere"
)
def test_folder_that_may_not_be_looked_into(folder: Path) -> None:
    (folder / "beds").chmod(0)
    try:
        assert "Permission denied" in refusal("beds/ebb tide.ogg", folder)[0]
    finally:
        (folder / "beds").chmod(0o700)
