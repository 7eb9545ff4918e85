"""Each broken plan is refused with the exact words that stand beside it, and so is what is no plan at all.

The words were judged one by one before they were kept: right, at the right place, of use to a coach.
`python -m tests.plan.rebuild_cases` writes them anew.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from cuetrack.document.source import MAX_SOURCE_BYTES
from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan, read_plan
from tests.plan.rebuild_cases import CASES, said_about

PLANS = sorted(CASES.glob("*.yaml"))
NEW = "    hint: `cuetrack new` writes a plan to begin with"


def test_there_are_cases_and_each_has_its_words() -> None:
    assert len(PLANS) >= 150
    assert sorted(CASES.iterdir()) == sorted([*PLANS, *(plan.with_suffix(".txt") for plan in PLANS)])


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_broken_plan_is_refused_in_these_words(plan: Path) -> None:
    assert said_about(plan) == plan.with_suffix(".txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.stem)
def test_case_has_one_fault_unless_its_name_says_otherwise(plan: Path) -> None:
    several = {"several-mistakes", "tab-in-indentation", "key-in-capitals", "stage-without-time"}
    said = plan.with_suffix(".txt").read_text(encoding="utf-8")
    found = re.findall(rf"^{re.escape(plan.name)}:\d+:\d+: error: ", said, re.MULTILINE)
    assert len(found) > 1 if plan.stem in several else len(found) == 1


def refused(path: Path) -> str:
    """What is said about the file, under its bare name."""
    with pytest.raises(PlanError) as caught:
        read_plan(path)
    return str(caught.value).replace(f"{path.parent}{os.sep}", "")


@pytest.mark.parametrize(
    ("name", "data", "expected"),
    [
        (
            "nul.yaml",
            b"session: Quay\0circuit\n",
            "nul.yaml:1:14: error: control character U+0000 in the text\n"
            "    session: Quay circuit\n"
            "                 ^\n"
            "    hint: remove it; it cannot be seen or spoken",
        ),
        (
            "latin-1.yaml",
            "session: Quay\nparts:\n  - part: Aufwärmen\n".encode("latin-1"),
            "latin-1.yaml:3:15: error: byte 0xE4 is not UTF-8 text\n"
            "    - part: Aufw�rmen\n"
            "                ^\n"
            "    hint: save the file with the encoding UTF-8",
        ),
        (
            "utf-16.yaml",
            b"\xff\xfe" + "session: Quay\n".encode("utf-16-le"),
            "utf-16.yaml:1:1: error: byte 0xFF is not UTF-8 text\n"
            "    ��s e s s i o n :   Q u a y\n"
            "    ^\n"
            "    hint: save the file with the encoding UTF-8",
        ),
        (
            "large.yaml",
            b"# Sit tall, elbows close\n" * 400_000,  # 10 MB
            "large.yaml:1:1: error: larger than 256 KiB\n    hint: a plan is a text of at most 256 KiB",
        ),
        ("bom-alone.yaml", b"\xef\xbb\xbf", f"bom-alone.yaml:1:1: error: the file is empty\n{NEW}"),
        (
            "crlf.yaml",
            b"session: Quay\r\nlenght: 20:00\r\nparts: []\r\n",
            "crlf.yaml:2:1: error: unknown key 'lenght'\n"
            "    lenght: 20:00\n"
            "    ^^^^^^\n"
            "    hint: did you mean 'length'?\n"
            "crlf.yaml:3:8: error: 'parts' is empty\n"
            "    parts: []\n"
            "           ^^\n"
            "    hint: give at least one item",
        ),
        (
            "bom-in-the-middle.yaml",
            b"session: Quay\n\xef\xbb\xbfparts: []\n",
            "bom-in-the-middle.yaml:2:1: error: control character U+FEFF in the text\n"
            "     parts: []\n"
            "    ^\n"
            "    hint: remove it; it cannot be seen or spoken",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) and value.endswith(".yaml") else "",
)
def test_bytes_that_are_no_plan(tmp_path: Path, name: str, data: bytes, expected: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    assert refused(path) == expected


def test_the_largest_file_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(b"#" * (MAX_SOURCE_BYTES - 1) + b"\n")
    assert "nothing is written in this file" in refused(path)
    path.write_bytes(b"#" * MAX_SOURCE_BYTES + b"\n")
    assert "larger than 256 KiB" in refused(path)


def test_many_forbidden_characters_are_counted_not_listed(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(b"session: Quay\n" + b"\x07\n" * 500)
    said = refused(path)
    assert said.count("control character U+0007") == 19
    assert "plan.yaml:21:1: error: 481 more characters that are not allowed, from here on" in said


def test_missing_file(tmp_path: Path) -> None:
    assert refused(tmp_path / "plan.yaml") == f"plan.yaml:1:1: error: no such file\n{NEW}"


def test_folder(tmp_path: Path) -> None:
    folder = tmp_path / "plans"
    folder.mkdir()
    expected = "plans:1:1: error: this is a folder\n    hint: name a text file that holds a plan"
    assert refused(folder) == expected


def test_file_inside_a_file(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("session: Quay\n")
    assert "cannot be read: Not a directory" in refused(tmp_path / "plan.yaml" / "plan.yaml")


def test_name_that_no_file_can_have() -> None:
    assert "cannot be read" in refused(Path("a" * 5000))
    assert "cannot be read" in refused(Path("a\0b"))


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs a device file")
def test_device_file_is_not_read() -> None:
    assert "/dev/zero:1:1: error: this is no ordinary file" in f"/dev/{refused(Path('/dev/zero'))}"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_named_pipe_is_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    assert "pipe.yaml:1:1: error: this is no ordinary file" in refused(pipe)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything"
)
def test_unreadable_file(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_text("session: Quay\n")
    path.chmod(0)
    assert "plan.yaml:1:1: error: cannot be read: Permission denied" in refused(path)


def test_text_without_a_file_is_reported_under_the_name_given() -> None:
    with pytest.raises(PlanError, match=r"^thursday:1:1: error: the file is empty"):
        parse_plan("", "thursday")
