"""Files in sequence and in loops against whole arrays that are added by plain arithmetic."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np
import pyloudnorm
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack.errors import MediaMissingError, Place, PlanError, SoundError
from cuetrack.mix import bed_sequence
from cuetrack.mix.bed_files import measured_file
from cuetrack.mix.bed_sequence import FilesSound, files_sound
from cuetrack.sound import decoding
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import FilesSource

RATE_HZ = 44_100
NO_LIMIT = 1 << 40


def seconds(text):
    return Duration(Fraction(text))


def source_of(*files, start="0", bpm=None, crossfade="0", loop=True, anchor="0", place=None):
    return FilesSource(
        files or ("tide.wav",),
        seconds(start),
        None if bpm is None else Fraction(bpm),
        seconds(crossfade),
        loop,
        Instant(Fraction(anchor)),
        place,
    )


@pytest.fixture
def sound_of(tmp_path):
    """Writes arrays as files and gives what plays them."""

    def made(*arrays, rate_hz=RATE_HZ, most_frames=NO_LIMIT, **words):
        paths = [tmp_path / f"{index}.wav" for index in range(len(arrays))]
        for path, samples in zip(paths, arrays, strict=True):
            soundfile.write(path, samples, rate_hz, subtype="FLOAT")
        channels = 1 if arrays[0].ndim == 1 else 2
        measured = [measured_file(path, rate_hz, channels, most_frames) for path in paths]
        return FilesSound(source_of(**words), measured, rate_hz, channels)

    return made


def heard(sound, frames, block_frames=10_000, start=0):
    player = sound.played()
    blocks = [
        player.read(first, min(block_frames, start + frames - first))
        for first in range(start, start + frames, block_frames)
    ]
    player.close()
    return np.concatenate(blocks)


def music(length, rate_hz=RATE_HZ, seed=4):
    """Noise that loses treble: no two stretches alike, and nothing of it a click."""
    frames = round(length * rate_hz)
    longer = 2 * frames  # what comes out of a spectrum goes on from its end to its start
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(longer))
    frequency_hz = np.fft.rfftfreq(longer, 1 / rate_hz)
    spectrum *= (frequency_hz > 40) / (1 + (frequency_hz / 400) ** 2)
    noise = np.fft.irfft(spectrum, longer)[:frames]
    return (0.1 * noise / noise.std()).astype(np.float32)


def chord(length):
    """Tones that sound all through it, so that both sides of a crossfade resemble each other."""
    time = np.arange(round(length * RATE_HZ)) / RATE_HZ
    tones = np.random.default_rng(6).uniform(100, 600, 5)
    return (0.05 * np.sin(2 * np.pi * tones * time[:, np.newaxis]).sum(axis=1)).astype(np.float32)


def impulse_train(frames, at):
    samples = np.zeros(frames, np.float32)
    samples[at] = 0.5
    return samples


def steps(samples):
    """The largest first difference."""
    return np.abs(np.diff(samples, axis=0)).max()


def added(turns, frames):
    """The sum of (samples, start, fade in, fade out), frames, with equal power: sin² + cos² = 1."""
    total = np.zeros(frames + 10 * RATE_HZ)
    for samples, start, fade_in, fade_out in turns:
        gain = np.ones(len(samples))
        gain[:fade_in] *= np.sin(np.pi / 2 * np.arange(fade_in) / max(1, fade_in))
        if fade_out:
            gain[-fade_out:] *= np.cos(np.pi / 2 * np.arange(fade_out) / fade_out)
        total[start : start + len(samples)] += samples * gain
    return total[:frames]


class TestTheBeat:
    @pytest.mark.parametrize(
        ("bpm", "anchor"), [("128", "0"), ("97.3", "1/3"), ("240", "12.3456789"), ("400/3", "7/11")]
    )
    def test_two_hundred_loops_keep_it(self, sound_of, bpm, anchor):
        """At 128 a minute and 44.1 kHz a beat is 20,671.875 frames: where beats are rounded, the 200th
        loop is 25 to 100 frames off. Each mark has to lie on the frame nearest to its exact time."""
        beat = Fraction(60) / Fraction(bpm)
        mark, tail = 500, RATE_HZ // 5
        samples = impulse_train(floor(2 * beat * RATE_HZ) + tail, mark)
        sound = sound_of(samples, bpm=bpm, crossfade="0.01", anchor=anchor)
        found = np.flatnonzero(heard(sound, floor(201 * 2 * beat * RATE_HZ), 1 << 18)[:, 0] > 0.4)
        anchor_frame = floor(Fraction(anchor) * RATE_HZ + Fraction(1, 2))
        exact = [(Fraction(anchor) + loop * 2 * beat) * RATE_HZ for loop in range(201)]
        expected = [floor(position + Fraction(1, 2)) - anchor_frame + mark for position in exact]
        assert list(found) == expected

    def test_a_file_cut_to_whole_beats_goes_on_as_if_it_never_ended(self, sound_of):
        """Four beats of 0.5 s, in which every sine has whole periods: the loop is the endless sine."""
        time = np.arange(20 * RATE_HZ) / RATE_HZ
        endless = (0.2 * np.sin(2 * np.pi * 441 * time) + 0.1 * np.sin(2 * np.pi * 63 * time)).astype(
            np.float32
        )
        sound = sound_of(endless[: 2 * RATE_HZ], bpm="120", crossfade="1")
        assert np.abs(heard(sound, len(endless))[:, 0] - endless).max() < 1e-6

    @pytest.mark.parametrize("over", [-40, -1, 1, 130])
    def test_a_loop_that_is_a_hair_off_is_held_to_the_beat(self, sound_of, over):
        """As rounding makes it, or an encoder that fills its last packet; and it does not click."""
        samples = music(2.1)[: 2 * RATE_HZ + over]
        samples[500] = 2.0
        made = heard(sound_of(samples, bpm="120", crossfade="1"), 20 * RATE_HZ)[:, 0]
        assert list(np.flatnonzero(made > 1.5)) == [500 + loop * 2 * RATE_HZ for loop in range(10)]
        made[np.flatnonzero(made > 1.5)] = made[np.flatnonzero(made > 1.5) - 1]
        samples[500] = samples[499]
        assert steps(made) <= steps(samples)

    def test_files_in_sequence_begin_on_the_beat(self, sound_of):
        first, second = (impulse_train(round(length * RATE_HZ), 5_000) for length in (3.3, 2.2))
        sound = sound_of(first, second, bpm="100", crossfade="0.1")
        found = np.flatnonzero(heard(sound, 10 * RATE_HZ)[:, 0] > 0.4)
        beat = RATE_HZ * 0.6  # the hops are 5 beats and 3 beats
        assert list(found) == [5_000 + round(beats * beat) for beats in (0, 5, 8, 13, 16)]


class TestTheSeam:
    @pytest.mark.parametrize("material", [music, chord])
    @pytest.mark.parametrize(
        ("words", "allowed"),
        [
            ({"crossfade": "0.5"}, 2**0.5),
            ({"crossfade": "0.05"}, 2**0.5),
            ({"crossfade": "0.3", "bpm": "130", "start": "0.31"}, 2**0.5),
            ({"crossfade": "0"}, 1.001),  # what is rounded off has a slope of its own
            ({"crossfade": "0", "bpm": "130"}, 1.001),
        ],
    )
    def test_no_loop_clicks(self, sound_of, words, allowed, material):
        """No first difference in 200 loops goes beyond the music's own; in a crossfade two sounds are added,
        with gains whose sum is at most the square root of 2, and so are their differences."""
        samples = material(1.4)
        made = heard(sound_of(samples, **words), 200 * RATE_HZ, 1 << 18)[:, 0]
        assert steps(made) <= allowed * steps(samples)
        assert np.abs(made).max() > 0.2

    @pytest.mark.parametrize("material", [music, chord])
    def test_the_check_hears_a_click(self, material):
        samples = material(1.4)
        assert steps(np.concatenate([samples, samples])) > 4 * steps(samples)

    @pytest.mark.parametrize("bpm", [None, "100"])
    def test_it_is_a_crossfade_of_equal_power(self, sound_of, bpm):
        """Against whole arrays; at 100 a minute 0.6 s a beat: the hop is 3 s of 3.4 s, or 3.2 s of them."""
        samples, fade = music(3.4), RATE_HZ // 5
        hop = 3 * RATE_HZ if bpm else round(3.2 * RATE_HZ)
        made = heard(sound_of(samples, bpm=bpm, crossfade="0.2"), 12 * RATE_HZ)[:, 0]
        turns = [(samples[: hop + fade], loop * hop, fade if loop else 0, fade) for loop in range(5)]
        assert np.abs(made - added(turns, 12 * RATE_HZ)).max() < 1e-6

    def test_power_stays_the_same_across_it(self, sound_of):
        rng = np.random.default_rng(1)
        made = heard(
            sound_of(rng.uniform(-0.5, 0.5, 9 * RATE_HZ).astype(np.float32), crossfade="3"), 8 * RATE_HZ
        )
        power = np.square(made[:, 0].reshape(40, -1)).mean(axis=1)
        assert power == pytest.approx(np.full(40, 1 / 12), rel=0.05)

    def test_each_file_comes_at_one_loudness(self, sound_of):
        made = heard(sound_of(0.1 * music(6), 2 * music(7, seed=4), crossfade="1"), 11 * RATE_HZ)[:, 0]
        meter = pyloudnorm.Meter(RATE_HZ)
        soft, loud = made[: 5 * RATE_HZ], made[6 * RATE_HZ : 11 * RATE_HZ]
        assert meter.integrated_loudness(soft) == pytest.approx(meter.integrated_loudness(loud), abs=0.3)

    def test_a_silent_file_stays_silent(self, sound_of):
        sound = sound_of(music(3), np.zeros(3 * RATE_HZ, np.float32), crossfade="0", loop=False)
        assert not heard(sound, 5 * RATE_HZ)[3 * RATE_HZ + 500 :].any()


class TestTheOrder:
    def test_what_does_not_loop_ends_in_silence_and_without_a_click(self, sound_of):
        first, last = music(2), music(3, seed=8)
        made = heard(sound_of(first, last, crossfade="0.5", loop=False), 8 * RATE_HZ)[:, 0]
        end = round(4.5 * RATE_HZ)
        assert np.abs(made[end - 900 : end - 450]).max() > 0.01
        assert not made[end:].any()
        assert steps(made) <= 1.01 * max(steps(first), steps(last))

    def test_the_first_file_begins_at_its_start_in_every_loop(self, sound_of):
        samples = music(5)
        made = heard(sound_of(samples, start="1.5", crossfade="0.5"), 5 * RATE_HZ)[:, 0]
        begin, fade = round(1.5 * RATE_HZ), RATE_HZ // 2
        turns = [(samples[begin:], 0, 0, fade), (samples[begin:], 3 * RATE_HZ, fade, fade)]
        assert np.abs(made - added(turns, 5 * RATE_HZ)).max() < 1e-6

    def test_it_is_known_where_it_ends_by_itself(self, sound_of):
        files = music(2), music(3, seed=8)
        sound = sound_of(*files, crossfade="0.5", loop=False)
        assert sound.frames == 4.5 * RATE_HZ
        made = heard(sound, 6 * RATE_HZ)[:, 0]
        assert made[sound.frames - 1] != 0
        assert not made[sound.frames :].any()
        assert sound_of(*files, crossfade="0.5").frames is None
        assert sound_of(*files, crossfade="0.5", loop=False, most_frames=2 * RATE_HZ).frames is None

    def test_a_file_longer_than_the_programme_plays_through(self, sound_of):
        samples = music(9)
        made = heard(sound_of(samples, crossfade="1", most_frames=4 * RATE_HZ), 4 * RATE_HZ)
        assert np.array_equal(made[:, 0], samples[: 4 * RATE_HZ])

    @given(block_frames=st.integers(1, 70_000), crossfade=st.sampled_from(["0", "0.003", "0.4"]))
    @settings(max_examples=15, deadline=None)
    def test_blocks_change_no_sample(self, tmp_path_factory, block_frames, crossfade):
        folder = tmp_path_factory.mktemp("blocks")
        soundfile.write(folder / "tide.wav", music(1), 8_000, subtype="FLOAT")
        measured = [measured_file(folder / "tide.wav", 8_000, 2, NO_LIMIT)]
        sound = FilesSound(source_of(crossfade=crossfade), measured, 8_000, 2)
        frames = 70_000 if block_frames > 300 else 12_000
        assert np.array_equal(heard(sound, frames, block_frames), heard(sound, frames, 4_096))

    def test_silence_between_does_not_stop_the_music(self, sound_of):
        """What is read after a gap is what would have been heard there."""
        sound = sound_of(music(3), music(2, seed=9), crossfade="0.5")
        whole = heard(sound, 30 * RATE_HZ)
        player = sound.played()
        for first in (7_000, 400_000, 1_250_000):
            assert np.array_equal(player.read(first, 9_000), whole[first : first + 9_000])

    def test_it_is_never_read_backwards(self, sound_of):
        player = sound_of(music(3), crossfade="0.5").played()
        player.read(0, 1_000)
        with pytest.raises(ValueError, match="not from 999 after 1000"):
            player.read(999, 1)

    def test_before_its_beginning_there_is_silence(self, sound_of):
        samples = music(3)
        made = heard(sound_of(samples), 20_000, start=-10_000)[:, 0]
        assert not made[:10_000].any()
        assert steps(made) <= steps(samples)
        assert np.array_equal(made[10_441:], samples[441:10_000])

    def test_short_loops_are_decoded_once(self, sound_of, monkeypatch):
        opened = []
        monkeypatch.setattr(
            bed_sequence,
            "decoded_pieces",
            lambda *arguments: opened.append(arguments) or decoding.decoded_pieces(*arguments),
        )
        sound = sound_of(music(2), crossfade="0.5")
        assert np.array_equal(heard(sound, 60 * RATE_HZ), heard(sound, 60 * RATE_HZ))
        assert len(opened) == 1


@pytest.mark.parametrize(
    ("length", "words", "message"),
    [
        (3, {"crossfade": "2"}, "0.wav lasts 3 s, too little for its crossfade of 2 s; write a shorter"),
        (3, {"start": "3"}, "0.wav lasts 3 s, and nothing is left after `start: 3 s`; begin earlier"),
        (3, {"start": "9"}, "0.wav lasts 3 s, and nothing is left after `start: 9 s`; begin earlier"),
        (
            3,
            {"start": "2.95"},
            "0.wav has 0.05 s left after `start: 2.95 s`, .* 0.1 s to join it; begin earlier",
        ),
        (
            3,
            {"start": "2", "crossfade": "0.75"},
            "0.wav has 1 s left after `start: 2 s`, too little for its crossfade of 0.75 s; "
            "write a shorter `crossfade:`, at most half of that, or begin earlier",
        ),
        (3, {"bpm": "20.5", "crossfade": "1"}, "too little for its crossfade of 1 s; .* whole beats"),
        (1.3, {"bpm": "40"}, "lasts 1.3 s, and it takes 1.5 s to join it; name a longer file"),
        (0.04, {}, "lasts 0.04 s, and it takes 0.1 s to join it; name a longer file"),
    ],
)
def test_a_file_too_short_to_be_joined_is_refused(sound_of, length, words, message):
    with pytest.raises(SoundError, match=message):
        sound_of(music(length), **words)


def test_where_nothing_is_joined_any_rest_will_do(sound_of):
    sound = sound_of(music(3), start="2.95", loop=False)
    assert sound.frames == 3 * RATE_HZ - round(2.95 * RATE_HZ)


LINE = Place("quay.yaml", 4, 9, 8, "  file: [tide.wav, gulls.wav, oars.wav]")


class TestFromThePlan:
    def test_every_bad_file_is_named_once_at_the_coachs_line(self, tmp_path):
        (tmp_path / "tide.wav").write_text("Winter training on the quay")
        soundfile.write(tmp_path / "oars.wav", np.zeros(0), RATE_HZ)
        names = ("tide.wav", "gulls.wav", "oars.wav", "tide.wav")
        paths = {name: tmp_path / name for name in names}
        with pytest.raises(PlanError) as caught:
            files_sound(source_of(*names, place=LINE), paths, RATE_HZ, 2, 9_000)
        found = [(one.message, one.hint) for one in caught.value.diagnostics]
        assert found == [
            ("tide.wav cannot be read as sound: format not recognised", "name a sound file"),
            ("gulls.wav is not there", "name a sound file"),
            ("oars.wav holds no sound", "name another file"),
        ]
        assert str(caught.value).startswith("quay.yaml:4:9: error: tide.wav cannot")

    def test_what_is_too_short_is_told_there_too(self, tmp_path):
        soundfile.write(tmp_path / "tide.wav", music(3), RATE_HZ)
        source = source_of(crossfade="2", place=LINE)
        with pytest.raises(PlanError) as caught:
            files_sound(source, {"tide.wav": tmp_path / "tide.wav"}, RATE_HZ, 2, 9_000)
        assert caught.value.diagnostics[0].place == LINE
        assert caught.value.diagnostics[0].hint == "write a shorter `crossfade:`, at most half of that"

    def test_music_that_nobody_could_hear_is_told_there_too(self, tmp_path):
        """All zero, or under the gate of BS.1770-4, -70 LUFS."""
        for name, level in (("tide.wav", 0.0), ("ebb.wav", 1e-5), ("quay.wav", 0.5)):
            soundfile.write(tmp_path / name, level * music(3), RATE_HZ, subtype="FLOAT")
        paths = {name: tmp_path / name for name in ("tide.wav", "ebb.wav", "quay.wav")}
        for names, said in (
            (["tide.wav"], "tide.wav is silent"),
            (["tide.wav", "tide.wav"], "tide.wav is silent"),
            (["tide.wav", "ebb.wav"], "tide.wav and ebb.wav are silent"),
        ):
            with pytest.raises(PlanError) as caught:
                files_sound(source_of(*names, place=LINE), paths, RATE_HZ, 2, 9_000)
            (one,) = caught.value.diagnostics
            assert (one.message, one.place) == (f"{said} as far as it can be heard", LINE)
            assert one.hint == "name a file with music in it"
        sound = files_sound(source_of("quay.wav", "ebb.wav", place=LINE), paths, RATE_HZ, 2, 9_000)
        assert sound.silent_files == ("ebb.wav",)

    def test_music_that_begins_after_the_programme_is_silent_in_it(self, tmp_path):
        samples = np.concatenate([np.zeros(6 * RATE_HZ, np.float32), music(3)])
        soundfile.write(tmp_path / "tide.wav", samples, RATE_HZ, subtype="FLOAT")
        paths = {"tide.wav": tmp_path / "tide.wav"}
        with pytest.raises(PlanError, match=r"tide\.wav is silent as far as it can be heard"):
            files_sound(source_of(place=LINE), paths, RATE_HZ, 2, 5 * RATE_HZ)
        assert files_sound(source_of(start="5.5", place=LINE), paths, RATE_HZ, 2, 5 * RATE_HZ).frames is None

    def test_a_missing_ffmpeg_names_the_line(self, tmp_path, monkeypatch):
        def missing(what_for):
            raise MediaMissingError(f"{what_for} needs ffmpeg")

        monkeypatch.setattr(decoding, "ffmpeg_path", missing)
        (tmp_path / "tide.wav").write_bytes(b"\0\0\0\x1cftypM4A ")
        with pytest.raises(MediaMissingError, match=r"^quay\.yaml:4:9: reading tide\.wav needs ffmpeg$"):
            files_sound(source_of(place=LINE), {"tide.wav": tmp_path / "tide.wav"}, RATE_HZ, 2, 9_000)

    def test_a_file_that_ends_soon_after_the_programme_fades_before_that(self, tmp_path):
        soundfile.write(tmp_path / "tide.wav", music(5), RATE_HZ, subtype="FLOAT")
        source, paths = source_of(crossfade="1", start="0.25"), {"tide.wav": tmp_path / "tide.wav"}
        programme = round(4.5 * RATE_HZ)
        known, whole = (files_sound(source, paths, RATE_HZ, 2, frames) for frames in (programme, NO_LIMIT))
        assert np.array_equal(heard(known, programme), heard(whole, programme))

    def test_the_loudness_is_that_of_what_can_be_heard(self, tmp_path):
        samples = np.concatenate([0.01 * music(2), music(3), 0.01 * music(4)])
        soundfile.write(tmp_path / "tide.wav", samples, RATE_HZ, subtype="FLOAT")
        paths = {"tide.wav": tmp_path / "tide.wav"}
        sound = files_sound(source_of(start="2"), paths, RATE_HZ, 2, 3 * RATE_HZ)
        stereo = np.stack([samples[2 * RATE_HZ : 5 * RATE_HZ]] * 2, axis=1)
        expected = pyloudnorm.Meter(RATE_HZ).integrated_loudness(stereo)
        assert sound.loudness_lufs() == pytest.approx(expected, abs=0.1)
