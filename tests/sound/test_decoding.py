"""Sound files as they come: every kind against what went into it, and every bad one refused.

Files are encoded by ffmpeg or written byte by byte, so that no code of ours is on both sides.
"""

from __future__ import annotations

import os
import struct
import subprocess

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile
import soxr

from cuetrack.errors import MediaMissingError, SoundError
from cuetrack.sound import decoding
from cuetrack.sound.container import ffmpeg_container
from cuetrack.sound.decoding import decoded_pieces
from cuetrack.sound.mix_down import mix_down
from tests.helpers.signals import music, sine

RATE_HZ = 48_000


def ffmpeg(*arguments):
    program = imageio_ffmpeg.get_ffmpeg_exe()
    subprocess.run([program, "-nostdin", "-loglevel", "error", "-y", *map(str, arguments)], check=True)


def decoded(path, rate_hz=RATE_HZ, channels=2):
    return np.concatenate(list(decoded_pieces(path, rate_hz, channels)))


def level_at(samples, frequency_hz, rate_hz=RATE_HZ):
    """The amplitude of a sine in `samples`, by correlation."""
    turn = np.exp(-2j * np.pi * frequency_hz * np.arange(len(samples)) / rate_hz)
    return 2 * abs(np.dot(samples, turn)) / len(samples)


def frames_late(found, original):
    """By how many frames `found` lies behind `original`, by cross-correlation."""
    size = len(found) + len(original)
    spectrum = np.fft.rfft(found, size) * np.conj(np.fft.rfft(original, size))
    lag = int(np.argmax(np.fft.irfft(spectrum, size)))
    return lag if lag < size // 2 else lag - size


@pytest.fixture(scope="module")
def tune(tmp_path_factory):
    """A folder with ten seconds of music as WAV, and that music."""
    folder = tmp_path_factory.mktemp("tune")
    soundfile.write(folder / "tide.wav", music(10), RATE_HZ, subtype="FLOAT")
    return folder


def encoded(tune, name, *arguments):
    target = tune / name
    if not target.exists():
        ffmpeg("-i", tune / "tide.wav", *arguments, target)
    return target


