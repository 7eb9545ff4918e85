"""The built-in bed measured: where its strokes stand, how it joins, what it is tuned to, how loud it is."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import floor, inf
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.lib.stride_tricks import sliding_window_view
from scipy.signal import butter, sosfiltfilt

import cuetrack
from cuetrack.sound import instruments, pulse
from cuetrack.sound.bands import CENTRES_HZ, octave_levels_db
from cuetrack.sound.pulse import Phrase, Pulse
from cuetrack.sound.pulse_moods import MOODS, STRENGTHS_DB, Mood, Part
from cuetrack.sound.true_peak import true_peak_dbtp

RATE_HZ = 48_000
SILENT = Part("." * 16, "." * 16)
DRUMS = {"kick": instruments.kick, "snare": instruments.snare, "hat": instruments.hat}
# Whole frames a beat at 48 kHz; a prime; a shuttle's 72/8.5 s for 16 beats; nine places.
TEMPI = (Fraction(128), Fraction(127), 16 * 60 / Fraction(144, 17), Fraction("123.456789123"))
PLAYED_WITH_DRUMS = [name for name, mood in MOODS.items() if mood.kick != SILENT]

Solo = Callable[..., str]


phrase_of = cache(Phrase)


@pytest.fixture
def solo(monkeypatch: pytest.MonkeyPatch) -> Solo:
    """Makes a mood of some instruments of another, and gives its name."""

    def made(mood: str, *kept: str) -> str:
        given = MOODS[mood]
        silenced = {part: SILENT for part in ("kick", "snare", "hat", "bass") if part not in kept}
        chords_db = given.chords_db if "chords" in kept else -inf
        monkeypatch.setattr(pulse, "MOODS", {"solo": replace(given, **silenced, chords_db=chords_db)})
        return "solo"

    return made


def hits(part: Part) -> list[tuple[int, str]]:
    """Step and sign of each stroke in the eight bars of a phrase, sixteen steps each."""
    return [(step, sign) for step, sign in enumerate(part.bar * 7 + part.fill) if sign != "."]


def nearest_frame(time: Fraction) -> int:
    return floor(time + Fraction(1, 2))


def mono(samples: np.ndarray) -> np.ndarray:
    return samples.mean(axis=1)


def step_frames(bpm: Fraction, rate_hz: int) -> Fraction:
    return Fraction(15 * rate_hz) / bpm


class TestStrokes:
    """A matched filter: how well the drum itself fits around where it should be, frame by frame.

    Both are differentiated first, so that what still rings from before does not pull the best fit aside.
    """

    RATE_HZ = 16_000
    REACH = 5

    def found(self, played: Pulse, drum: np.ndarray, expected: list[int]) -> list[int]:
        """How many frames after `expected` each stroke is found."""
        first, last = expected[0] - self.REACH - 1, expected[-1] + len(drum) + self.REACH + 1
        heard = np.diff(played.read(first, last - first)[:, 0].astype(float))
        drum = np.diff(drum, prepend=0.0)
        windows = sliding_window_view(heard, len(drum))
        fits = [
            windows[frame - first - 1 - self.REACH : frame - first + self.REACH] @ drum for frame in expected
        ]
        return [int(np.argmax(fit)) - self.REACH for fit in fits]

    @pytest.mark.parametrize(
        ("drum", "bpm"), [("snare", TEMPI[1]), ("hat", TEMPI[2]), *(("kick", bpm) for bpm in TEMPI)]
    )
    def test_each_of_200_phrases_is_on_its_exact_frame(self, drum: str, bpm: Fraction, solo: Solo) -> None:
        sound = DRUMS[drum](self.RATE_HZ)[: self.RATE_HZ // 16]
        name = solo("strong", drum)
        strokes = hits(getattr(MOODS["strong"], drum))
        for count_one in (Fraction(0), Fraction(-3, 7)):
            played = Pulse(Phrase(bpm, name, self.RATE_HZ, 1), count_one)
            for turn in range(-20, 180, 40 if count_one else 1):
                times = [(turn * 128 + step) * step_frames(bpm, self.RATE_HZ) for step, _ in strokes]
                expected = [nearest_frame(count_one + time) for time in times]
                assert set(self.found(played, sound, expected)) == {0}

    @pytest.mark.parametrize("bpm", [Fraction(20), Fraction(126), Fraction("299.9")])
    def test_after_ten_hours_it_is_still_there(self, bpm: Fraction, solo: Solo) -> None:
        sound = DRUMS["kick"](RATE_HZ)
        played = Pulse(Phrase(bpm, solo("steady", "kick"), RATE_HZ, 1))
        turn = floor(36_000 * RATE_HZ / (128 * step_frames(bpm, RATE_HZ)))
        expected = [
            nearest_frame((turn * 128 + step) * step_frames(bpm, RATE_HZ)) for step in range(0, 128, 4)
        ]
        assert set(self.found(played, sound, expected)) == {0}

    def test_the_filter_would_find_a_stroke_that_is_one_frame_off(self, solo: Solo) -> None:
        played = Pulse(Phrase(Fraction(120), solo("steady", "kick"), RATE_HZ, 1))
        expected = [nearest_frame(count * step_frames(Fraction(120), RATE_HZ) * 4) for count in range(8)]
        assert self.found(played, DRUMS["kick"](RATE_HZ), [frame + 1 for frame in expected]) == [-1] * 8

    @pytest.mark.parametrize("mood", PLAYED_WITH_DRUMS)
    @pytest.mark.parametrize("drum", DRUMS)
    def test_nothing_but_the_written_strokes_sounds(self, drum: str, mood: str, solo: Solo) -> None:
        """At 120 bpm every phrase is the same, so what rings over its end is heard at its beginning."""
        bpm = Fraction(120)
        sound = DRUMS[drum](RATE_HZ)
        summed = np.zeros(32 * RATE_HZ // 2 + len(sound))
        for step, sign in hits(getattr(MOODS[mood], drum)):
            at = nearest_frame(step * step_frames(bpm, RATE_HZ))
            summed[at : at + len(sound)] += sound * 10 ** (STRENGTHS_DB[sign] / 20)
        summed[: len(sound)] += summed[-len(sound) :]
        heard = Pulse(Phrase(bpm, solo(mood, drum), RATE_HZ, 1)).read(0, len(summed) - len(sound))[:, 0]
        gain = float(heard @ summed[: len(heard)]) / float(summed[: len(heard)] @ summed[: len(heard)])
        np.testing.assert_allclose(heard, gain * summed[: len(heard)], atol=1e-6)

    @pytest.mark.parametrize("mood", PLAYED_WITH_DRUMS)
    def test_a_moved_stroke_leaves_nothing_behind(self, mood: str, solo: Solo) -> None:
        """A phrase with moved strokes beside the sum of its strokes, past what rings into it."""
        bpm, sound = Fraction(127), DRUMS["kick"](RATE_HZ)
        phrase = Phrase(bpm, solo(mood, "kick"), RATE_HZ, 1)
        step = step_frames(bpm, RATE_HZ)
        first = nearest_frame(128 * 5 * step)
        frames = nearest_frame(128 * 6 * step) - first
        summed = np.zeros(frames + len(sound))
        moved = 0
        for at, sign in hits(MOODS[mood].kick):
            frame = nearest_frame((128 * 5 + at) * step) - first
            moved += frame != nearest_frame(at * step)
            summed[frame : frame + len(sound)] += sound * 10 ** (STRENGTHS_DB[sign] / 20)
        assert moved > 0
        heard = Pulse(phrase).read(first, frames)[:, 0]
        gain = 10 ** (MOODS[mood].drums_db / 20)
        past = slice(len(sound), frames)
        np.testing.assert_allclose(heard[past], gain * summed[past], atol=1e-6)


class TestPhrase:
    @pytest.mark.parametrize(("bpm", "seconds"), [(128, "15.000"), (96, "20.000")])
    def test_32_counts_take_as_long_as_calculated(self, bpm: int, seconds: str) -> None:
        """32 counts: 15.000 s at 128 bpm, 20.000 s at 96 (calculated)."""
        for rate_hz in (RATE_HZ, 44_100):
            frames = int(Fraction(seconds) * rate_hz)
            phrase = Phrase(Fraction(bpm), "steady", rate_hz, 2)
            assert phrase.frames == frames
            played = Pulse(phrase)
            assert np.array_equal(played.read(0, frames), played.read(frames, frames))
            assert not np.array_equal(played.read(0, frames // 2), played.read(frames // 2, frames // 2))

    @pytest.mark.parametrize("mood", MOODS)
    @pytest.mark.parametrize("bpm", [20, 300, Fraction(720, 17), Fraction(850, 7)])
    def test_any_tempo_is_played(self, bpm: int | Fraction, mood: str) -> None:
        phrase = Phrase(Fraction(bpm), mood, 8_000, 1)
        assert phrase.frames == Fraction(32 * 60 * 8_000) / Fraction(bpm)
        heard = Pulse(phrase).read(-5_000, 20_000)
        assert np.isfinite(heard).all()
        assert np.abs(phrase.samples).max() > 0.1

    @pytest.mark.parametrize("channels", [1, 2])
    @pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 192_000])
    @pytest.mark.parametrize("mood", ["strong", "calm"])
    def test_any_rate_is_played(self, mood: str, rate_hz: int, channels: int) -> None:
        phrase = Phrase(Fraction(300), mood, rate_hz, channels)
        heard = Pulse(phrase).read(0, rate_hz)
        assert (heard.dtype, heard.shape) == (np.float32, (rate_hz, channels))
        assert np.isfinite(phrase.samples).all()
        usual_lufs = phrase_of(Fraction(300), mood, RATE_HZ, 2).loudness_lufs
        # At 8 kHz the hats and the overtones above 3.6 kHz are not there.
        assert phrase.loudness_lufs == pytest.approx(usual_lufs, abs=0.6)

    @pytest.mark.parametrize("mood", MOODS)
    def test_one_channel_is_both_sides_together(self, mood: str) -> None:
        stereo = Pulse(Phrase(Fraction(126), mood, RATE_HZ, 2)).read(-RATE_HZ, 20 * RATE_HZ)
        single = Pulse(Phrase(Fraction(126), mood, RATE_HZ, 1)).read(-RATE_HZ, 20 * RATE_HZ)
        np.testing.assert_allclose(single[:, 0], mono(stereo), atol=1e-6)

    @pytest.mark.parametrize("mood", MOODS)
    def test_no_offset(self, mood: str) -> None:
        for bpm in (20, 126, 300):
            samples = Phrase(Fraction(bpm), mood, 8_000, 2).samples
            assert np.abs(samples.mean(axis=0, dtype=float)).max() < 1e-3

    def test_a_mood_without_a_bass_is_played(self, solo: Solo) -> None:
        assert Phrase(Fraction(120), solo("steady", "kick"), 8_000, 1).samples.any()


class TestReading:
    BEDS = tuple(Pulse(Phrase(Fraction(271), mood, 8_000, 2), Fraction(2, 5)) for mood in ("strong", "calm"))
    WHOLE = tuple(bed.read(-70_000, 400_000) for bed in BEDS)

    @pytest.mark.parametrize("block_frames", [1, 64, 4096, 48_001])
    def test_block_size_never_changes_a_sample(self, block_frames: int) -> None:
        for bed, whole in zip(self.BEDS, self.WHOLE, strict=True):
            count = min(len(whole), 300 * block_frames)
            blocks = [
                bed.read(start - 70_000, min(block_frames, count - start))
                for start in range(0, count, block_frames)
            ]
            assert np.array_equal(np.concatenate(blocks), whole[:count])

    @given(start=st.integers(0, 399_999), frames=st.integers(0, 70_000))
    @settings(max_examples=40, deadline=None)
    def test_any_stretch_is_the_same_in_any_order(self, start: int, frames: int) -> None:
        for bed, whole in zip(self.BEDS, self.WHOLE, strict=True):
            frames = min(frames, len(whole) - start)
            assert np.array_equal(bed.read(start - 70_000, frames), whole[start : start + frames])

    def test_what_is_read_is_the_readers_own(self) -> None:
        bed = self.BEDS[0]
        bed.read(0, 1000)[:] = 7.0
        assert np.array_equal(bed.read(0, 1000), self.WHOLE[0][70_000:71_000])

    def test_another_process_makes_the_same_samples(self) -> None:
        code = (
            "import sys, hashlib; from fractions import Fraction; from cuetrack.sound.pulse import *\n"
            "for mood in sorted(MOODS):\n"
            "    made = Pulse(Phrase(Fraction(126), mood, 48000, 2)).read(-9, 1000000)\n"
            "    print(hashlib.sha256(made.tobytes()).hexdigest())\n"
            "sys.exit('scipy' in sys.modules)"
        )
        root = str(Path(cuetrack.__file__).parents[1])
        outputs = []
        for seed in ("1", "2"):
            environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": root}
            done = subprocess.run(
                [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
            )
            outputs.append(done.stdout.split())
        here = [Pulse(Phrase(Fraction(126), mood, RATE_HZ, 2)).read(-9, 1_000_000) for mood in sorted(MOODS)]
        assert outputs == [[hashlib.sha256(made.tobytes()).hexdigest() for made in here]] * 2


class TestSeams:
    """126 bpm at 48 kHz: a phrase has 731,428 and four sevenths frames, so six of seven seams are rounded."""

    BPM = Fraction(126)
    AROUND = 4096

    def around_seams(self, phrase: Phrase) -> list[np.ndarray]:
        """The frames around each of seven seams, which is in their middle."""
        played = Pulse(phrase)
        seams = [nearest_frame(phrase.frames * turn) for turn in range(1, 8)]
        return [played.read(seam - self.AROUND, 2 * self.AROUND).astype(float) for seam in seams]

    @pytest.mark.parametrize("mood", MOODS)
    def test_no_jump_beyond_the_materials_own(self, mood: str) -> None:
        phrase = phrase_of(self.BPM, mood, RATE_HZ, 2)
        own = np.abs(np.diff(phrase.samples, axis=0)).max()
        for around in self.around_seams(phrase):
            assert np.abs(np.diff(around[self.AROUND - 3 : self.AROUND + 3], axis=0)).max() < 0.5 * own

    @pytest.mark.parametrize("mood", MOODS)
    def test_nothing_is_heard_at_the_seam_above_the_chords_and_the_bass(self, mood: str, solo: Solo) -> None:
        """A click is broad: above 6 kHz, where neither plays, it would stand out. They peak near -6 dBFS."""
        above = butter(6, 6_000, "highpass", fs=RATE_HZ, output="sos")
        for around in self.around_seams(Phrase(self.BPM, solo(mood, "bass", "chords"), RATE_HZ, 2)):
            clicks = sosfiltfilt(above, around, axis=0)[self.AROUND // 2 : -self.AROUND // 2]
            assert np.abs(clicks).max() < 10 ** (-90 / 20)

    @pytest.mark.parametrize("mood", MOODS)
    def test_chords_breathe_at_the_end_of_a_phrase(self, mood: str, solo: Solo) -> None:
        phrase = Phrase(self.BPM, solo(mood, "chords"), RATE_HZ, 2)
        for around in self.around_seams(phrase):
            assert np.abs(around[self.AROUND - 20 : self.AROUND + 20]).max() < 1e-4


@pytest.mark.parametrize("mood", MOODS)
def test_chords_pass_into_each_other_without_a_gap(mood: str, solo: Solo) -> None:
    """Within a phrase; in stretches of 50 ms, that swell by a few dB as notes drift against each other."""
    samples = Phrase(Fraction(120), solo(mood, "chords"), 8_000, 1).samples.reshape(-1, 400)
    levels_db = 10 * np.log10((samples.astype(float) ** 2).mean(axis=1) + 1e-12)
    held_db = levels_db[10:-10]
    assert held_db.min() > np.median(held_db) - 9
    assert levels_db[-1] < np.median(held_db) - 30


# Equal temperament at A4 = 440 Hz (ISO 16), to a hundredth as tables print it (from memory).
TABLE_HZ = {
    "F#3": 185.00,
    "G3": 196.00,
    "A3": 220.00,
    "B3": 246.94,
    "C4": 261.63,
    "D4": 293.66,
    "E4": 329.63,
    "F4": 349.23,
    "F#4": 369.99,
}
NAMED = {
    "steady": ("A3 C4 E4", "G3 C4 E4", "G3 B3 D4", "G3 B3 E4"),
    "strong": ("G3 B3 E4", "G3 C4 E4", "G3 B3 D4", "F#3 A3 D4"),
    "light": ("G3 B3 D4", "G3 C4 E4", "A3 C4 E4", "A3 D4 F#4"),
    "calm": ("G3 C4 E4", "G3 B3 E4", "A3 C4 E4", "G3 B3 D4"),
}


class TestPitch:
    @pytest.mark.parametrize("mood", NAMED)
    def test_each_chord_holds_its_named_notes_and_no_others(self, mood: str, solo: Solo) -> None:
        """16 s of each chord: lines 0.06 Hz apart."""
        rate_hz, seconds = 8_000, 16
        played = Pulse(Phrase(Fraction(30), solo(mood, "chords"), rate_hz, 1))
        for index, names in enumerate(NAMED[mood]):
            heard = played.read(index * seconds * rate_hz, seconds * rate_hz)[:, 0]
            points = 8 * len(heard)
            spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard)), points))
            frequency_hz = np.fft.rfftfreq(points, 1 / rate_hz)
            levels = {}
            for name, expected_hz in TABLE_HZ.items():
                near = np.flatnonzero(np.abs(frequency_hz / expected_hz - 1) < 0.02)
                top = near[np.argmax(spectrum[near])]
                levels[name] = spectrum[top]
                if name in names.split():
                    assert frequency_hz[top] == pytest.approx(expected_hz, abs=0.03)
            loudest = max(levels.values())
            sounding = {name for name, level in levels.items() if level > loudest / 10}
            # F#4 is the first overtone of F#3.
            named = set(names.split()) | ({"F#4"} if "F#3" in names else set())
            assert sounding == named
            assert all(levels[name] < loudest / 100 for name in levels.keys() - named)

    @pytest.mark.parametrize(("note", "table_hz"), [(69, 440.00), (60, 261.63), (45, 110.00), (40, 82.41)])
    def test_notes_sound_at_the_tables_frequencies(self, note: int, table_hz: float) -> None:
        """ISO 16: A4 at 440 Hz; the others of equal temperament from memory."""
        assert instruments.note_hz(note) == pytest.approx(table_hz, abs=0.005)

    @pytest.mark.parametrize(("note", "table_hz"), [(36, 65.41), (45, 110.00), (57, 220.00)])
    def test_the_bass_s_strongest_line_is_its_note(self, note: int, table_hz: float) -> None:
        sound = instruments.bass(note, 1.0, RATE_HZ)
        spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 16 * len(sound)))
        assert np.argmax(spectrum) / 16 == pytest.approx(table_hz, abs=0.15)

    def test_the_bass_plays_its_roots_and_the_octave_above_where_written(self, solo: Solo) -> None:
        """Roots A2, C3, G2, E2 of the mood's chords; equal temperament as tables print it (from memory)."""
        rate_hz = 8_000
        played = Pulse(Phrase(Fraction(30), solo("steady", "bass"), rate_hz, 1))
        roots_hz = (110.00, 130.81, 98.00, 82.41)
        for step, sign in hits(MOODS["steady"].bass):
            heard = played.read(step * rate_hz // 2, rate_hz)[:, 0]
            spectrum = np.abs(np.fft.rfft(heard * np.hanning(rate_hz), 16 * rate_hz))
            expected_hz = roots_hz[step // 32] * (2 if sign == "8" else 1)
            assert np.argmax(spectrum) / 16 == pytest.approx(expected_hz, abs=0.2)


class TestBalance:
    """Loudness after ITU-R BS.1770; the limits of balance are common practice, no source."""

    BPM = Fraction(128)

    @pytest.mark.parametrize("channels", [1, 2])
    @pytest.mark.parametrize("mood", MOODS)
    def test_it_is_as_loud_as_another_meter_finds(self, mood: str, channels: int) -> None:
        """pyloudnorm reads up to 0.06 LU low, hence 0.1 LU."""
        phrase = phrase_of(self.BPM, mood, RATE_HZ, channels)
        samples = Pulse(phrase).read(0, int(phrase.frames))
        stereo = np.broadcast_to(samples, (len(samples), 2)).astype(float)
        found = pyloudnorm.Meter(RATE_HZ).integrated_loudness(stereo)
        assert Pulse(phrase).loudness_lufs() == pytest.approx(found, abs=0.1)

    @pytest.mark.parametrize("bpm", [96, 128, 150])
    @pytest.mark.parametrize("mood", MOODS)
    def test_peaks_leave_the_limiter_little_to_do(self, mood: str, bpm: int) -> None:
        """At -16 LUFS, the class mix's own, and a ceiling of -1 dBTP there is room for 15 dB."""
        phrase = phrase_of(Fraction(bpm), mood, RATE_HZ, 2)
        assert true_peak_dbtp(phrase.samples) - phrase.loudness_lufs < 15

    @pytest.mark.parametrize("mood", MOODS)
    def test_the_octaves_of_consonants_are_left_to_the_voice(self, mood: str) -> None:
        found_db = octave_levels_db(phrase_of(self.BPM, mood, RATE_HZ, 2).samples, RATE_HZ)
        levels_db = dict(zip(CENTRES_HZ, found_db, strict=True))
        strongest_db = max(levels_db.values())
        assert levels_db[1000] < strongest_db - 9
        assert max(levels_db[2000], levels_db[4000]) < strongest_db - 20

    @pytest.mark.parametrize("mood", MOODS)
    def test_highs_are_soft(self, mood: str) -> None:
        """Above 5 kHz at least 15 dB under the whole, and nothing above 12 kHz."""
        samples = phrase_of(self.BPM, mood, RATE_HZ, 2).samples
        power = (np.abs(np.fft.rfft(samples.astype(float), axis=0)) ** 2).sum(axis=1)
        frequency_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
        assert power[frequency_hz > 5_000].sum() < power.sum() / 10**1.5
        assert power[frequency_hz > 12_000].sum() < power.sum() / 10**6

    @pytest.mark.parametrize("mood", MOODS)
    def test_the_low_end_is_alike_on_both_sides(self, mood: str) -> None:
        samples = phrase_of(self.BPM, mood, RATE_HZ, 2).samples.astype(float)
        low = np.fft.rfftfreq(len(samples), 1 / RATE_HZ) < 150
        middle, side = (np.fft.rfft(samples @ turned)[low] for turned in ((0.5, 0.5), (0.5, -0.5)))
        assert (np.abs(side) ** 2).sum() < (np.abs(middle) ** 2).sum() / 10**4

    @pytest.mark.parametrize("mood", MOODS)
    def test_one_loudspeaker_plays_all_of_it(self, mood: str) -> None:
        """The sum of both sides loses less than half a dB, and neither side is louder."""
        samples = phrase_of(self.BPM, mood, RATE_HZ, 2).samples.astype(float)
        sides_db = 10 * np.log10((samples**2).mean(axis=0))
        assert 10 * np.log10((mono(samples) ** 2).mean()) > sides_db.mean() - 0.5
        assert abs(sides_db[0] - sides_db[1]) < 0.5

    @pytest.mark.parametrize("mood", MOODS)
    def test_chords_are_wider_than_one_loudspeaker(self, mood: str, solo: Solo) -> None:
        """The difference of the sides is heard, at least 30 dB under their sum, and at most 12."""
        samples = Phrase(self.BPM, solo(mood, "chords"), RATE_HZ, 2).samples.astype(float)
        sum_power, difference_power = ((samples @ turned).var() for turned in ((1.0, 1.0), (1.0, -1.0)))
        assert 12 < 10 * np.log10(sum_power / difference_power) < 30

    @pytest.mark.parametrize("mood", MOODS)
    def test_drums_bass_and_chords_are_all_heard(self, mood: str, solo: Solo) -> None:
        """None is more than 10 LU under the whole; drums only where the mood has some."""
        whole_lufs = phrase_of(self.BPM, mood, RATE_HZ, 2).loudness_lufs
        groups = [("bass",), ("chords",)] + [tuple(DRUMS)] * (mood in PLAYED_WITH_DRUMS)
        for group in groups:
            alone_lufs = Phrase(self.BPM, solo(mood, *group), RATE_HZ, 2).loudness_lufs
            assert whole_lufs - 11 < alone_lufs < whole_lufs


def test_a_mood_is_data(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row that somebody adds is played: here a kick on every count, and nothing else."""
    added = Mood(
        "a test",
        MOODS["calm"].chords,
        kick=Part("x..." * 4, "x..." * 4),
        snare=SILENT,
        hat=SILENT,
        bass=SILENT,
        drums_db=0.0,
        bass_db=0.0,
        chords_db=-inf,
    )
    monkeypatch.setattr(pulse, "MOODS", {**MOODS, "added": added})
    samples = Pulse(Phrase(Fraction(60), "added", RATE_HZ, 1)).read(0, 4 * RATE_HZ)[:, 0]
    counts = samples.reshape(4, RATE_HZ)
    assert np.array_equal(counts[0], counts[1])
    assert np.array_equal(counts[0], counts[3])
    assert not counts[0, RATE_HZ // 2 :].any()
