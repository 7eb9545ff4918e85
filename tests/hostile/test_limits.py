"""The limits that a user sets: a plan over one is refused with its name, nonsense is refused too."""

from __future__ import annotations

from fractions import Fraction

import pytest

from cuetrack.errors import UsageError
from cuetrack.limits import MOST_GB, MOST_HOURS, most_bytes, most_hours
from tests.hostile.stranger import NEW_FILES, PARTS, Stranger

HOUR = PARTS.replace("work: 2s", "work: 1:00:00")


def test_without_a_word_a_day_and_64_gb(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in (MOST_HOURS, MOST_GB):
        monkeypatch.delenv(name, raising=False)
    assert (most_hours(), most_bytes()) == (24, 64_000_000_000)


@pytest.mark.parametrize(
    ("text", "hours"), [("2", 2), ("1.5", Fraction(3, 2)), (" 24 ", 24), ("0.02", Fraction(1, 50)), ("", 24)]
)
def test_hours_are_as_they_are_set(monkeypatch: pytest.MonkeyPatch, text: str, hours: Fraction) -> None:
    monkeypatch.setenv(MOST_HOURS, text)
    assert most_hours() == hours


@pytest.mark.parametrize("name", [MOST_HOURS, MOST_GB])
@pytest.mark.parametrize(
    "text", ["0", "-1", "1e3", "inf", "nan", "24h", "1000000", "٣", "9" * 5_000, "0x10", "1_0"]
)
def test_nonsense_is_refused(monkeypatch: pytest.MonkeyPatch, name: str, text: str) -> None:
    monkeypatch.setenv(name, text)
    with pytest.raises(UsageError, match=name) as caught:
        (most_hours if name == MOST_HOURS else most_bytes)()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize("command", ["check", "timeline", "review", "render", "preview"])
def test_a_session_over_the_hours_is_refused_before_anything_is_made(
    stranger: Stranger, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setenv(MOST_HOURS, "0.5")
    naming = f"the session lasts 60 min, and {MOST_HOURS} allows 30 min"
    said = stranger.refused(command, stranger.plan(parts=HOUR), naming=naming)
    assert "plan.yaml:" in said


def test_a_session_of_just_the_hours_is_allowed(stranger: Stranger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(MOST_HOURS, "1")
    assert stranger.run("check", stranger.plan(parts=HOUR)).code == 0


def test_nonsense_in_the_environment_ends_a_command(
    stranger: Stranger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(MOST_HOURS, "many")
    stranger.refused("check", stranger.plan(), naming=f"{MOST_HOURS} is 'many'", code=2)


# 60 s at 48 kHz: 17.3 MB as 24-bit stereo; 23 MB a stem, of which there is one; 1.2 MB as MP3.
MINUTE = PARTS.replace("work: 2s", "work: 60s")
BED = "bed: {pulse: 120 bpm}"


@pytest.mark.parametrize(
    ("more", "size"),
    [
        ([], "0.0173 GB"),
        (["--stems"], "0.0403 GB"),
        (["--mix", "class", "--mix", "film", "--mix", "ear"], "0.0518 GB"),
        (["-o", "HOME/plan.flac"], "0.0173 GB"),
        (["-o", "HOME/plan.mp3"], "0.0012 GB"),
    ],
    ids=["WAV", "stems", "three mixes", "FLAC", "MP3"],
)
def test_sound_over_the_size_is_refused_by_its_size(
    stranger: Stranger, monkeypatch: pytest.MonkeyPatch, more: list[str], size: str
) -> None:
    monkeypatch.setenv(MOST_GB, "0.001")
    arguments = [word.replace("HOME", str(stranger.home)) for word in more]
    naming = f"the sound files may take {size}, and {MOST_GB} allows 0.001 GB"
    stranger.refused("render", stranger.plan(BED, MINUTE), *arguments, naming=naming, code=2)


def test_sound_under_the_size_is_written(stranger: Stranger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(MOST_GB, "0.0173")
    assert stranger.run("render", stranger.plan(BED, MINUTE), may_write=NEW_FILES).code == 0


def test_a_page_carries_no_day_of_sound(stranger: Stranger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cuetrack.build._MOST_CARRIED_BYTES", 1_000_000)
    target = stranger.home / "plan.wav"
    arguments = ("-o", target, "--with", "player", "--sound-inside")
    stranger.refused(
        "render", stranger.plan(BED, MINUTE), *arguments, naming="--sound-inside carries 1 MB at most", code=2
    )
