"""Bed spans as blocks: what plays where at which level, measured by another meter."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pyloudnorm
import pytest
import soundfile

from cuetrack.mix import bed_player
from cuetrack.mix.bed import BED_LEVEL_LUFS, bed_blocks
from cuetrack.mix.bed_files import measured_file
from cuetrack.mix.bed_sequence import FilesSound
from cuetrack.sound.pulse import Phrase, Pulse
from cuetrack.sound.pulse_moods import DEFAULT_MOOD
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource
from cuetrack.timeline.bed_settings import Fades

RATE_HZ = 24_000


class Steady:
    """A sound of one level for ever; its samples count up slowly, so that each place in it is known."""

    def __init__(self, loudness_lufs=BED_LEVEL_LUFS, channels=2):
        self.lufs, self.channels, self.begun = loudness_lufs, channels, 0

    def loudness_lufs(self):
        return self.lufs

    def played(self):
        self.begun += 1
        return self

    def read(self, start_frame, frames):
        ramp = 0.1 + np.arange(start_frame, start_frame + frames) / 2**24
        return np.repeat(ramp.astype(np.float32)[:, np.newaxis], self.channels, axis=1)


def pulse(anchor="0", bpm=120):
    return PulseSource(Fraction(bpm), DEFAULT_MOOD, Instant(Fraction(anchor)))


def span(start, end, source, *, gain_db=0, fade_in="0", fade_out="0"):
    return BedSpan(
        Instant(Fraction(start)),
        Instant(Fraction(end)),
        source,
        Fraction(gain_db),
        Duration(Fraction(fade_in)),
        Duration(Fraction(fade_out)),
        Fraction(-14),
        Fades(Duration(Fraction(fade_in)), Duration(Fraction(fade_out))),
    )


def whole(spans, sounds, seconds, block_frames=5_000, channels=2):
    frames = round(seconds * RATE_HZ)
    blocks = list(bed_blocks(spans, sounds, RATE_HZ, frames, channels, block_frames))
    lengths = [min(block_frames, frames - start) for start in range(0, frames, block_frames)]
    assert [
        length if block is None else len(block) for block, length in zip(blocks, lengths, strict=True)
    ] == lengths
    silence = [np.zeros((length, channels), np.float32) for length in lengths]
    return np.concatenate(
        [still if block is None else block for block, still in zip(blocks, silence, strict=True)]
    )


def db(samples):
    return 20 * np.log10(np.abs(samples))


class TestWhere:
    def test_silence_is_none_and_what_plays_stands_on_its_frames(self):
        source = pulse("1/2")
        spans = (span("1", "2", source), span("3", "3.5", source))
        sounds = {source: Steady()}
        blocks = list(bed_blocks(spans, sounds, RATE_HZ, 4 * RATE_HZ, 2, RATE_HZ // 2))
        assert [block is None for block in blocks] == [True, True, False, False, True, True, False, True]
        made = whole(spans, sounds, 4)
        expected = Steady().read(-RATE_HZ // 2, 4 * RATE_HZ)
        for begin, end in ((1, 2), (3, 3.5)):
            stretch = slice(round(begin * RATE_HZ), round(end * RATE_HZ))
            assert np.array_equal(made[stretch], expected[stretch])
            expected[stretch] = made[stretch] = 0
        assert not made.any()

    def test_no_span_is_silence(self):
        assert list(bed_blocks((), {}, RATE_HZ, 12_000, 2, 5_000)) == [None, None, None]

    def test_each_call_plays_every_source_anew_and_once(self):
        source, steady = pulse(), Steady()
        spans = (span("0", "1", source), span("1", "2", source, gain_db=-6), span("3", "4", source))
        assert np.array_equal(whole(spans, {source: steady}, 4), whole(spans, {source: steady}, 4))
        assert steady.begun == 2

    def test_a_span_that_reaches_over_the_end_is_cut(self):
        source = pulse()
        assert len(whole((span("0", "9", source),), {source: Steady()}, 1.25)) == 1.25 * RATE_HZ


class TestHowLoud:
    @pytest.mark.parametrize(("gain_db", "channels"), [(0, 2), (0, 1), (-7, 2), (3, 2)])
    def test_the_pulse_has_the_beds_level_and_the_plans_gain(self, gain_db, channels):
        source = pulse()
        sounds = {source: Pulse(Phrase(source.bpm, source.mood, RATE_HZ, channels))}
        made = whole((span("0", "32", source, gain_db=gain_db),), sounds, 32, channels=channels)
        stereo = np.broadcast_to(made, (len(made), 2)).astype(float)
        found = pyloudnorm.Meter(RATE_HZ).integrated_loudness(stereo)
        assert found == pytest.approx(BED_LEVEL_LUFS + gain_db, abs=0.1)

    @pytest.mark.parametrize("level", [0.003, 0.9])
    def test_a_soft_and_a_loud_file_have_it_too(self, tmp_path, level):
        rng = np.random.default_rng(5)
        samples = level * rng.uniform(-1, 1, (6 * RATE_HZ, 2))
        soundfile.write(tmp_path / "tide.wav", samples, RATE_HZ, subtype="FLOAT")
        source = FilesSource(
            ("tide.wav",),
            Duration(Fraction(0)),
            None,
            Duration(Fraction(1)),
            True,
            Instant(Fraction(0)),
            None,
        )
        files = [measured_file(tmp_path / "tide.wav", RATE_HZ, 2, 1 << 40)]
        sounds = {source: FilesSound(source, files, RATE_HZ, 2)}
        made = whole((span("0", "20", source),), sounds, 20)
        found = pyloudnorm.Meter(RATE_HZ).integrated_loudness(made.astype(float))
        assert found == pytest.approx(BED_LEVEL_LUFS, abs=0.1)

    def test_silence_is_not_made_louder(self):
        source = pulse()
        made = whole((span("0", "1", source),), {source: Steady(float("-inf"))}, 1)
        assert np.array_equal(made, Steady().read(0, RATE_HZ))

    def test_fades_are_of_equal_power_and_lie_inside_the_span(self):
        source = pulse()
        made = whole((span("1", "5", source, fade_in="1", fade_out="2"),), {source: Steady()}, 6)
        gain = (made / Steady().read(0, 6 * RATE_HZ))[:, 0]
        expected = np.zeros(6 * RATE_HZ)
        time = np.arange(6 * RATE_HZ) / RATE_HZ
        expected[RATE_HZ : 5 * RATE_HZ] = 1
        expected[RATE_HZ : 2 * RATE_HZ] = np.sin(np.pi / 2 * (time[RATE_HZ : 2 * RATE_HZ] - 1))
        expected[3 * RATE_HZ : 5 * RATE_HZ] = np.cos(np.pi / 4 * (time[3 * RATE_HZ : 5 * RATE_HZ] - 3))
        assert np.abs(gain - expected).max() < 1e-6
        assert gain[RATE_HZ] == 0

    @pytest.mark.parametrize("by_db", [-9, 6])
    def test_where_the_music_goes_on_its_gain_is_there_at_the_boundary(self, by_db):
        source = pulse()
        spans = (span("0", "2", source), span("2", "4", source, gain_db=by_db))
        gain_db = db(whole(spans, {source: Steady()}, 4) / Steady().read(0, 4 * RATE_HZ))[:, 0]
        ramp = slice(round(1.8 * RATE_HZ), 2 * RATE_HZ)
        assert np.abs(gain_db[: ramp.start]).max() < 1e-6
        assert np.abs(gain_db[ramp.stop - 1 :] - by_db).max() < 1e-4
        assert np.abs(np.diff(gain_db[ramp])).max() == pytest.approx(abs(by_db) / (0.2 * RATE_HZ), rel=0.05)

    @pytest.mark.parametrize(
        "after", [span("2", "4", pulse(bpm=90), gain_db=-9), span("2.5", "4", pulse(), gain_db=-9)]
    )
    def test_another_music_or_one_after_a_gap_begins_at_its_own_gain(self, after):
        spans = (span("0", "2", pulse()), after)
        sounds = {one.source: Steady() for one in spans}
        made = whole(spans, sounds, 4) / Steady().read(0, 4 * RATE_HZ)
        assert np.array_equal(made[: 2 * RATE_HZ], np.ones((2 * RATE_HZ, 2)))
        assert db(made[round(2.5 * RATE_HZ) :]) == pytest.approx(-9, abs=1e-4)

    def test_a_span_shorter_than_the_ramp_uses_all_of_itself(self):
        source = pulse()
        spans = (
            span("0", "1", source),
            span("1", "1.1", source, gain_db=-4),
            span("1.1", "2", source, gain_db=-8),
        )
        gain_db = db(whole(spans, {source: Steady()}, 2) / Steady().read(0, 2 * RATE_HZ))[:, 0]
        assert gain_db[[RATE_HZ - 1, round(1.1 * RATE_HZ) - 1]] == pytest.approx([-4, -8], abs=1e-4)
        assert np.all(np.diff(gain_db) < 1e-4)


@pytest.fixture(scope="module")
def mixed_bed(tmp_path_factory):
    """A pulse, silence, files that loop, and another gain, with every kind of fade."""
    tmp_path = tmp_path_factory.mktemp("beds")
    soundfile.write(tmp_path / "tide.wav", np.random.default_rng(2).uniform(-0.3, 0.3, 8_000), RATE_HZ)
    files = FilesSource(
        ("tide.wav",),
        Duration(Fraction("0.01")),
        None,
        Duration(Fraction("0.05")),
        True,
        Instant(Fraction("1.7")),
        None,
    )
    first = pulse("1/3")
    spans = (
        span("0", "1.2", first, fade_in="0.01", fade_out="0.3"),
        span("1.7", "2.4", files, fade_in="0.5"),
        span("2.4", "3.3", files, gain_db=-5),
        span("3.3", "3.9", first, fade_out="0.2"),
    )
    measured = [measured_file(tmp_path / "tide.wav", RATE_HZ, 2, 1 << 40)]
    sounds = {
        first: Pulse(Phrase(first.bpm, first.mood, RATE_HZ, 2)),
        files: FilesSound(files, measured, RATE_HZ, 2),
    }
    return spans, sounds


@pytest.mark.parametrize("block_frames", [7, 777, 65_536, 200_000])
def test_blocks_change_no_sample(mixed_bed, block_frames):
    spans, sounds = mixed_bed
    assert np.array_equal(whole(spans, sounds, 4, block_frames), whole(spans, sounds, 4, 4_096))


def test_files_are_let_go_where_nobody_reads_on(mixed_bed, monkeypatch):
    spans, sounds = mixed_bed
    closed = []
    close = bed_player.SequencePlayer.close
    monkeypatch.setattr(bed_player.SequencePlayer, "close", lambda self: closed.append(self) or close(self))
    blocks = bed_blocks(spans, sounds, RATE_HZ, 4 * RATE_HZ, 2, 1_000)
    for _ in range(45):
        next(blocks)
    blocks.close()
    assert len(closed) == 1
