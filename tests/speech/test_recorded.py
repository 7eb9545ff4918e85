"""The coach's own clips: found by their names, in any format, and never from outside their folder."""

from __future__ import annotations

import dataclasses
import subprocess
from fractions import Fraction
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from cuetrack.errors import SpeechError, VoiceMissingError
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.clip_folder import LONGEST_SECONDS, PHONE_ENDINGS, ClipFolder, mono
from cuetrack.speech.clip_names import file_name_for, file_names_for, folded, names_of, slug
from cuetrack.speech.recordings import import_recordings, recording_report
from cuetrack.speech.speak import fallback_voice, speak
from cuetrack.speech.voices import find_voice, load_voice

RATE_HZ = 48_000


def phrase(seconds: float = 0.8, rate_hz: int = RATE_HZ, level: float = 0.3) -> np.ndarray:
    """Something like a syllable or three, with a second of silence around it."""
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    voiced = sum(np.sin(2 * np.pi * 140 * k * time) / k for k in range(1, 12))
    spoken = level * voiced / np.abs(voiced).max() * np.sin(np.pi * 3 * time / seconds) ** 2
    return np.pad(spoken, rate_hz // 2)


def record(folder: Path, name: str, samples=None, rate_hz: int = RATE_HZ, **how) -> Path:
    folder.mkdir(exist_ok=True)
    soundfile.write(folder / name, phrase(rate_hz=rate_hz) if samples is None else samples, rate_hz, **how)
    return folder / name


@pytest.fixture
def clips(tmp_path):
    folder = tmp_path / "coach"
    folder.mkdir()
    return folder


@pytest.fixture
def kept(tmp_path):
    return ClipCache(tmp_path / "kept")


def coach(folder: Path, fallback: str | None = "system"):
    return dataclasses.replace(find_voice(f"{folder}/"), fallback=fallback)


def test_names_fold_case_punctuation_and_accents():
    assert file_name_for("Change sides. Right side.") == file_name_for("CHANGE SIDES – right side") \
        == "change-sides-right-side.wav"  # fmt: skip
    assert file_name_for("Plié!") == file_name_for("Plie\u0301") == "plie.wav"
    assert slug("🏋️ …") == ""


@pytest.mark.parametrize(
    "text", ["../../etc/passwd", "..", "a/b\\c", "C:\\x", "~/x", "con", "a\x00b", "x" * 500, "划" * 300]
)
def test_a_name_is_one_plain_part_of_a_path(text):
    name = file_name_for(text)
    assert Path(name).name == name
    assert not set(name) & set('/\\:*?"<>|\x00')
    assert len(name.encode()) < 255
    assert name.casefold() not in {"con.wav", "nul.wav"}


@pytest.mark.parametrize("length", [10, 59, 60, 61, 67, 74, 75, 120])
def test_a_long_phrase_is_found_by_its_short_name_its_whole_one_and_as_a_copy(tmp_path, length):
    text = ("Row slowly " * 20)[:length]
    for number, name in enumerate(
        (file_name_for(text), f"{folded(text)}.wav", file_names_for([text, text + "!"])[text])
    ):
        folder = tmp_path / str(number)
        record(folder, name)
        assert ClipFolder.at(folder).file_for(text).name == name
        (done,) = import_recordings(folder, folder / "copies")
        assert ClipFolder.at(folder / "copies").file_for(text).name == done.written


@given(st.text(st.characters(codec="utf-8"), max_size=90), st.text(" -aé.", max_size=70))
def test_the_clip_of_a_script_is_found_under_its_name(start, end):
    """Also where a long name is cut between two words."""
    for text, file in file_names_for([start + end, f"{start + end}!"]).items():
        if folded(text):  # marks alone are never spoken
            assert folded(Path(file).stem) in names_of(text)


@pytest.mark.parametrize(
    "text",
    ["Half-kneeling press with the very long loop band, elbows out long", "\N{BLACK-LETTER CAPITAL H}old"],
)
def test_a_name_that_would_fold_to_another_is_found(tmp_path, text):
    record(tmp_path, file_name_for(text))
    assert ClipFolder.at(tmp_path).file_for(text) is not None


def test_phrases_of_the_same_name_are_told_apart_by_the_text_alone():
    alone = file_names_for(["Row!", "Row."])
    more = file_names_for(["Press.", "Row.", "Row?", "Row!"])
    assert len(set(more.values())) == 4
    assert alone["Row!"] == more["Row!"]
    assert more["Press."] == file_name_for("Press.")
    assert file_name_for("a" * 100) != file_name_for("a" * 101)


def test_the_clip_of_a_text_wins_over_the_one_of_its_slug(clips):
    names = file_names_for(["Row!", "Row."])
    record(clips, "row.wav")
    record(clips, names["Row!"])
    folder = ClipFolder.at(clips)
    assert folder.file_for("Row!").name == names["Row!"]
    assert folder.file_for("Row.").name == "row.wav"
    assert folder.file_for("Press.") is None
    assert folder.file_for("🏋️") is None


def test_two_files_for_one_phrase_are_refused(clips):
    record(clips, "Row.wav")
    record(clips, "row!.flac")
    with pytest.raises(SpeechError, match=r"Row\.wav and row!\.flac in .* are both for 'row'; keep one"):
        ClipFolder.at(clips).file_for("row")


@pytest.mark.parametrize(
    ("name", "rate_hz", "channels", "how"),
    [
        ("row.wav", 48_000, 1, {"subtype": "PCM_16"}),
        ("row.wav", 48_000, 2, {"subtype": "PCM_24"}),
        ("row.wav", 44_100, 2, {"subtype": "PCM_32"}),
        ("row.wav", 96_000, 1, {"subtype": "FLOAT"}),
        ("row.flac", 22_050, 1, {"subtype": "PCM_24"}),
        ("row.mp3", 44_100, 2, {}),
        ("ROW.Ogg", 48_000, 1, {}),
        ("row.aiff", 8_000, 1, {}),
    ],
)
def test_any_format_is_heard_as_the_same_clip(clips, kept, name, rate_hz, channels, how):
    samples = np.column_stack([phrase(rate_hz=rate_hz)] * channels)
    record(clips, name, samples, rate_hz, **how)
    clip = speak(["Row."], coach(clips), RATE_HZ, cache=kept)["Row."]
    assert clip.rate_hz == RATE_HZ
    # The syllables begin and end softly: a lossy copy may cross the threshold elsewhere.
    assert len(clip.samples) == pytest.approx(0.8 * RATE_HZ, abs=0.06 * RATE_HZ)
    spectrum = np.abs(np.fft.rfft(clip.samples, RATE_HZ))
    assert abs(int(spectrum[100:180].argmax()) + 100 - 140) <= 2


def test_a_phrase_without_a_clip_is_spoken_by_another_voice_and_told(clips, kept, system):
    record(clips, "row.wav")
    told = []
    both = speak(["Row.", "Press."], coach(clips), RATE_HZ, cache=kept, warn=told.append)
    other = speak(["Row.", "Press."], system, RATE_HZ, cache=kept)
    assert np.array_equal(both["Press."].samples, other["Press."].samples)
    assert not np.array_equal(both["Row."].samples, other["Row."].samples)
    assert len(told) == 1
    assert told[0].startswith("spoken by 'system' instead")
    assert told[0].endswith(": 'Press.'")


def test_another_recording_is_used_at_once_and_the_fallback_is_not_needed(clips, kept):
    record(clips, "row.wav")
    voice = coach(clips, fallback="nobody")
    first = speak(["Row."], voice, RATE_HZ, cache=kept)["Row."]
    record(clips, "row.wav", phrase(1.2))
    again = speak(["Row."], voice, RATE_HZ, cache=kept)["Row."]
    assert len(again.samples) > 1.3 * len(first.samples)
    faster = speak(["Row."], voice, RATE_HZ, cache=kept, faster={"Row.": Fraction(6, 5)})["Row."]
    assert len(faster.samples) == pytest.approx(len(again.samples) / 1.2, abs=2)


def test_the_fallback_is_the_default_or_the_one_named(clips):
    assert fallback_voice(coach(clips, None), "de").name == "system"
    assert fallback_voice(coach(clips, "system"), "en") == load_voice("system")
    with pytest.raises(SpeechError, match="which is recorded as well"):
        fallback_voice(coach(clips, f"{clips}/"), "en")
    with pytest.raises(SpeechError, match="there is no voice 'nobody'"):
        fallback_voice(coach(clips, "nobody"), "en")


def test_a_link_that_leads_out_of_the_folder_is_refused(clips, tmp_path, kept):
    outside = record(tmp_path / "elsewhere", "secret.wav")
    try:
        (clips / "row.wav").symlink_to(outside)
    except OSError:
        pytest.skip("no links here")
    with pytest.raises(SpeechError, match=r"row\.wav leads out of its folder, to .*secret\.wav"):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)
    assert [clip.written for clip in import_recordings(clips, tmp_path / "copies")] == [None]
    assert [f.fault for f in recording_report(clips, {"Row.": None})] == ["unreadable"]
    inside = record(clips, "press.wav")
    (clips / "push.wav").symlink_to(inside)
    assert ClipFolder.at(clips).file_for("Push").name == "push.wav"