class TestWhatIsRead:
    def test_a_file_at_the_programmes_rate_comes_bit_by_bit(self, tune):
        assert np.array_equal(
            decoded(tune / "tide.wav"), soundfile.read(tune / "tide.wav", dtype="float32")[0]
        )

    @pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
    def test_another_rate_is_resampled_as_in_one_piece(self, tmp_path, rate_hz):
        samples = music(2.5, rate_hz)
        soundfile.write(tmp_path / "tide.wav", samples, rate_hz, subtype="FLOAT")
        found = decoded(tmp_path / "tide.wav")
        assert len(found) == 2.5 * RATE_HZ
        assert np.abs(found - soxr.resample(samples, rate_hz, RATE_HZ)).max() < 1e-6

    def test_8_khz_mono_sounds_the_same_on_both_sides(self, tmp_path):
        soundfile.write(tmp_path / "old.wav", sine(440, 2, 8_000), 8_000, subtype="FLOAT")
        found = decoded(tmp_path / "old.wav")
        assert np.array_equal(found[:, 0], found[:, 1])
        assert level_at(found[:RATE_HZ, 0], 440) == pytest.approx(0.25, rel=0.01)

    @pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "opus", "m4a"])
    def test_five_point_one_is_mixed_down_after_bs_775(self, tmp_path, ending):
        """ITU-R BS.775-3 table 2: L' = L + 0.7071 C + 0.7071 Ls, R' the same; nothing of the effects."""
        tones = [300, 400, 500, 100, 700, 800]  # L R C LFE Ls Rs; the low one passes an encoder's LFE
        six = np.stack([sine(tone, 2, level=0.1) for tone in tones], axis=1)
        soundfile.write(tmp_path / "six.wav", six, RATE_HZ, subtype="FLOAT")
        if ending != "wav":
            rate = ["-b:a", "768k"] if ending in ("m4a", "opus") else []
            codec = {"ogg": ["-c:a", "libvorbis", "-q:a", "9"], "opus": ["-c:a", "libopus"]}.get(ending, [])
            ffmpeg("-i", tmp_path / "six.wav", *codec, *rate, tmp_path / f"six.{ending}")
        middle = decoded(tmp_path / f"six.{ending}")[RATE_HZ // 2 : RATE_HZ * 3 // 2]
        found = np.array([[level_at(middle[:, side], tone) for tone in tones] for side in (0, 1)])
        half = 0.0707
        expected = [[0.1, 0, half, 0, half, 0], [0, 0.1, half, 0, 0, half]]
        assert found == pytest.approx(np.array(expected), abs=0.006)

    @pytest.mark.parametrize("found", range(1, 9))
    @pytest.mark.parametrize("is_ogg", [False, True])
    def test_no_side_is_favoured_and_mono_is_the_mean(self, found, is_ogg):
        stereo = mix_down(found, 2, is_ogg=is_ogg)
        assert sorted(stereo[:, 0]) == sorted(stereo[:, 1])
        assert mix_down(found, 1, is_ogg=is_ogg)[:, 0] == pytest.approx(stereo.mean(axis=1))

    @pytest.mark.parametrize(
        ("name", "arguments", "longer"),
        [
            ("tide.flac", (), 0),
            ("tide.ogg", ("-c:a", "libvorbis"), 0),
            ("tide.mp3", (), 0),
            ("tide.opus", ("-b:a", "192k"), 0),
            ("tide.m4a", ("-b:a", "192k"), 1024),
            ("tide.webm", ("-b:a", "192k"), 1024),
        ],
    )
    def test_nothing_is_late_and_nothing_missing(self, tune, name, arguments, longer):
        """Lossless to the bit count of FLAC; a lossy file may only be longer by a part of its last packet."""
        found, original = decoded(encoded(tune, name, *arguments)), decoded(tune / "tide.wav")
        assert 0 <= len(found) - len(original) <= longer
        assert frames_late(found[:, 0], original[:, 0]) == 0
        assert np.corrcoef(found[: len(original), 1], original[:, 1])[0, 1] > 0.95

    def test_the_sound_of_a_video_is_read(self, tune):
        picture = ("-f", "lavfi", "-i", "testsrc=size=64x64:rate=10:duration=10")
        film = encoded(tune, "quay.mov", *picture, "-map", "1:v", "-map", "0:a", "-c:a", "aac", "-shortest")
        found = decoded(film)
        assert len(found) >= 9.9 * RATE_HZ
        assert frames_late(found[:, 0], decoded(tune / "tide.wav")[:, 0]) == 0

    @pytest.mark.parametrize("tag", [(), ("-metadata", "title=Tide", "-write_id3v2", "1")])
    def test_raw_aac_is_read_with_and_without_an_id3_tag(self, tune, tag):
        file = encoded(tune, f"tide{len(tag)}.aac", "-f", "adts", *tag)
        assert ffmpeg_container(file) == "aac"
        assert len(decoded(file)) >= 10 * RATE_HZ

    def test_an_mp3_that_does_not_tell_its_length_is_read_to_its_end(self, tmp_path):
        """A variable bit rate, soft at first and loud later: guessed from the first frame it is too short."""
        samples = np.concatenate([np.zeros((RATE_HZ, 2), np.float32), 4 * music(9)])
        soundfile.write(tmp_path / "tide.wav", samples, RATE_HZ, subtype="FLOAT")
        ffmpeg("-i", tmp_path / "tide.wav", "-q:a", "2", "-write_xing", "0", tmp_path / "tide.mp3")
        assert len(decoded(tmp_path / "tide.mp3")) >= 10 * RATE_HZ

    def test_a_wav_from_a_pipe_that_does_not_know_its_length_is_read(self, tune):
        data = bytearray((tune / "tide.wav").read_bytes())
        at = data.index(b"data") + 4
        data[4:8] = data[at : at + 4] = struct.pack("<I", 0xFFFF_FFFF)
        (tune / "piped.wav").write_bytes(data)
        assert np.array_equal(decoded(tune / "piped.wav"), decoded(tune / "tide.wav"))

    def test_a_file_is_known_by_its_bytes_not_its_name(self, tune):
        encoded(tune, "tide.m4a", "-b:a", "192k")
        (tune / "tide.raw").write_bytes((tune / "tide.wav").read_bytes())
        (tune / "really m4a.mp3").write_bytes((tune / "tide.m4a").read_bytes())
        assert np.array_equal(decoded(tune / "tide.raw"), decoded(tune / "tide.wav"))
        assert np.array_equal(decoded(tune / "really m4a.mp3"), decoded(tune / "tide.m4a"))

    def test_ffmpeg_is_ended_where_nobody_reads_on(self, tune, monkeypatch):
        started = []
        popen = subprocess.Popen

        def remembered(*arguments, **settings):
            started.append(popen(*arguments, **settings))
            return started[-1]

        monkeypatch.setattr(decoding.subprocess, "Popen", remembered)
        pieces = decoded_pieces(encoded(tune, "tide.m4a", "-b:a", "192k"), RATE_HZ, 2)
        next(pieces)
        pieces.close()
        assert [process.returncode is None for process in started] == [False]


def refusal(path):
    with pytest.raises(SoundError) as caught:
        decoded(path)
    message = str(caught.value)
    assert message.startswith(path.name)
    assert message.count("; ") == 1  # what was found, and what to do
    return message


class TestWhatIsRefused:
    def test_missing(self, tmp_path):
        assert "is not there" in refusal(tmp_path / "tide.mp3")

    def test_a_folder(self, tmp_path):
        (tmp_path / "beds").mkdir()
        assert "is no ordinary file" in refusal(tmp_path / "beds")

    @pytest.mark.skipif(os.name == "nt", reason="Windows has no device files")
    def test_a_device_and_a_pipe(self, tmp_path):
        os.mkfifo(tmp_path / "pipe.wav")
        (tmp_path / "endless.wav").symlink_to("/dev/zero")
        assert "is no ordinary file" in refusal(tmp_path / "pipe.wav")
        assert "is no ordinary file" in refusal(tmp_path / "endless.wav")

    @pytest.mark.parametrize("name", ["tide.mp3", "tide.wav", "tide.m4a", "tide.raw", "tide.vox", "tide.au"])
    @pytest.mark.parametrize(
        "data",
        [
            b"",
            b"Winter training on the quay.\n" * 99,
            bytes(50_000),
            b"ID3\x04\0\0\0\0\0\x10" + b"quay" * 999,
        ],
        ids=["empty", "text", "zeros", "text after a tag"],
    )
    def test_no_sound_at_all_under_any_name(self, tmp_path, capfd, name, data):
        (tmp_path / name).write_bytes(data)
        assert "cannot be read as sound: format not recognised; name a sound file" in refusal(tmp_path / name)
        assert capfd.readouterr() == ("", "")

    def test_a_container_with_nothing_in_it(self, tmp_path):
        (tmp_path / "tide.m4a").write_bytes(b"\0\0\0\x1cftypM4A " + bytes(5_000))
        assert "cannot be read as sound" in refusal(tmp_path / "tide.m4a")

    def test_a_video_without_sound(self, tmp_path):
        ffmpeg("-f", "lavfi", "-i", "testsrc=size=64x64:rate=10:duration=1", tmp_path / "quay.mp4")
        assert refusal(tmp_path / "quay.mp4") == "quay.mp4 has no sound in it; name a file that has"

    @pytest.mark.parametrize("number", [np.nan, np.inf, -np.inf])
    @pytest.mark.parametrize("rate_hz", [RATE_HZ, 44_100])
    def test_samples_that_are_no_numbers_are_named_with_their_time(self, tmp_path, number, rate_hz):
        samples = music(3, rate_hz)
        samples[round(2.25 * rate_hz) + 1, 1] = number
        soundfile.write(tmp_path / "tide.wav", samples, rate_hz, subtype="FLOAT")
        assert "no numbers, the first at 0:02.25;" in refusal(tmp_path / "tide.wav")

    def test_also_in_a_channel_that_nobody_hears(self, tmp_path):
        samples = np.zeros((RATE_HZ, 6), np.float32)
        samples[RATE_HZ // 2 + 1, 3] = np.nan
        soundfile.write(tmp_path / "six.wav", samples, RATE_HZ, subtype="FLOAT")
        assert "the first at 0:00.50;" in refusal(tmp_path / "six.wav")

    @pytest.mark.parametrize(
        ("name", "arguments"),
        [
            ("cut.wav", ()),
            ("cut.w64", ()),
            ("cut.aiff", ()),
            ("cut.flac", ()),
            ("cut.mp3", ()),
            ("cut.ogg", ("-c:a", "libvorbis")),
            ("cut.opus", ()),
            ("cut.m4a", ()),
            ("cut.mp4", ("-movflags", "+faststart")),
            ("cut.aac", ()),
            ("cut.webm", ()),
        ],
    )
    def test_a_file_that_was_not_copied_whole(self, tune, tmp_path, name, arguments):
        data = encoded(tune, name, *arguments).read_bytes()
        (tmp_path / name).write_bytes(data[: len(data) * 6 // 10])
        message = refusal(tmp_path / name)
        assert "breaks off" in message
        decoded(tune / name)

    def test_an_mp3_that_does_not_tell_its_length_is_played_as_far_as_it_goes(self, tune, tmp_path):
        """Nobody can know that it was longer; with its length told it is refused, as above."""
        data = encoded(tune, "untold.mp3", "-write_xing", "0").read_bytes()
        (tmp_path / "cut.mp3").write_bytes(data[: len(data) * 6 // 10])
        assert len(decoded(tmp_path / "cut.mp3")) / RATE_HZ == pytest.approx(6, abs=0.1)

    def test_a_rate_and_a_channel_count_beyond_reason(self, tmp_path):
        soundfile.write(tmp_path / "slow.wav", np.zeros(4_000), 4_000)
        soundfile.write(tmp_path / "many.wav", np.zeros((4_000, 9)), RATE_HZ)
        assert "has 4000 Hz, allowed are 8000 to 384000 Hz" in refusal(tmp_path / "slow.wav")
        assert "has 9 channels, allowed are 1 to 8" in refusal(tmp_path / "many.wav")

    def test_what_needs_ffmpeg_says_so_where_there_is_none(self, tune, monkeypatch):
        def missing(what_for):
            raise MediaMissingError(f"{what_for} needs ffmpeg")

        monkeypatch.setattr(decoding, "ffmpeg_path", missing)
        with pytest.raises(MediaMissingError, match=r"reading tide\.m4a needs ffmpeg"):
            decoded(encoded(tune, "tide.m4a", "-b:a", "192k"))
        decoded(tune / "tide.wav")
