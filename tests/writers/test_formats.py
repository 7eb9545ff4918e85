"""The table of formats: what an ending asks for, and the rates it can have."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
import soundfile

from cuetrack.errors import UsageError
from cuetrack.writers.formats import (
    AUDIO_FORMATS,
    QUALITIES,
    format_of,
    known_bytes,
    programme_rate_hz,
    rate_note,
)

ENDINGS = tuple(AUDIO_FORMATS)


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_ending_picks_the_format_in_any_case(ending):
    assert format_of(Path(f"quay{ending}")) is AUDIO_FORMATS[ending]
    assert format_of(Path(f"quay.v2{ending.upper()}")) is AUDIO_FORMATS[ending]


# RFC 5334 gives `.oga` to any sound in Ogg: it would not say which of two is meant.
@pytest.mark.parametrize("name", ["quay.waw", "quay.flca", "quay.oga", "quay.oggflac", "quay.yaml"])
def test_another_ending_is_refused_with_what_is_allowed(name):
    with pytest.raises(UsageError) as caught:
        format_of(Path(name))
    found = f"the ending '{Path(name).suffix}' of {name} is no sound format that is written here"
    assert str(caught.value) == f"{found}; allowed: .wav, .flac, .mp3, .m4a, .ogg, .opus"


@pytest.mark.parametrize("name", ["quay.", "quay", ".wav"])
def test_no_ending_is_refused_with_what_is_allowed(name):
    with pytest.raises(UsageError) as caught:
        format_of(Path(name))
    assert str(caught.value) == f"{name} has no ending; allowed: .wav, .flac, .mp3, .m4a, .ogg, .opus"


@pytest.mark.parametrize("ending", [ending for ending in ENDINGS if ending != ".m4a"])
@pytest.mark.parametrize("quality", QUALITIES)
def test_libsndfile_takes_each_format_at_each_of_its_rates(ending, quality, tmp_path):
    """The rates were read in standards; here the encoder itself is asked."""
    audio_format = AUDIO_FORMATS[ending]
    subtype = audio_format.encodings[quality].subtype
    for rate_hz in audio_format.rates_hz:
        path = tmp_path / f"{rate_hz}{ending}"
        with soundfile.SoundFile(path, "w", rate_hz, 2, subtype, format=audio_format.container) as file:
            file.write([[0.0, 0.0]] * 1_000)
        assert (soundfile.info(path).samplerate, soundfile.info(path).frames) == (rate_hz, 1_000)


@pytest.mark.parametrize("ending", [ending for ending in ENDINGS if ending != ".opus"])
@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 48_000])
def test_the_asked_rate_is_kept(ending, rate_hz):
    assert programme_rate_hz(AUDIO_FORMATS[ending], rate_hz) == rate_hz
    assert rate_note(AUDIO_FORMATS[ending], rate_hz) is None


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 192_000])
def test_opus_has_one_clock_and_says_so(rate_hz):
    """RFC 7845, section 5.1: an Ogg Opus stream is timed at 48 kHz."""
    assert programme_rate_hz(AUDIO_FORMATS[".opus"], rate_hz) == 48_000
    assert rate_note(AUDIO_FORMATS[".opus"], rate_hz) == (
        "Opus always runs at 48000 Hz, so the programme is made at 48000 Hz"
    )
    assert rate_note(AUDIO_FORMATS[".opus"], 48_000) is None


@pytest.mark.parametrize(
    ("ending", "rate_hz", "message"),
    [
        (".mp3", 96_000, "MP3 is not written at 96000 Hz; the nearest rate is 48000 (allowed: 8000, 11025, "),
        (".wav", 44_101, "WAV is not written at 44101 Hz; the nearest rate is 44100 (allowed: 8000, 11025, "),
        (".flac", 1, "FLAC is not written at 1 Hz; the nearest rate is 8000 (allowed: 8000, 11025, "),
    ],
)
def test_another_rate_is_refused_with_the_nearest(ending, rate_hz, message):
    with pytest.raises(UsageError) as caught:
        programme_rate_hz(AUDIO_FORMATS[ending], rate_hz)
    assert str(caught.value).startswith(message)


def test_only_wav_knows_its_size_before_it_is_written():
    """24 bits are 3 bytes: half an hour at 48 kHz in stereo has 518.4 MB."""
    assert known_bytes(AUDIO_FORMATS[".wav"], 1_800 * 48_000, 2) == 518_400_000
    assert [known_bytes(AUDIO_FORMATS[e], 48_000, 2) for e in ENDINGS if e != ".wav"] == [0] * 5


def test_the_table_loads_no_arrays_and_no_codecs():
    code = "import sys, cuetrack.writers.formats; print({'numpy', 'soundfile', 'mutagen'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
