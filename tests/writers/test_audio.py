"""Written sound files, read back by other programs: Python's `wave` for WAV, ffmpeg for the rest."""

from __future__ import annotations

import hashlib
import struct
import subprocess
import sys
import threading

import imageio_ffmpeg
import mutagen
import numpy as np
import pytest
import soundfile

from cuetrack.errors import MediaMissingError
from cuetrack.writers import audio, encoder
from cuetrack.writers.atomic import atomic_files
from cuetrack.writers.audio import RF64_ABOVE_BYTES, write_audio
from cuetrack.writers.formats import AUDIO_FORMATS, QUALITIES
from cuetrack.writers.tags import Tags
from tests.helpers.decode import decoded

TITLE = "Quay é 潮 winter circuit, seventy characters or more: nothing of it is cut"
# ffmpeg (5.1 and 9.0, measured) ends an Ogg Vorbis stream of a single page 128 frames early, though the
# stream tells its length rightly. A page has 255 packets of 1024 frames at most: 11.8 s at 22,050 Hz.
SECONDS = 16

RATES = [(e, r) for e in AUDIO_FORMATS for r in (48_000, 44_100, 22_050) if e != ".opus" or r == 48_000]


def burst_of(rate_hz):
    """50 ms rising from 500 Hz to 4 kHz: it correlates with itself at one place only."""
    seconds = np.arange(rate_hz // 20) / rate_hz
    turns = 500 * seconds + 0.5 * (4_000 - 500) / 0.05 * seconds**2
    return (0.5 * np.hanning(len(seconds)) * np.sin(2 * np.pi * turns)).astype(np.float32)


def programme_of(rate_hz):
    """Silence with bursts, its length no round number, and the frames they start at."""
    burst, frames = burst_of(rate_hz), SECONDS * rate_hz + 123
    starts = [0, rate_hz + 1, 5 * rate_hz + 16_383, 11 * rate_hz - 7, frames - len(burst)]
    samples = np.zeros(frames, np.float32)
    for start in starts:
        samples[start : start + len(burst)] += burst
    return samples, starts


def in_blocks(samples, block_frames):
    return (samples[start : start + block_frames] for start in range(0, len(samples), block_frames))


def write(path, samples, *, rate_hz=48_000, channels=2, title=TITLE, block_frames=65_536, **options):
    write_audio(
        path,
        in_blocks(samples.reshape(len(samples), -1), block_frames),
        rate_hz=rate_hz,
        channels=channels,
        frames=options.pop("frames", len(samples)),
        audio_format=AUDIO_FORMATS[path.suffix],
        tags=options.pop("tags", Tags(title)),
        **options,
    )
    return path


def found_start(heard, burst, near):
    """Where `burst` is in `heard`, looked for 2000 frames around `near`, by the highest correlation."""
    reach = 2_000
    padded = np.pad(heard.astype(np.float64), reach)
    window = padded[near : near + len(burst) + 2 * reach]
    return near - reach + int(np.argmax(np.correlate(window, burst.astype(np.float64), "valid")))


@pytest.mark.parametrize(("ending", "rate_hz"), RATES)
@pytest.mark.parametrize("channels", [1, 2])
def test_length_and_every_onset_are_exact(tmp_path, ending, rate_hz, channels):
    samples, starts = programme_of(rate_hz)
    heard = decoded(write(tmp_path / f"quay{ending}", samples, rate_hz=rate_hz, channels=channels), channels)
    assert heard.shape[1] == channels
    # Some versions of ffmpeg play the last packet of AAC whole (1024 frames, ISO/IEC 14496-3).
    assert 0 <= len(heard) - len(samples) < (1_024 if ending == ".m4a" else 1)
    burst = burst_of(rate_hz)
    for channel in heard.T:
        assert [found_start(channel, burst, start) for start in starts] == starts


@pytest.mark.parametrize("ending", [".mp3", ".opus"])
@pytest.mark.parametrize("quality", ["small", "best"])
@pytest.mark.parametrize("by_libsndfile", [False, True])
def test_either_encoder_places_alike_and_another_decoder_agrees(
    tmp_path, monkeypatch, ending, quality, by_libsndfile
):
    """ffmpeg reads what libsndfile wrote and the other way round; each its own, too."""
    if by_libsndfile:
        monkeypatch.setattr(audio, "has_encoder", lambda audio_format: False)
    samples, starts = programme_of(48_000)
    burst = burst_of(48_000)
    for channels in (1, 2):
        path = write(tmp_path / f"quay{ending}", samples, channels=channels, quality=quality)
        for heard in (decoded(path, channels), soundfile.read(path, always_2d=True)[0]):
            assert heard.shape == (len(samples), channels)
            for channel in heard.T:
                assert [found_start(channel, burst, start) for start in starts] == starts


# Cases of rounding, as multiples of 2^-23: halves, their neighbours, both ends and beyond.
STEPS = [0.0, -0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.5, -0.5, -1.5, -2.5, -2.75, 3.5, 1e-20, 8_388_606.5]
STEPS += [8_388_607.0, 8_388_608.0, -8_388_607.5, -8_388_608.0, 9e6, -9e6, 1e9, -1e9]


@pytest.mark.parametrize("ending", [".wav", ".flac"])
def test_pcm_is_the_nearest_of_24_bits(tmp_path, ending):
    """Python's own `round` goes to the nearest integer, an exact half to the even one."""
    rng = np.random.default_rng(4)
    noise = rng.uniform(-1.1, 1.1, 5_000).astype(np.float32)
    samples = np.concatenate([(np.array(STEPS) / 2**23).astype(np.float32), noise])
    heard = decoded(write(tmp_path / f"quay{ending}", samples), 2)
    expected = [min(max(round(float(sample) * 2**23), -(2**23)), 2**23 - 1) for sample in samples]
    assert (heard >> 8).tolist() == [[step, step] for step in expected]
    assert not (heard & 0xFF).any()


@pytest.mark.parametrize("ending", [".wav", ".flac"])
def test_silence_is_exact_zero(tmp_path, ending):
    samples, starts = programme_of(48_000)
    heard = decoded(write(tmp_path / f"quay{ending}", samples), 2)
    silent = np.ones(len(samples), bool)
    for start in starts:
        silent[start : start + len(burst_of(48_000))] = False
    assert silent.sum() > 700_000
    assert not heard[silent].any()


@pytest.mark.parametrize("ending", AUDIO_FORMATS)
@pytest.mark.parametrize("block_frames", [64, 4_096, 48_001, 10**9])
def test_block_size_never_changes_a_byte(tmp_path, ending, block_frames):
    samples, _ = programme_of(48_000)
    short = samples[: 3 * 48_000 + 5]
    one = write(tmp_path / f"one{ending}", short)
    other = write(tmp_path / f"other{ending}", short, block_frames=block_frames)
    assert one.read_bytes() == other.read_bytes()


WRITE_ALL = """
import sys, time
from pathlib import Path
import numpy as np
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS
from cuetrack.writers.tags import Tags
samples = np.random.default_rng(3).uniform(-0.5, 0.5, (100_000, 1)).astype(np.float32)
samples[30_000:80_000] = 0
for ending, audio_format in AUDIO_FORMATS.items():
    write_audio(Path(sys.argv[1]) / ("quay" + ending), [samples], rate_hz=48_000, channels=2,
                frames=len(samples), audio_format=audio_format, tags=Tags("Quay"))
"""


def test_two_processes_write_the_same_bytes(tmp_path):
    digests = []
    for name in ("one", "other"):
        folder = tmp_path / name
        folder.mkdir()
        subprocess.run([sys.executable, "-c", WRITE_ALL, str(folder)], check=True)
        files = sorted(folder.iterdir())
        assert [file.suffix for file in files] == sorted(AUDIO_FORMATS)
        digests.append([hashlib.sha256(file.read_bytes()).hexdigest() for file in files])
    assert digests[0] == digests[1]


def tags_by_ffmpeg(path):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path)]
    where = "0:s:0" if path.suffix in {".ogg", ".opus"} else "0"
    command += ["-map_metadata", where, "-f", "ffmetadata", "-"]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    pairs = (line.split("=", 1) for line in text.splitlines() if "=" in line)
    # What ffmpeg says of the container itself is no tag.
    of_its_own = {"encoder", "major_brand", "minor_version", "compatible_brands"}
    return {key.lower(): value for key, value in pairs if key.lower() not in of_its_own}


