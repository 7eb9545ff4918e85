"""The tone table held against published figures; each rule names its source."""

from __future__ import annotations

import os
import subprocess
import sys
from fractions import Fraction
from itertools import combinations
from math import floor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import cuetrack
from cuetrack.errors import SoundError
from cuetrack.sound.tone_table import (
    COUNTDOWNS,
    PLAN_TONES,
    TONES,
    Countdown,
    Partial,
    Sweep,
    ToneSpec,
    tone_frames,
)

COUNT_TONES = ("count-short", "count-long")
MARK_TONES = ("count-long", "pip-long")


def partials(tone: ToneSpec) -> tuple[Partial, ...]:
    assert not isinstance(tone.waveform, Sweep)
    return tone.waveform


def extremes_hz(tone: ToneSpec) -> tuple[int, int]:
    """Lowest and highest frequency in a tone."""
    if isinstance(tone.waveform, Sweep):
        ends = (tone.waveform.from_hz, tone.waveform.to_hz)
    else:
        ends = tuple(partial.frequency_hz for partial in tone.waveform)
    return min(ends), max(ends)


@pytest.mark.parametrize("tone", TONES.values(), ids=TONES)
class TestEveryTone:
    def test_lies_between_200_and_5000_hz(self, tone: ToneSpec) -> None:
        """MIL-STD-1472E 5.3: audio signals between 200 and 5000 Hz."""
        lowest_hz, highest_hz = extremes_hz(tone)
        assert lowest_hz >= 200
        assert highest_hz <= 5000

    def test_has_its_fundamental_in_the_better_band(self, tone: ToneSpec) -> None:
        """MIL-STD-1472E 5.3: if possible between 500 and 3000 Hz."""
        assert 500 <= extremes_hz(tone)[0] <= 3000

    def test_ramps_are_neither_clicks_nor_swells(self, tone: ToneSpec) -> None:
        """At least 5 ms (common practice, no source); at most 50 ms (ANSI S3.6 pulsed tone)."""
        for ramp_seconds in (tone.attack_seconds, tone.release_seconds):
            assert Fraction("0.005") <= ramp_seconds <= Fraction("0.050")
        assert tone.attack_seconds + tone.release_seconds < tone.length_seconds

    def test_holds_whole_periods(self, tone: ToneSpec) -> None:
        """Our own promise: only then is the last sample sure not to be zero."""
        if isinstance(tone.waveform, Sweep):
            mean_hz = Fraction(tone.waveform.from_hz + tone.waveform.to_hz, 2)
            assert (mean_hz * tone.length_seconds).denominator == 1
        else:
            for partial in tone.waveform:
                assert (partial.frequency_hz * tone.length_seconds).denominator == 1

    def test_fits_under_speech_at_its_ceiling_and_a_click(self, tone: ToneSpec) -> None:
        """Speech may peak at -3 dBFS while a tone and an accented click sound: no clipping."""
        is_click = tone.name.startswith("click")
        click = 0.0 if is_click else 10 ** (TONES["click-accent"].peak_dbfs / 20)
        assert 10 ** (-3 / 20) + 10 ** (tone.peak_dbfs / 20) + click < 1.0

    def test_says_where_its_figures_come_from(self, tone: ToneSpec) -> None:
        assert "MIL-STD-1472E" in tone.source or "Greenwich" in tone.source

    def test_is_found_under_its_own_name(self, tone: ToneSpec) -> None:
        assert TONES[tone.name] is tone


@pytest.mark.parametrize("name", COUNT_TONES)
def test_count_tones_follow_the_alarm_timbre(name: str) -> None:
    """IEC 60601-1-8: fundamental 150-1000 Hz, four or more harmonics in 300-4000 Hz, all within
    15 dB of the fundamental. Read strictly: the fundamental does not count as one of the four."""
    fundamental, *harmonics = partials(TONES[name])
    assert 150 <= fundamental.frequency_hz <= 1000
    assert all(h.frequency_hz % fundamental.frequency_hz == 0 for h in harmonics)
    inside = [h for h in harmonics if 300 <= h.frequency_hz <= 4000]
    assert len(inside) >= 4
    assert all(abs(h.level_db - fundamental.level_db) <= 15 for h in inside)


@pytest.mark.parametrize("name", MARK_TONES)
def test_the_tone_on_the_mark_lasts_as_long_as_a_warning(name: str) -> None:
    """MIL-STD-1472E 5.3: a warning sounds for at least 0.5 s."""
    assert TONES[name].length_seconds >= Fraction("0.5")


