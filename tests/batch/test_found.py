"""Which files of a folder are plans."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.batch.found import is_series, plans_below

PLAN = "session: Quay\nparts: []\n"
SERIES = "series: Winter\nsessions: []\n"
VOICE = "name: clear\nengine: piper\n"


@pytest.mark.parametrize(
    ("name", "text", "is_one"),
    [
        ("quay.yaml", PLAN, True),
        ("quay.yml", PLAN, True),
        ("QUAY.YAML", PLAN, True),
        ("broken.yaml", "parts: [", True),
        ("flow.yaml", '{"session": "Quay", "parts": []}', True),
        ("empty.yaml", "", True),
        ("winter.yaml", SERIES, False),
        ("clear.yaml", VOICE, False),
        ("house.yaml", "voice: clear\n", False),
        (".hidden.yaml", PLAN, False),
        ("notes.txt", PLAN, False),
        ("both.yaml", PLAN + "sessions: 3\n", True),
    ],
)
def test_plans_are_told_from_other_files(tmp_path: Path, name: str, text: str, is_one: bool) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    found = list(plans_below(tmp_path, but_not_in=tmp_path / "tracks", but_not="house.yaml"))
    assert found == ([tmp_path / name] if is_one else [])


def test_folders_below_are_looked_through_in_order_but_for_tracks_and_hidden_ones(tmp_path: Path) -> None:
    for name in ("b/quay.yaml", "a/quay.yaml", "tracks/quay.yaml", ".git/quay.yaml", "quay.yaml"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(PLAN, encoding="utf-8")
    found = plans_below(tmp_path, but_not_in=tmp_path / "tracks", but_not="house.yaml")
    assert [path.relative_to(tmp_path).as_posix() for path in found] == [
        "quay.yaml",
        "a/quay.yaml",
        "b/quay.yaml",
    ]


def test_links_to_folders_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "plans").mkdir()
    (tmp_path / "plans" / "loop").symlink_to(tmp_path, target_is_directory=True)
    assert list(plans_below(tmp_path / "plans", but_not_in=tmp_path / "tracks", but_not="house.yaml")) == []


def test_a_series_is_known_by_its_sessions(tmp_path: Path) -> None:
    path = tmp_path / "winter.yaml"
    path.write_text(SERIES, encoding="utf-8")
    assert is_series(path)
    path.write_text(PLAN, encoding="utf-8")
    assert not is_series(path)
    assert not is_series(tmp_path)


def test_a_byte_order_mark_hides_no_key(tmp_path: Path) -> None:
    """Some editors put one before the first letter."""
    series, plan = tmp_path / "winter.yaml", tmp_path / "quay.yaml"
    series.write_text("sessions: []\nseries: Winter\n", encoding="utf-8-sig")
    plan.write_text("session: Quay\nengine: none\n", encoding="utf-8-sig")
    assert is_series(series)
    assert list(plans_below(tmp_path, but_not_in=tmp_path / "tracks", but_not="house.yaml")) == [plan]