@pytest.mark.parametrize("ending", AUDIO_FORMATS)
def test_the_title_is_the_only_tag(tmp_path, ending):
    """No date, and nothing that another run would write otherwise."""
    path = write(tmp_path / f"quay{ending}", programme_of(48_000)[0][:48_000])
    assert tags_by_ffmpeg(path) == {"title": TITLE}


@pytest.mark.parametrize("ending", [".flac", ".ogg", ".opus"])
def test_mutagen_reads_the_title(tmp_path, ending):
    file = mutagen.File(write(tmp_path / f"quay{ending}", programme_of(48_000)[0][:48_000]))
    assert {key: value for key, value in file.tags.as_dict().items() if key != "encoder"} == {
        "title": [TITLE]
    }


def chunks_of(path):
    """The chunks of a RIFF or RF64 file: name, length, content (of the data only where it begins)."""
    content = path.read_bytes()
    position, chunks = 12, []
    while position < len(content):
        name, length = struct.unpack("<4sI", content[position : position + 8])
        if name == b"data":
            chunks.append((name, length, position + 8))
            break
        chunks.append((name, length, content[position + 8 : position + 8 + length]))
        position += 8 + length + length % 2
    return chunks


def test_a_float_wav_keeps_every_sample_and_no_date(tmp_path):
    """libsndfile's PEAK chunk: version, then seconds since 1970, which would differ in the next run."""
    rng = np.random.default_rng(4)
    samples = rng.uniform(-4, 4, (50_000, 2)).astype(np.float32)
    samples[1_000:40_000] = 0
    path = write(tmp_path / "quay.wav", samples, quality="best")
    peaks = [content for name, _, content in chunks_of(path) if name == b"PEAK"]
    assert [struct.unpack("<II", peak[:8]) for peak in peaks] == [(1, 0)]
    assert np.array_equal(soundfile.read(path, dtype="float32")[0], samples)
    again = write(tmp_path / "again.wav", samples, quality="best", block_frames=999)
    assert again.read_bytes() == path.read_bytes()