def test_a_folder_or_a_broken_link_in_the_place_of_a_clip_is_refused(clips):
    (clips / "row.wav").mkdir()
    with pytest.raises(SpeechError, match="is no ordinary file"):
        ClipFolder.at(clips).file_for("Row")
    try:
        (clips / "press.wav").symlink_to(clips / "gone.wav")
    except OSError:
        pytest.skip("no links here")
    with pytest.raises(SpeechError, match=r"press\.wav cannot be read"):
        ClipFolder.at(clips).file_for("Press")


@pytest.mark.parametrize(
    ("samples", "rate_hz", "message"),
    [
        (np.zeros(48_000), 48_000, "'Row.' has no sound when spoken"),
        (np.zeros(0), 48_000, "'Row.' has no sound when spoken"),
        (phrase(rate_hz=4_000), 4_000, "sample rate of 4,000 Hz, allowed are 8,000 to 192,000 Hz"),
        (np.zeros(8_000 * LONGEST_SECONDS + 1), 8_000, "is longer than 120 s"),
        (np.full(9_000, np.nan), 48_000, "holds values that are no numbers"),
    ],
)
def test_a_clip_that_cannot_be_used_is_told(clips, kept, samples, rate_hz, message):
    record(clips, "row.wav", samples, rate_hz, subtype="FLOAT")
    with pytest.raises(SpeechError, match=message):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)


