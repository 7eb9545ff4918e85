"""A preview against the render of the same plan: every stretch the same, sample for sample."""

from __future__ import annotations

import json
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from cuetrack import build, build_preview
from cuetrack.build_preview import Choice, Preview
from cuetrack.cli.commands import commands
from cuetrack.cli.countdown import Countdown, machine_clock, programme_frames, show_countdown
from cuetrack.timebase import Duration

PLAN = """
session: Quay preview
voice: system
bed: {pulse: 120 bpm}
lead-in: 20s
parts:
  - part: Circuit
    rest: 30s
    steps:
      - {move: Band row, work: 40s, sides: both, setup: Sit tall., equipment: [band]}
      - {move: Press, stages: [{slow: 20s}, {fast: 30s}]}
"""


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("quay") / "quay.yaml"
    path.write_text(PLAN, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def whole(plan: Path) -> np.ndarray:
    target = plan.with_name("whole.wav")
    build.render(plan, target, quality="best")
    return soundfile.read(target, dtype="float32", always_2d=True)[0]


@pytest.fixture(scope="module")
def ready(plan: Path) -> Preview:
    return build_preview.preview(plan, Choice())


@pytest.mark.parametrize(
    "choice",
    [
        Choice(),
        Choice(around=Duration(Fraction(5, 2))),
        Choice(move="Press"),
        Choice(start=Duration(Fraction(61, 3)), end=Duration(Fraction(300, 2))),
        Choice(around=None, part="Circuit"),
    ],
)
def test_each_stretch_is_that_of_the_render(plan, whole, choice):
    ready = build_preview.preview(plan, choice)
    heard = np.concatenate(list(ready.blocks()))
    assert len(heard) == ready.frames
    for start, stretch in zip(ready.starts, ready.stretches, strict=True):
        kept = heard[start : start + stretch.frames]
        assert np.array_equal(kept, whole[stretch.start_frame : stretch.end_frame])
    # Between them lies a tone, so nobody takes the skip for the session.
    for start, stretch, after in zip(ready.starts, ready.stretches, ready.starts[1:], strict=False):
        between = heard[start + stretch.frames : after]
        assert np.abs(between).max() > 0.01
        assert np.abs(heard[after - 1]).max() <= np.abs(whole).max()


def test_no_edge_jumps_more_than_the_music_does(ready, whole):
    heard = np.concatenate(list(ready.blocks()))
    most = np.abs(np.diff(whole, axis=0)).max()
    assert np.abs(np.diff(heard, axis=0)).max() <= most


def test_the_countdown_shows_what_holds(ready):
    countdown, rate_hz = Countdown(ready.arrangement), ready.arrangement.rate_hz
    first = countdown.at(0)
    assert (first.now, first.seconds_left) == ("Get ready", 20)
    assert first.next == "Band row · left side — Sit tall. — band"
    assert countdown.at(20 * rate_hz - 1).seconds_left == 1
    start = countdown.at(20 * rate_hz)
    assert (start.now, start.seconds_left, start.called) == ("Band row · left side", 40, "♪ count-long")
    assert start.next == "Band row · right side — Sit tall. — band"
    assert countdown.at(ready.arrangement.frames - 1).next == "Finished"


def test_the_countdown_follows_the_stretches_to_the_frame(ready):
    shown = {}
    for at in range(0, ready.frames, 997):
        (shown[at],) = programme_frames(ready, iter([at, None]).__next__)
    for at, frame in shown.items():
        inside = [
            stretch.start_frame + at - start
            for start, stretch in zip(ready.starts, ready.stretches, strict=True)
            if start <= at < start + stretch.frames
        ]
        assert inside in ([], [frame])
    assert list(shown.values()) == sorted(shown.values())


def test_a_clock_runs_at_the_chosen_speed():
    seconds = iter([100.0, 100.0, 100.5, 101.0, 103.0])
    clock = machine_clock(48_000 * 4, 48_000, 2.0, lambda: next(seconds))
    assert [clock() for _ in range(4)] == [0, 48_000, 96_000, None]


def test_without_a_terminal_a_line_tells_each_change(ready, capsys):
    at = iter([*range(0, ready.frames, 24_000), None])
    show_countdown(ready, lambda: next(at), sleep=lambda seconds: None)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == "0:19 1 s Get ready → Band row · left side — Sit tall. — band".split()  # noqa: SIM905
    assert len(lines) == 8


def test_the_command_writes_a_file_and_its_stretches(plan, tmp_path):
    target = tmp_path / "short.flac"
    result = CliRunner().invoke(commands, ["preview", str(plan), "-o", str(target), "--json"])
    assert result.exit_code == 0, result.output
    answer = json.loads(result.stdout)
    assert soundfile.info(target).frames == answer["frames"]
    assert sum(one["frames"] for one in answer["stretches"]) < answer["frames"]


def test_the_command_shows_a_countdown_at_speed(plan):
    result = CliRunner().invoke(
        commands, ["preview", str(plan), "--live", "--speed", "100", "--move", "press"]
    )
    assert result.exit_code == 0, result.output
    assert "Press" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--speed", "2"], "--speed needs --live"),
        (["--live", "--aloud", "--speed", "2"], "sound plays at its own"),
        (["--json", "--live"], "--json is for the file"),
        (["--around", "soon"], "soon"),
        (["--part", "Circus"], "did you mean 'Circuit'"),
    ],
)
def test_wrong_usage_is_told(plan, arguments, told):
    from cuetrack.errors import CuetrackError

    result = CliRunner().invoke(commands, ["preview", str(plan), *arguments])
    assert result.exit_code != 0
    said = str(result.exception) if isinstance(result.exception, CuetrackError) else result.output
    assert told in said


def test_without_a_sound_card_aloud_says_so(ready):
    """On machines of this kind there is none; where there is one this cannot be shown."""
    from cuetrack.cli.aloud import played_aloud
    from cuetrack.errors import MediaMissingError

    sounddevice = None
    with suppress(ImportError, OSError):
        import sounddevice
    if sounddevice is not None and len(sounddevice.query_devices()):
        pytest.skip("this machine has a sound card")
    with pytest.raises(MediaMissingError, match=r"aloud|PortAudio|sounddevice"), played_aloud(ready):
        pass