@pytest.mark.parametrize(
    ("ending", "subtypes"),
    [(".wav", ["PCM_16", "PCM_24", "FLOAT"]), (".flac", ["PCM_16", "PCM_24", "PCM_24"])],
)
def test_each_quality_has_its_bits(tmp_path, ending, subtypes):
    samples = programme_of(48_000)[0][:10_000]
    paths = [write(tmp_path / f"{quality}{ending}", samples, quality=quality) for quality in QUALITIES]
    assert [soundfile.info(path).subtype for path in paths] == subtypes


@pytest.mark.parametrize(
    ("ending", "kbit_per_second", "within"),
    [(".mp3", [96, 160, 256], 0.02), (".m4a", [96, 160, 256], 0.1), (".opus", [80, 128, 192], 0.1)],
)
def test_each_quality_has_its_bit_rate(tmp_path, ending, kbit_per_second, within):
    """Noise in stereo takes all the bits that there are."""
    samples = np.random.default_rng(4).normal(0, 0.1, (480_000, 2)).astype(np.float32)
    for quality, expected in zip(QUALITIES, kbit_per_second, strict=True):
        path = write(tmp_path / f"{quality}{ending}", samples, quality=quality)
        assert path.stat().st_size * 8 / 10 / 1_000 == pytest.approx(expected, rel=within)