def on_a_phone(folder: Path, name: str, samples=None, rate_hz: int = RATE_HZ) -> Path:
    """A clip as a phone records it: AAC, one channel."""
    whole = record(folder, "as-spoken.wav", samples, rate_hz)
    codec = ("-c:a", "aac", "-b:a", "128k", "-ac", "1")
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-i", whole, *codec, folder / name]
    subprocess.run(command, check=True)
    whole.unlink()
    return folder / name


@pytest.mark.parametrize("ending", sorted(PHONE_ENDINGS))
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_what_a_phone_records_is_a_clip_like_another(clips, kept, tmp_path, ending, rate_hz):
    """The encoder's delay (raw AAC does not tell it) is trimmed with the silence before the phrase."""
    record(clips, "press.wav", phrase(rate_hz=rate_hz), rate_hz, subtype="PCM_24")
    on_a_phone(clips, f"row{ending.upper()}", phrase(rate_hz=rate_hz), rate_hz)
    spoken = speak(["Row.", "Press."], coach(clips), RATE_HZ, cache=kept)
    row, press = spoken["Row."], spoken["Press."]
    assert len(row.samples) == pytest.approx(len(press.samples), abs=0.02 * RATE_HZ)
    assert row.onset_frames == pytest.approx(press.onset_frames, abs=0.005 * RATE_HZ)
    at = np.argmax(np.correlate(row.samples, press.samples[: RATE_HZ // 4], "valid"))
    alike = np.corrcoef(row.samples[at : at + RATE_HZ // 4], press.samples[: RATE_HZ // 4])[0, 1]
    assert alike > 0.99
    assert recording_report(clips, {"Row.": None, "Press.": None}) == ()
    copies = import_recordings(clips, tmp_path / "copies")
    assert {clip.written for clip in copies} == {"row.wav", "press.wav"}


def test_a_phones_clip_that_is_too_long_or_breaks_off_is_told(clips, kept):
    on_a_phone(clips, "row.m4a", np.zeros(8_000 * (LONGEST_SECONDS + 5)), 8_000)
    with pytest.raises(SpeechError, match=r"row\.m4a is longer than 120 s; .* so cut it"):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)
    data = (clips / "row.m4a").read_bytes()
    (clips / "row.m4a").write_bytes(data[: len(data) // 2])
    with pytest.raises(SpeechError, match=r"row\.m4a .*breaks off"):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)


def test_a_phones_clip_without_ffmpeg_says_what_brings_it(clips, kept, tmp_path, monkeypatch):
    on_a_phone(clips, "row.m4a")
    record(clips, "press.wav")
    monkeypatch.setattr("cuetrack.sound.ffmpeg.find_spec", lambda name: None)
    with pytest.raises(VoiceMissingError, match=r"reading row\.m4a needs ffmpeg.*\[media\]"):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)
    (finding,) = recording_report(clips, {"Row.": None, "Press.": None})
    assert (finding.fault, "[media]" in finding.message) == ("unreadable", True)
    done = {clip.source: clip.written for clip in import_recordings(clips, tmp_path / "copies")}
    assert done == {"row.m4a": None, "press.wav": "press.wav"}


def test_a_file_that_is_no_sound_and_a_folder_that_is_not_there(clips, kept):
    (clips / "row.wav").write_text("no sound")
    with pytest.raises(SpeechError, match=r"row\.wav cannot be read as sound.*export it as WAV again"):
        speak(["Row."], coach(clips), RATE_HZ, cache=kept)
    gone = dataclasses.replace(coach(clips), folder=clips / "gone")
    with pytest.raises(VoiceMissingError, match=r"the clips in .*gone cannot be read"):
        speak(["Row."], gone, RATE_HZ, cache=kept)


def faults(folder, **room_seconds):
    report = recording_report(folder, {text: room_seconds[text] for text in room_seconds})
    return {(finding.text, finding.fault) for finding in report}


@pytest.mark.parametrize("share", [1.0, 0.97, 0.8])
def test_channels_that_cancel_each_other_are_heard_by_the_louder_one(clips, kept, tmp_path, share):
    """One channel wired the wrong way round makes such a recording; its average is silence, or next to it."""
    record(clips, "row.wav", np.column_stack([phrase(), -share * phrase()]), subtype="PCM_24")
    record(clips, "press.wav", phrase(), subtype="PCM_24")
    spoken = speak(["Row.", "Press."], coach(clips), RATE_HZ, cache=kept)
    assert np.array_equal(spoken["Row."].samples, spoken["Press."].samples)
    assert recording_report(clips, {"Row.": None, "Press.": None}) == ()
    assert len(import_recordings(clips, tmp_path / "copies")) == 2
    row, press = (ClipFolder.at(tmp_path / "copies").file_for(text) for text in ("Row.", "Press."))
    assert row.read_bytes() == press.read_bytes()


def test_channels_that_do_not_cancel_are_averaged(clips, kept):
    """Sound on one side alone is half as large in the average; two noises at 3 dB less are no cancelling."""
    noise = np.random.default_rng(7).normal(0, 0.1, (RATE_HZ, 2)).astype(np.float32)
    assert np.array_equal(mono(noise), noise.mean(axis=1))
    noise[:, 1] = 0
    assert np.array_equal(mono(noise), noise[:, 0] / 2)
    assert mono(noise[:0]).shape == (0,)


@pytest.mark.parametrize("noise_db", [-11, -8, -3, 3])
def test_noise_that_leaves_no_quiet_moment_is_told_and_no_length_is_told_of(clips, noise_db):
    spoken = phrase(1.5)
    level = np.sqrt(np.mean(spoken[RATE_HZ // 2 : -RATE_HZ // 2] ** 2)) * 10 ** (noise_db / 20)
    noise = np.random.default_rng(7).normal(0, level, len(spoken))
    record(clips, "row.wav", 0.5 * (spoken + noise), subtype="FLOAT")
    (finding,) = recording_report(clips, {"Row.": Fraction(1)})
    assert finding.fault == "noisy"
    assert finding.found > -13
    assert "speak it faster" not in finding.message


def test_closely_cut_speech_without_a_stop_is_not_taken_for_noisy(clips, cache, clear):
    """Vowels, glides and liquids throughout: nowhere quiet, and yet no noise."""
    for text in ("We were away a year ago.", "Roll along all arm muscles on one line."):
        clip = speak([text], clear, 22_050, cache=cache)[text]
        record(clips, file_name_for(text), clip.samples, 22_050)
        assert "noisy" not in {finding.fault for finding in recording_report(clips, {text: None})}


def test_files_that_cannot_be_read_are_told_also_where_no_phrase_needs_them(clips, tmp_path):
    (clips / "broken.wav").write_text("no sound")
    try:
        (clips / "led-out.wav").symlink_to(record(tmp_path / "elsewhere", "secret.wav"))
    except OSError:
        pytest.skip("no links here")
    found = [(finding.file, finding.fault) for finding in recording_report(clips, {})]
    assert found == [
        ("broken.wav", "unreadable"), ("broken.wav", "not needed"),
        ("led-out.wav", "unreadable"), ("led-out.wav", "not needed"),
    ]  # fmt: skip


def test_a_wording_for_want_of_room_is_no_fault_until_it_is_there_and_bad(clips):
    record(clips, "band-row-left-side.wav", subtype="PCM_24")
    room, spare = {"Band row, left side.": None}, {"Band row, left.": Fraction(1)}
    (finding,) = recording_report(clips, room, spare)
    assert (finding.text, finding.file, finding.fault) == ("Band row, left.", "band-row-left.wav", "no spare")
    record(clips, "band-row-left.wav", phrase(1.4), subtype="PCM_24")
    (finding,) = recording_report(clips, room, spare)
    assert (finding.text, finding.fault) == ("Band row, left.", "too long")


def test_the_report_names_each_fault_and_its_figure(clips):
    noise = np.random.default_rng(7).normal(0, 1, len(phrase()))
    for name in ("good", "even", "fine", "long"):
        record(clips, f"{name}.wav", subtype="PCM_24")
    record(clips, "clipped.wav", np.clip(phrase(level=4.0), -1, 1))
    record(clips, "noisy.wav", phrase() + 0.01 * noise)
    record(clips, "soft.wav", phrase(level=0.03), subtype="PCM_24")
    record(clips, "mute.wav", np.zeros(9_000))
    record(clips, "typo.wav")
    (clips / "broken.wav").write_text("no sound")
    room = dict.fromkeys(["good", "even", "fine", "clipped", "noisy", "soft", "mute", "broken", "absent"]) | {
        "long": Fraction(1, 2)
    }
    report = recording_report(clips, room)
    by_text = {(finding.text, finding.fault): finding for finding in report}
    assert set(by_text) == {
        ("long", "too long"), ("clipped", "clipped"), ("clipped", "uneven"), ("noisy", "noisy"),
        ("soft", "uneven"), ("mute", "silent"), ("broken", "unreadable"), ("absent", "missing"),
        (None, "not needed"),
    }  # fmt: skip
    assert by_text["long", "too long"].found == pytest.approx(0.8, abs=0.06)
    assert by_text["long", "too long"].allowed == 0.5
    # 20 dB softer than the others, as it was made.
    assert by_text["soft", "uneven"].found == pytest.approx(-20.0, abs=0.2)
    # The noise was made at -40 dBFS RMS; the louder stretches of the speech lie some 17 dB under full scale.
    assert -30 < by_text["noisy", "noisy"].found < -15
    assert by_text["absent", "missing"].file == "absent.wav"
    assert by_text[None, "not needed"].file == "typo.wav"


def test_closely_cut_clips_with_hissing_ends_are_not_taken_for_noisy(clips, cache, system):
    """Imported clips have no silence around them: "six" must not look like noise."""
    for text in ("six", "yes", "rest", "press", "five", "seven"):
        clip = speak([text], system, 22_050, cache=cache)[text]
        record(clips, f"{text}.wav", clip.samples, 22_050)
    assert not [f for f in recording_report(clips, {"six": None, "yes": None, "rest": None, "press": None})
                if f.fault == "noisy"]  # fmt: skip


def test_importing_trims_and_levels_and_leaves_the_originals(clips, tmp_path):
    import pyloudnorm

    noise = np.random.default_rng(7).normal(0, 0.001, len(phrase(1.5)))
    record(clips, "Band row!.mp3", np.column_stack([phrase(1.5, 44_100)] * 2), 44_100)
    record(clips, "press.wav", phrase(1.5, level=0.05) + noise, subtype="PCM_24")
    record(clips, "mute.wav", np.zeros(9_000))
    record(clips, "🙂.wav")
    (clips / "broken.flac").write_text("no sound")
    before = {path.name: path.read_bytes() for path in clips.iterdir()}
    done = {clip.source: clip.written for clip in import_recordings(clips, tmp_path / "copies")}
    assert done == {
        "Band row!.mp3": "band-row.wav", "press.wav": "press.wav",
        "mute.wav": None, "🙂.wav": None, "broken.flac": None,
    }  # fmt: skip
    assert {path.name: path.read_bytes() for path in clips.iterdir()} == before
    assert {path.name for path in (tmp_path / "copies").iterdir()} == {"band-row.wav", "press.wav"}
    for name, rate_hz in (("band-row.wav", 44_100), ("press.wav", 48_000)):
        known = soundfile.info(tmp_path / "copies" / name)
        assert (known.subtype, known.channels, known.samplerate) == ("PCM_24", 1, rate_hz)
        assert known.duration == pytest.approx(1.5, abs=0.15)
        samples, _ = soundfile.read(tmp_path / "copies" / name)
        assert abs(samples[0]) < 0.005
        assert abs(samples[-1]) < 0.005
        loudness = pyloudnorm.Meter(rate_hz).integrated_loudness(np.column_stack([samples] * 2))
        assert np.abs(samples).max() == pytest.approx(10 ** (-3 / 20), abs=0.001) or \
            loudness == pytest.approx(-18, abs=1)  # fmt: skip


def test_a_folder_without_sound_files_is_told(clips, tmp_path):
    (clips / "row.txt").write_text("row")
    with pytest.raises(SpeechError, match=r"there is no sound file in .*coach; .*\.flac.*\.m4a.*\.wav"):
        import_recordings(clips, tmp_path / "copies")
    assert not (tmp_path / "copies").exists()


def test_the_copies_never_replace_the_originals(clips):
    record(clips, "row.wav")
    with pytest.raises(SpeechError, match="holds the originals; name another folder"):
        import_recordings(clips, clips / ".." / clips.name)
    (clips / "file").write_text("no folder")
    with pytest.raises(SpeechError, match="cannot be written"):
        import_recordings(clips, clips / "file")