def test_pips_are_greenwich_pips() -> None:
    """Greenwich time signal: 1 kHz; five of 0.1 s, the last of 0.5 s."""
    short, long = (TONES[n] for n in (COUNTDOWNS["pips"].short, COUNTDOWNS["pips"].long))
    assert [p.frequency_hz for p in partials(short)] == [1000]
    assert [p.frequency_hz for p in partials(long)] == [1000]
    assert (short.length_seconds, long.length_seconds) == (Fraction("0.1"), Fraction("0.5"))


def test_a_coach_has_at_most_four_signals_to_tell_apart() -> None:
    """MIL-STD-1472E 5.3: at most four, unaided. The slate is for the editor, not for the class."""
    assert len(set(PLAN_TONES) - {"slate"}) <= 4


def test_signals_differ_by_a_minor_third_or_more() -> None:
    """Common practice, no source: a ratio of 6:5 between any two fundamentals."""
    signals = [TONES[n] for n in ("count-short", "count-long", "call-soft", "call-bright", "click")]
    signals += [TONES["pip-long"], TONES["click-accent"]]
    for one, other in combinations(signals, 2):
        low_hz, high_hz = sorted((extremes_hz(one)[0], extremes_hz(other)[0]))
        assert Fraction(high_hz, low_hz) >= Fraction(6, 5), (one.name, other.name)


@pytest.mark.parametrize("countdown", COUNTDOWNS.values(), ids=COUNTDOWNS)
def test_a_countdown_ends_on_a_tone_that_is_plainly_longer(countdown: Countdown) -> None:
    """Common practice, no source: four times as long; nobody waits to hear which one it was."""
    assert TONES[countdown.long].length_seconds >= 4 * TONES[countdown.short].length_seconds


def test_plan_words_lead_to_tones_that_are_there() -> None:
    assert set(PLAN_TONES) == {"soft", "bright", "short", "long", "slate"}
    assert set(PLAN_TONES.values()) <= set(TONES)
    assert COUNTDOWNS["plain"].short == PLAN_TONES["short"]
    assert COUNTDOWNS["plain"].long == PLAN_TONES["long"]


@pytest.mark.parametrize(
    ("name", "rate_hz", "frames"),
    [
        ("pip-short", 48_000, 4_800),
        ("pip-short", 44_100, 4_410),
        ("pip-short", 22_050, 2_205),
        ("pip-short", 11_025, 1_103),  # 1102.5, half up
        ("pip-long", 48_000, 24_000),
        ("pip-long", 44_100, 22_050),
        ("pip-long", 22_050, 11_025),
        ("count-short", 48_000, 5_760),
        ("count-short", 44_100, 5_292),
        ("count-short", 22_050, 2_646),
        ("count-long", 48_000, 24_000),
        ("click", 48_000, 1_920),
        ("click", 11_025, 441),
    ],
)
def test_length_in_frames_is_the_exact_length_rounded_once(name: str, rate_hz: int, frames: int) -> None:
    assert tone_frames(name, rate_hz) == frames


@settings(deadline=None, database=None)
@given(st.sampled_from(sorted(TONES)), st.integers(8_000, 192_000))
def test_length_is_half_up_at_every_rate(name: str, rate_hz: int) -> None:
    exact = TONES[name].length_seconds * rate_hz
    assert tone_frames(name, rate_hz) == floor(exact + Fraction(1, 2))


@pytest.mark.parametrize("rate_hz", [48_000, 44_100, 22_050])
def test_no_length_needs_rounding_at_the_usual_rates(rate_hz: int) -> None:
    for tone in TONES.values():
        assert tone_frames(tone.name, rate_hz) == tone.length_seconds * rate_hz


def test_an_unknown_tone_is_named_with_its_nearest() -> None:
    message = r"^there is no tone 'count-shrt'; did you mean 'count-short'\?$"
    with pytest.raises(SoundError, match=message):
        tone_frames("count-shrt", 48_000)


def test_the_table_needs_no_numpy() -> None:
    """Checking a plan must stay light, so it reads lengths without loading arrays."""
    code = "import sys, cuetrack.sound.tone_table; sys.exit('numpy' in sys.modules)"
    folder = str(Path(cuetrack.__file__).parents[1])
    subprocess.run([sys.executable, "-c", code], check=True, env=os.environ | {"PYTHONPATH": folder})