def test_better_vorbis_is_larger(tmp_path):
    samples = np.random.default_rng(4).normal(0, 0.1, (480_000, 2)).astype(np.float32)
    sizes = [write(tmp_path / f"{q}.ogg", samples, quality=q).stat().st_size for q in QUALITIES]
    assert sizes[0] * 1.1 < sizes[1] < sizes[2] / 1.1


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("frames", [47_999, 48_000])
def test_a_wav_has_plain_chunks_and_lengths_that_agree(tmp_path, channels, frames):
    """RIFF (Multimedia Programming Interface and Data Specifications 1.0): chunks are padded to even."""
    path = write(tmp_path / "quay.wav", programme_of(48_000)[0][:frames], channels=channels)
    content = path.read_bytes()
    (fmt, _, form), (info, _, listed), (data, length, start) = chunks_of(path)
    assert (content[:4], content[8:12], fmt, info, data) == (b"RIFF", b"WAVE", b"fmt ", b"LIST", b"data")
    rate_and_size = (48_000, 48_000 * 3 * channels, 3 * channels, 24)
    assert struct.unpack("<HHIIHH", form[:16]) == (1, channels, *rate_and_size)
    assert (listed[:8], listed[12:].rstrip(b"\0").decode()) == (b"INFOINAM", TITLE)
    assert length == 3 * channels * frames
    assert struct.unpack("<I", content[4:8])[0] + 8 == len(content) == start + length + length % 2


def test_more_than_a_riff_header_can_count_becomes_rf64(tmp_path):
    """EBU Tech 3306: RF64, lengths of 0xFFFFFFFF, and a ds64 chunk with the true ones."""
    samples, _ = programme_of(48_000)
    path = write(tmp_path / "quay.wav", samples, rf64_above_bytes=len(samples) * 6 - 1)
    content = path.read_bytes()
    assert content[:12] == b"RF64" + b"\xff" * 4 + b"WAVE"
    (ds64, _, lengths), *_, (data, length, start) = chunks_of(path)
    assert (ds64, data, length) == (b"ds64", b"data", 0xFFFF_FFFF)
    riff_bytes, data_bytes, frames = struct.unpack("<QQQ", lengths[:24])
    assert (riff_bytes + 8, data_bytes, frames) == (len(content), len(samples) * 6, len(samples))
    plain = write(tmp_path / "plain.wav", samples, rf64_above_bytes=len(samples) * 6)
    assert plain.read_bytes()[:4] == b"RIFF"
    # The wave module reads no RF64; ffmpeg does, told by its content and not by its name.
    as_rf64 = path.rename(tmp_path / "quay.rf64")
    assert np.array_equal(decoded(as_rf64, 2), decoded(plain, 2))
    assert content[start:] == plain.read_bytes()[-len(samples) * 6 :]


def test_the_longest_riff_with_its_header_and_title_can_still_be_counted():
    assert 2**32 - RF64_ABOVE_BYTES == 65_536
    # More than half a day in stereo at 48 kHz would not fit: 24 h are 24.9 GB.
    assert 24 * 3_600 * 48_000 * 6 > RF64_ABOVE_BYTES > 4 * 3_600 * 48_000 * 6


