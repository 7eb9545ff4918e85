"""A programme in rooms, from clear to hardly heard: where it is found, and where nothing may be found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soxr

from cuetrack.take.detect import Detection, detect
from cuetrack.take.expected import Expected
from cuetrack.take.pieces import DETECTOR_RATE_HZ
from cuetrack.take.samples import SampleFile
from tests.helpers.takes import Played, Take, programme, take

# The figures that alignment is promised with.
MOST_OFF_SECONDS, MOST_OFF_PPM = 0.001, 1.0
WHOLE = programme(6)


def detected(expected: Expected, samples: np.ndarray, rate_hz: int) -> Detection:
    with SampleFile(DETECTOR_RATE_HZ) as low:
        low.append(soxr.resample(samples, rate_hz, DETECTOR_RATE_HZ))
        return detect(expected, low, lambda done, of: None)


def assert_found(expected: Expected, recorded: Take, played: tuple[Played, ...]) -> None:
    found = detected(expected, recorded.samples, recorded.rate_hz).stretches
    assert len(found) == len(played)
    for number, (one, true) in enumerate(zip(found, played, strict=True)):
        starts = [expected.cues[cue].start_frame / expected.rate_hz for cue in sorted(one.heard)]
        assert true.start - 1 <= starts[0]
        assert starts[-1] <= true.end
        for at in (starts[0], starts[-1]):
            off = one.line.recording_at(at) - recorded.recording_at(at, number)
            assert abs(off) <= MOST_OFF_SECONDS
        true_ppm = (1 / (1 + recorded.drift_ppm / 1e6) - 1) * 1e6
        # A stretch of a minute tells a clock less well than the whole: 0.1 ms in it are 1.7 ppm.
        length = starts[-1] - starts[0]
        assert abs(one.line.rate_ppm - true_ppm) <= max(MOST_OFF_PPM, 0.1e-3 / length * 1e6)


@pytest.mark.parametrize("level_db", [20, 5, 0])
@pytest.mark.parametrize(("reverberation", "direct_db", "distance"), [(0.2, 6, 1), (0.5, 0, 3), (1.2, -6, 8)])
@pytest.mark.parametrize("drift_ppm", [0, -200, 200])
def test_a_take_is_found_to_a_millisecond(
    level_db: float, reverberation: float, direct_db: float, distance: float, drift_ppm: float
) -> None:
    recorded = take(
        WHOLE,
        level_db=level_db,
        reverberation=reverberation,
        direct_db=direct_db,
        distance=distance,
        drift_ppm=drift_ppm,
    )
    assert_found(WHOLE, recorded, (Played(0, WHOLE.seconds),))


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 48_000])
def test_every_rate(rate_hz: int) -> None:
    assert_found(WHOLE, take(WHOLE, rate_hz=rate_hz, drift_ppm=60), (Played(0, WHOLE.seconds),))


def test_polarity_level_and_clipping_do_not_matter() -> None:
    recorded = take(WHOLE, drift_ppm=30)
    bent = Take(
        np.clip(-40 * recorded.samples, -1, 1), recorded.rate_hz, recorded.offsets, recorded.drift_ppm
    )
    assert_found(WHOLE, bent, (Played(0, WHOLE.seconds),))


@pytest.mark.parametrize(
    "played",
    [
        pytest.param((Played(0, 158), Played(158, 360, pause_before=21.3)), id="paused"),
        pytest.param((Played(0, 200), Played(118, 360, pause_before=2)), id="went back"),
        pytest.param((Played(0, 118), Played(198, 360, pause_before=1)), id="skipped"),
        pytest.param((Played(0, 118), Played(0, 360, pause_before=4)), id="restarted"),
        pytest.param((Played(95, 290),), id="recorded in part"),
    ],
)
def test_what_the_coach_did_is_found(played: tuple[Played, ...]) -> None:
    assert_found(WHOLE, take(WHOLE, played=played, level_db=10, drift_ppm=-70), played)


def two_rounds() -> Expected:
    """Twice four moves in the same words, but for one announcement and two calls of the second round."""
    once = programme(5.34)
    again = {
        f"phrase {number + 4}.{part}": f"phrase {number}.{part}"
        for number in range(1, 5)
        for part in range(2)
        if (number, part) not in {(1, 0), (2, 1), (4, 1)}
    }
    cues = tuple(
        replace(cue, text=again[cue.sound], sound=again[cue.sound]) if cue.sound in again else cue
        for cue in once.cues
    )
    return replace(once, cues=cues, sounds={key: once.sounds[key] for key in {cue.sound for cue in cues}})


def test_a_pause_between_two_rounds_that_are_nearly_alike() -> None:
    rounds = two_rounds()
    played = (Played(0, 160.5), Played(160.5, 320, pause_before=20))
    assert_found(rounds, take(rounds, played=played), played)


def test_one_of_two_rounds_that_are_nearly_alike_is_not_guessed() -> None:
    rounds = two_rounds()
    recorded = take(rounds, played=(Played(0, 150),))
    found = detected(rounds, recorded.samples, recorded.rate_hz)
    assert found.stretches == ()
    assert found.why is not None
    assert "several places" in found.why


def test_tones_alone_of_two_rounds_are_not_guessed_after_a_pause() -> None:
    tones = programme(5.34, with_words=False)
    recorded = take(tones, played=(Played(160, 300), Played(160, 310, pause_before=20)))
    assert detected(tones, recorded.samples, recorded.rate_hz).stretches == ()


def test_nothing_is_found_where_nothing_is() -> None:
    noise = np.random.default_rng(2).standard_normal(120 * 48_000).astype(np.float32) * 0.1
    found = detected(WHOLE, noise, 48_000)
    assert found.stretches == ()
    assert found.why is not None
    assert found.why.startswith("this session is not heard in the recording; give the plan")


def test_another_session_with_the_same_tones_and_times_is_refused() -> None:
    """Its tones stand on the same instants; only the words tell that it is another."""
    other = programme(6, seed=7)
    assert [cue.start_frame for cue in other.cues] == [cue.start_frame for cue in WHOLE.cues]
    recorded = take(other)
    found = detected(WHOLE, recorded.samples, recorded.rate_hz)
    assert found.stretches == ()
    assert found.why is not None
    assert "hardly any of its words" in found.why


def test_tones_that_fit_in_several_places_are_not_guessed() -> None:
    tones = programme(6, with_words=False)
    part = take(tones, played=(Played(130, 235),))
    found = detected(tones, part.samples, part.rate_hz)
    assert found.stretches == ()
    assert found.why is not None
    assert "several places" in found.why


def test_a_session_of_tones_is_found_whole() -> None:
    tones = programme(6, with_words=False)
    whole = take(tones, drift_ppm=50)
    found = detected(tones, whole.samples, whole.rate_hz).stretches
    assert len(found) == 1
    off = found[0].line.recording_at(180.0) - whole.recording_at(180.0)
    assert abs(off) <= MOST_OFF_SECONDS


@pytest.mark.parametrize("seconds", [0, 0.01, 1, 5])
def test_too_short_a_recording_is_said_to_be(seconds: float) -> None:
    recorded = take(WHOLE)
    found = detected(WHOLE, recorded.samples[: round(seconds * 48_000)], 48_000)
    assert found.stretches == ()
    assert found.why is not None
    assert "too short" in found.why


def test_a_plan_without_cues_has_nothing_to_be_heard() -> None:
    bare = Expected("Bare", 16_000, 16_000 * 60, (), WHOLE.phases[:1], {}, False)
    why = detected(bare, take(WHOLE).samples, 48_000).why
    assert why == "the plan has no cue that could be heard; give it calls or counts"
