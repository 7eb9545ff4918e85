"""What is made of a detection: stretches on one clock, parts to keep, a clean track, when the coach moved."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import correlate

from cuetrack.take.actual import ActualMove, actual_moves
from cuetrack.take.align import Alignment, Stretch, aligned
from cuetrack.take.cuts import cuts_of
from cuetrack.take.expected import Expected
from cuetrack.take.laid import laid_blocks
from cuetrack.take.line import Line
from cuetrack.take.pieces import DETECTOR_RATE_HZ
from cuetrack.take.recording import recorded
from tests.helpers.takes import Played, Take, programme, take

WHOLE = programme(6)
PAUSED = (Played(0, 158), Played(158, 360, pause_before=21.3))
BACK = (Played(0, 200), Played(118, 360, pause_before=2))


def alignment_of(recording: Take, folder: Path, expected: Expected = WHOLE) -> Alignment:
    path = folder / "take.wav"
    soundfile.write(path, recording.samples, recording.rate_hz, subtype="PCM_24")
    with recorded(path, DETECTOR_RATE_HZ) as heard:
        return aligned(expected, heard)


def test_the_contract_of_a_stretch(tmp_path: Path) -> None:
    """Programme time = programme_start_seconds + (recording time - start) * (1 + rate_ppm / 10**6)."""
    recording = take(WHOLE, drift_ppm=90)
    (one,) = alignment_of(recording, tmp_path).stretches
    for at in (one.recording_start_seconds, 100.0, one.recording_end_seconds):
        programme_seconds = one.programme_start_seconds + (at - one.recording_start_seconds) * (
            1 + one.rate_ppm / 1e6
        )
        assert recording.recording_at(programme_seconds) == pytest.approx(at, abs=0.001)
    first = min(cue.start_frame for cue in WHOLE.cues) / WHOLE.rate_hz
    assert one.programme_start_seconds == pytest.approx(first, abs=1e-6)
    assert one.confidence == 1.0


def test_short_stretches_go_with_the_clock_of_the_longest(tmp_path: Path) -> None:
    found = alignment_of(take(WHOLE, played=PAUSED, drift_ppm=-120), tmp_path)
    assert len(found.stretches) == 2
    assert len({one.rate_ppm for one in found.stretches}) == 1
    assert found.stretches[0].rate_ppm == pytest.approx(120, abs=0.5)


def test_what_is_not_heard_is_said(tmp_path: Path) -> None:
    recording = take(WHOLE, played=PAUSED)
    found = alignment_of(recording, tmp_path)
    gaps = list(found.gaps())
    assert gaps[0][0] == 0
    assert gaps[-1][1] == found.seconds
    assert any(start > 150 and end - start > 21.3 for start, end in gaps[1:-1])
    assert found.unheard() == ()
    part = alignment_of(take(WHOLE, played=(Played(95, 290),)), tmp_path)
    missed = {cue.start_frame / WHOLE.rate_hz for cue in part.unheard()}
    assert all(at < 95 or at > 289 for at in missed)
    assert len(missed) > 10


@pytest.mark.parametrize(
    ("change", "why"),
    [
        pytest.param(lambda samples: 0 * samples, "the recording is silent; name the one", id="silent"),
        pytest.param(lambda samples: np.stack([samples, -samples], 1), "upside down", id="upside down"),
        pytest.param(lambda samples: samples[:48_000], "too short", id="one second"),
    ],
)
def test_recordings_in_which_nothing_can_be_heard(change, why: str, tmp_path: Path) -> None:
    recording = take(WHOLE)
    found = alignment_of(Take(change(recording.samples), 48_000, (), 0), tmp_path)
    assert found.stretches == ()
    assert found.why is not None
    assert why in found.why


def test_a_pause_is_cut_out(tmp_path: Path) -> None:
    recording = take(WHOLE, played=PAUSED)
    cuts = cuts_of(alignment_of(recording, tmp_path))
    assert len(cuts) == 2
    assert cuts[0].programme_start_seconds == pytest.approx(0, abs=0.01)
    assert cuts[1].programme_end_seconds == pytest.approx(WHOLE.seconds, abs=0.5)
    # Between the last cue before the pause and the first behind it nobody can hear what is missing.
    between = cuts[1].programme_start_seconds - cuts[0].programme_end_seconds
    assert cuts[1].missing_before_seconds > between > 0
    kept = sum(cut.recording_end_seconds - cut.recording_start_seconds for cut in cuts)
    assert kept + between == pytest.approx(WHOLE.seconds, abs=0.6)


def test_of_what_was_done_twice_the_longer_version_is_kept(tmp_path: Path) -> None:
    cuts = cuts_of(alignment_of(take(WHOLE, played=BACK), tmp_path))
    assert len(cuts) == 2
    assert cuts[0].programme_end_seconds <= cuts[1].programme_start_seconds + 1e-6
    # The second stretch begins at 118 s of the session and runs on for longest.
    assert cuts[1].programme_start_seconds == pytest.approx(122, abs=4)


def test_no_cut_touches_a_cue(tmp_path: Path) -> None:
    for played in (PAUSED, BACK):
        for cut in cuts_of(alignment_of(take(WHOLE, played=played), tmp_path)):
            for edge in (cut.programme_start_seconds, cut.programme_end_seconds):
                frame = round(edge * WHOLE.rate_hz)
                inside = [cue for cue in WHOLE.cues if cue.start_frame + 80 < frame < cue.end_frame - 80]
                assert inside == []


@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_the_clean_track_lies_under_the_recording(rate_hz: int, tmp_path: Path) -> None:
    """As long as the recording, and as late as it in every minute: by cross-correlation (SciPy)."""
    recording = take(WHOLE, played=PAUSED, drift_ppm=150, rate_hz=rate_hz, direct_db=6)
    found = alignment_of(recording, tmp_path)

    def read(start: int, frames: int) -> np.ndarray:
        return WHOLE.cue_samples(start, frames)[:, np.newaxis]

    blocks = list(laid_blocks(found, read, WHOLE.rate_hz, WHOLE.frames, 1))
    laid = np.concatenate(blocks)[:, 0]
    assert len(laid) == len(recording.samples)
    # Each minute with sound in it; in the pause the track is silent.
    for start in range(0, len(laid) - 60 * rate_hz, 60 * rate_hz):
        heard, clean = (one[start : start + 60 * rate_hz] for one in (recording.samples, laid))
        across = correlate(heard, clean, "full", "fft")
        late = int(np.abs(across).argmax()) - len(clean) + 1
        assert abs(late) / rate_hz <= 0.001
    pause = round(recording.recording_at(158.0) * rate_hz)
    assert not laid[pause + rate_hz : pause + 20 * rate_hz].any()


def with_steps(recording: Take, late: dict[int, float], level: float) -> tuple[Take, dict[int, float]]:
    """Somebody stamps twice a second through each work, beginning so many seconds late."""
    samples, starts = recording.samples.copy(), {}
    chance = np.random.default_rng(9)
    for number, phase in enumerate(one for one in WHOLE.phases if one.kind == "work"):
        begins = phase.start_frame / WHOLE.rate_hz + late.get(number, 0.0)
        starts[number] = recording.recording_at(begins)
        for at in np.arange(begins, phase.end_frame / WHOLE.rate_hz, 0.5):
            first = round(recording.recording_at(float(at)) * recording.rate_hz)
            step = chance.standard_normal(round(0.12 * recording.rate_hz)) * level
            samples[first : first + len(step)] += step * np.linspace(1, 0, len(step))
    return Take(samples.astype(np.float32), recording.rate_hz, recording.offsets, recording.drift_ppm), starts


def test_when_the_coach_began_is_heard_and_how_late() -> None:
    late = {0: 0.0, 1: 1.8, 2: 0.9, 3: 3.0}
    recording, starts = with_steps(take(WHOLE, level_db=30), late, 0.08)
    moves = moves_of(recording)
    assert len(moves) == len(starts)
    for number, move in enumerate(moves):
        assert move.start is not None
        # Steps are half a second apart, and under the long tone at the start nothing is heard.
        assert abs(move.start.seconds - starts[number]) <= move.start.within_seconds + 0.3
        assert move.late_seconds == pytest.approx(late.get(number, 0), abs=move.start.within_seconds + 0.3)


def test_of_a_coach_who_is_not_heard_nothing_is_said() -> None:
    moves = moves_of(take(WHOLE, level_db=30))
    assert moves
    assert [move.start for move in moves] == [None] * len(moves)
    assert [move.end for move in moves] == [None] * len(moves)


def test_under_the_music_of_the_track_nothing_is_said() -> None:
    """It begins and ends with the moves, and would be taken for the coach."""
    recording, _ = with_steps(take(WHOLE, level_db=30), {}, 0.08)
    moves = moves_of(recording, replace(WHOLE, has_bed=True))
    assert {move.start for move in moves} == {None}


def moves_of(recording: Take, expected: Expected = WHOLE) -> tuple[ActualMove, ...]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        soundfile.write(path, recording.samples, recording.rate_hz, subtype="FLOAT")
        with recorded(path, DETECTOR_RATE_HZ) as heard:
            return actual_moves(aligned(expected, heard), heard.samples)


def test_a_stretch_says_how_sure_it_is() -> None:
    one = Stretch(Line(0, 0), 0, 10, (0, 1, 2, 3), frozenset({0, 2, 3}))
    assert one.confidence == 0.75