def test_progress_rises_to_the_last_frame(tmp_path):
    samples, told = programme_of(48_000)[0], []
    write(tmp_path / "quay.wav", samples, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == len(samples)
    assert len(told) > 10


@pytest.mark.parametrize("frames", [99_999, 100_001])
def test_a_programme_of_another_length_than_announced_is_refused(tmp_path, frames):
    with pytest.raises(ValueError, match=f"has {frames} frames but 100000 came"):
        write(tmp_path / "quay.wav", np.zeros(100_000, np.float32), frames=frames)


@pytest.mark.parametrize("ending", AUDIO_FORMATS)
@pytest.mark.parametrize("failure", [RuntimeError, KeyboardInterrupt])
def test_an_error_in_the_mix_ends_the_encoder_and_leaves_nothing(tmp_path, ending, failure):
    def failing():
        yield np.full((200_000, 1), 0.1, np.float32)
        raise failure("from the mix")

    def render():
        with atomic_files(tmp_path / f"quay{ending}") as (path,):
            write_audio(
                path,
                failing(),
                rate_hz=48_000,
                channels=2,
                frames=400_000,
                audio_format=AUDIO_FORMATS[ending],
                tags=Tags("Quay"),
            )

    with pytest.raises(failure, match="from the mix"):
        render()
    assert list(tmp_path.iterdir()) == []
    assert [thread for thread in threading.enumerate() if thread.name == "mixing"] == []


@pytest.mark.parametrize("ending", [".mp3", ".m4a", ".opus"])
def test_an_interrupt_is_not_taken_for_a_failing_encoder(tmp_path, ending):
    """Ctrl-C while the pipe still holds something that a killed encoder cannot take."""

    def interrupted(done):
        if done > 100_000:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write(tmp_path / f"quay{ending}", np.full(400_000, 0.1, np.float32), progress=interrupted)


def no_ffmpeg(what_for):
    raise MediaMissingError(f"{what_for} needs ffmpeg")


def test_without_ffmpeg_an_m4a_is_refused_and_tells_what_it_needs(tmp_path, monkeypatch):
    monkeypatch.setattr(encoder, "ffmpeg_path", no_ffmpeg)
    with pytest.raises(MediaMissingError, match=r"^an M4A file needs ffmpeg$") as caught:
        encoder.refuse_unwritable(AUDIO_FORMATS[".m4a"])
    assert caught.value.exit_code == 3
    with pytest.raises(MediaMissingError, match=r"^a file in M4A needs ffmpeg$"):
        write(tmp_path / "quay.m4a", np.ones(1_000, np.float32))
    for ending in AUDIO_FORMATS.keys() - {".m4a"}:
        encoder.refuse_unwritable(AUDIO_FORMATS[ending])


@pytest.mark.parametrize("ending", [".mp3", ".opus"])
def test_an_ffmpeg_without_that_encoder_leaves_it_to_libsndfile(tmp_path, monkeypatch, ending):
    monkeypatch.setattr(encoder, "_encoders_of", lambda program: frozenset({"aac"}))
    monkeypatch.setattr(audio, "Encoder", None)
    path = write(tmp_path / f"quay{ending}", np.full(100_000, 0.1, np.float32))
    assert soundfile.info(path).frames == 100_000


def test_an_encoder_that_cannot_begin_is_no_broken_pipe(tmp_path):
    with pytest.raises(FileNotFoundError, match="No such file or directory"):
        write(tmp_path / "nowhere" / "quay.mp3", np.full(400_000, 0.1, np.float32))


# A file may not grow past a limit, as on a disk that is full: libsndfile then raises, or says nothing.
WRITE_WITHIN = """
import resource, sys
from pathlib import Path
import numpy as np
from cuetrack.errors import WriteError
from cuetrack.writers.atomic import atomic_files
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import format_of
from cuetrack.writers.tags import Tags

target = Path(sys.argv[1])
samples = np.random.default_rng(3).uniform(-0.5, 0.5, (500_000, 1)).astype(np.float32)

def render():
    with atomic_files(target) as (path,):
        write_audio(path, [samples], rate_hz=48_000, channels=2, frames=len(samples),
                    audio_format=format_of(target), tags=Tags("Quay"))

render()
whole = target.read_bytes()
sizes = [0, 1, 100, 4_096, len(whole) // 3, len(whole) // 2]
sizes += [len(whole) - short for short in (20_000, 5_000, 1_000, 300, 64, 2, 1)]
hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
for size in sizes:
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        render()
        print(size, "written")
    except WriteError as error:
        print(size, error)
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    if target.read_bytes() != whole or len(list(target.parent.iterdir())) != 1:
        print(size, "harmed")
# An Ogg file is a little longer until its tags are in it.
resource.setrlimit(resource.RLIMIT_FSIZE, (len(whole) + 4_096, hard))
render()
print(len(sizes), "refused, then written whole")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="only POSIX can limit the size of a file")
@pytest.mark.parametrize("ending", AUDIO_FORMATS)
def test_a_file_that_cannot_become_whole_is_refused_wherever_it_is_cut(tmp_path, ending):
    target = tmp_path / f"quay{ending}"
    command = [sys.executable, "-c", WRITE_WITHIN, str(target)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    *refused, last = done.stdout.splitlines()
    reason = "the disk takes no file of that size (FAT32 ends at 4 GiB); write to another one"
    expected = f"{target} could not be written: {reason}"
    assert [line.split(" ", 1)[1] for line in refused] == [expected] * 13
    assert last == "13 refused, then written whole"
