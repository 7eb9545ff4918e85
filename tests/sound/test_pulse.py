"""The built-in bed: where its strokes stand, what its chords are, that nothing clicks and nothing drifts."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from math import floor

import numpy as np
import pyloudnorm
import pytest
from scipy.signal import correlate

from cuetrack.sound import instruments
from cuetrack.sound.pulse import Phrase, Pulse
from cuetrack.sound.pulse_moods import COUNTS, MOODS, STEPS_IN_COUNT, Chord, Drum, Mood

RATE_HZ = 48_000


def to_frame(exact):
    return floor(exact + Fraction(1, 2))


def pulse(bpm, mood="steady", rate_hz=RATE_HZ, channels=2, count_one=Fraction(0)):
    return Pulse(Phrase(Fraction(bpm), mood, rate_hz, channels), count_one)


@pytest.mark.parametrize(("bpm", "seconds"), [(128, 15), (96, 20)])
def test_32_counts_last_as_long_as_is_printed(bpm, seconds):
    """Trade tables: 32 counts are 15.000 s at 128 bpm and 20.000 s at 96 (calculated)."""
    assert Phrase(Fraction(bpm), "calm", RATE_HZ, 2).frames == seconds * RATE_HZ


@pytest.mark.parametrize("bpm", ["20", "72/8.5", "97.3", "128", "400/3", "300"])
@pytest.mark.parametrize("count_one", ["0", "1/3", "-1/2"])
def test_every_phrase_begins_on_the_frame_nearest_to_its_exact_time(bpm, count_one):
    """In the first phrase and after ten hours; read at its start, a phrase is the first phrase again."""
    exact = Fraction(Fraction("72") / Fraction("8.5") * 4) if bpm == "72/8.5" else Fraction(bpm)
    sound, offset = pulse(exact, "light", 8_000, 1, Fraction(count_one)), Fraction(count_one)
    length = COUNTS * 60 / exact * 8_000
    first = sound.read(to_frame(offset), 2_000)
    assert first.any()
    for turn in (-3, 1, 199, 200, int(36_000 * 8_000 / length)):
        assert np.array_equal(sound.read(to_frame(offset + turn * length), 2_000), first)


def test_each_stroke_of_200_phrases_stands_on_its_exact_time(monkeypatch):
    """Found by correlation with the drum itself: the kick on each count, at a tempo that fits no frame."""
    silent = Drum("." * 16, "." * 16)
    chord = Chord(45, ())
    alone = Mood("kick alone", (chord,) * 4, Drum("x..." * 4, "x..." * 4), silent, silent, silent, 0, 0, 0)
    monkeypatch.setattr("cuetrack.sound.pulse.MOODS", {"alone": alone})
    rate_hz, bpm = 8_000, Fraction("127.3")
    sound, kick = pulse(bpm, "alone", rate_hz, 1), instruments.kick(rate_hz)
    beat = 60 / bpm * rate_hz
    for turn in (0, 1, 57, 199):
        start = to_frame(turn * COUNTS * beat)
        heard = sound.read(start - 200, to_frame(COUNTS * beat) + 400)[:, 0].astype(float)
        strength = correlate(heard, kick, "valid")
        for count in range(COUNTS):
            expected = to_frame((turn * COUNTS + count) * beat) - start + 200
            near = strength[max(0, expected - 100) : expected + 100]
            found = max(0, expected - 100) + int(np.argmax(near))
            # A phrase is rounded as one, and each stroke in it.
            assert abs(found - expected) <= 1


def test_the_beat_is_kept_for_ten_hours():
    """No more than a frame away from the exact time, by what the reader itself says of each phrase."""
    bpm = Fraction("97.3")
    sound, beat = pulse(bpm, "calm", 8_000, 1), 60 / bpm * 8_000
    last = int(10 * 3_600 * 8_000 / (COUNTS * beat))
    assert abs(sound._start_of(last) - last * COUNTS * beat) <= Fraction(1, 2)


@pytest.mark.parametrize("mood", MOODS)
@pytest.mark.parametrize("bpm", [60, 120, 180])
def test_the_seam_does_not_click(mood, bpm):
    """No step between two phrases is larger than the largest inside one."""
    phrase = Phrase(Fraction(bpm), mood, RATE_HZ, 2)
    length = to_frame(phrase.frames)
    heard = Pulse(phrase).read(0, 2 * length).astype(float)
    steps = np.abs(np.diff(heard, axis=0)).max(axis=1)
    around = steps[length - 50 : length + 50].max()
    assert around <= np.delete(steps, slice(length - 50, length + 50)).max()


@pytest.mark.parametrize("mood", MOODS)
def test_the_chords_are_the_notes_that_are_written(mood):
    """ISO 16: A4 is 440 Hz; equal temperament, so note n is 440 * 2 ** ((n - 69) / 12) Hz."""
    for chord in MOODS[mood].chords:
        seconds, rate_hz = 4.0, 16_000
        sound = instruments.chord(chord.notes, seconds, rate_hz)[:, 0]
        spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
        frequency_hz = np.fft.rfftfreq(len(sound), 1 / rate_hz)
        for note in chord.notes:
            expected_hz = 440 * 2 ** ((note - 69) / 12)
            near = np.abs(frequency_hz - expected_hz) < expected_hz * 0.02
            found_hz = frequency_hz[near][np.argmax(spectrum[near])]
            assert found_hz == pytest.approx(expected_hz, abs=0.3)


@pytest.mark.parametrize("mood", MOODS)
def test_a_mood_is_a_bed_and_no_lead(mood):
    """No offset, peaks that a limiter need not touch at -20 LUFS, and little between 1.4 and 4 kHz."""
    phrase = Phrase(Fraction(120), mood, RATE_HZ, 2)
    samples = phrase.samples.astype(float)
    assert abs(samples.mean()) < 1e-3 * np.abs(samples).max()
    assert np.abs(samples).max() * 10 ** ((-20 - phrase.loudness_lufs) / 20) < 10 ** (-3 / 20)
    power = (np.abs(np.fft.rfft(samples, axis=0)) ** 2).sum(axis=1)
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    speech = power[(frequency_hz > 1_400) & (frequency_hz < 4_000)].sum()
    assert 10 * np.log10(speech / power.sum()) < -12
    small_speaker = power[frequency_hz > 300].sum()
    assert 10 * np.log10(small_speaker / power.sum()) > -12


@pytest.mark.parametrize("mood", MOODS)
@pytest.mark.parametrize("channels", [1, 2])
def test_the_loudness_is_what_another_meter_reads(mood, channels):
    phrase = Phrase(Fraction(110), mood, RATE_HZ, channels)
    heard = np.repeat(Pulse(phrase).read(0, 40 * RATE_HZ), 2 // channels, axis=1)
    other_lufs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(heard.astype(float))
    assert phrase.loudness_lufs == pytest.approx(other_lufs, abs=0.3)  # of other stretches


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_it_sounds_at_every_rate(rate_hz):
    heard = pulse(140, "strong", rate_hz).read(-rate_hz // 2, rate_hz)
    assert heard.shape == (rate_hz, 2)
    assert heard.dtype == np.float32
    assert np.isfinite(heard).all()
    assert heard.any()


def test_any_way_of_reading_gives_the_same():
    sound, rng = pulse("123.4", "strong", 8_000), np.random.default_rng(3)
    whole = sound.read(-20_000, 300_000)
    position = 0
    while position < 250_000:
        frames = int(rng.integers(1, 40_000))
        assert np.array_equal(sound.read(position - 20_000, frames), whole[position : position + frames])
        position += frames


def test_two_processes_make_the_same_samples():
    code = (
        "import hashlib; from fractions import Fraction; from cuetrack.sound.pulse import Phrase;"
        "print([hashlib.sha256(Phrase(Fraction(121), mood, 44_100, 2).samples.tobytes()).hexdigest()"
        " for mood in ('steady', 'calm')])"
    )
    run = [subprocess.run([sys.executable, "-c", code], capture_output=True, check=True) for _ in range(2)]
    assert run[0].stdout == run[1].stdout != b""


def test_every_mood_is_written_whole():
    """Bars of 16 quarters of a count, and four chords of two bars."""
    for mood in MOODS.values():
        for drum in (mood.kick, mood.snare, mood.hat, mood.bass):
            for bar in (drum.bar, drum.fill):
                assert len(bar) == 4 * STEPS_IN_COUNT
                assert set(bar) <= set("xo.")
        assert len(mood.chords) == 4
        assert mood.description
