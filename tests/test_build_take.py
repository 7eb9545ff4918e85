"""`verify` from outside: renders pass to the frame, and each fault made on purpose is named for what it is.

The faults are made by numpy, soundfile, soxr and ffmpeg on the finished file, as someone outside would.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pytest
import soxr

from cuetrack import build
from cuetrack.build_take import Source, verify
from cuetrack.errors import SoundError, TimelineError, UsageError
from cuetrack.sound.tones import tone_samples
from cuetrack.take.courses import Course
from cuetrack.take.verification import Verification
from cuetrack.timebase import Duration
from cuetrack.writers.formats import Quality
from tests.helpers.tampering import BED, TONES, Sound, moved, read, with_again, without, write

FORMATS = ("wav", "flac", "mp3", "m4a", "ogg", "opus")
WORDS = """
session: Quay wall with music
voice: system
slate: on
bed: {pulse: 120 bpm, under speech: -18 dB}
mixes: {film: [bed, tone, slate]}
parts:
  - part: Circuit
    rounds: 2
    rest: 12s
    work: 16s
    calls: {finish: {warn: off}}
    steps:
      - {move: Band row, easier: Sitting on the bench, cues: [{at: 6s, say: Long back.}]}
      - {move: Press}
"""


def verified(source: Path, audio: Path, **options: Any) -> Verification:
    within = options.pop("within", None)
    found, _ = verify(Source(source, **options), audio, within=within)
    return found


def assert_perfect(found: Verification) -> None:
    assert found.faults == ()
    assert found.passed
    assert [one.error_frames for one in found.cues] == [0] * len(found.cues)
    assert all(one.is_compared for one in found.cues)
    assert (found.courses, found.late_frames, found.speed_ppm) == ((Course(0, 0),), 0, None)


# Renders


@pytest.mark.parametrize("ending", FORMATS)
@pytest.mark.parametrize(
    ("text", "rate_hz", "channels", "quality"),
    [
        (TONES, 48_000, 2, "small"),
        (TONES, 44_100, 1, "good"),
        (BED, 44_100, 2, "good"),
        (BED, 48_000, 1, "best"),
    ],
    ids=["tones, stereo, small", "tones, mono", "music, stereo", "music, mono, best"],
)
def test_no_render_is_off_by_a_frame(
    tmp_path: Path, ending: str, text: str, rate_hz: int, channels: int, quality: Quality
) -> None:
    plan, audio = tmp_path / "quay.yaml", tmp_path / f"quay.{ending}"
    plan.write_text(text, encoding="utf-8")
    build.render(plan, audio, rate_hz=rate_hz, channels=channels, quality=quality)
    found = verified(plan, audio)
    assert_perfect(found)
    assert len(found.cues) == 21
    assert found.level_db == pytest.approx(0, abs=0.3)
    assert_perfect(verified(audio.with_suffix(".timeline.json"), audio))


@pytest.fixture(scope="module")
def words(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with all mixes of a plan with words and music, and one level more."""
    folder = tmp_path_factory.mktemp("words")
    plan = folder / "quay.yaml"
    plan.write_text(WORDS, encoding="utf-8")
    build.render(plan, folder / "quay.wav", mixes=("class", "ear", "film"))
    build.render(plan, folder / "easier.wav", level="easier")
    return folder


@pytest.mark.parametrize("mix", ["class", "ear", "film"])
def test_each_mix_is_found_in_its_own_file(words: Path, mix: str) -> None:
    audio = words / f"quay.{mix}.wav"
    assert_perfect(verified(words / "quay.yaml", audio, mix=mix))
    assert_perfect(verified(words / f"quay.{mix}.timeline.json", audio))


def test_another_mix_is_told(words: Path) -> None:
    found = verified(words / "quay.yaml", words / "quay.film.wav")
    spoken = [one for one in found.cues if one.cue.text is not None]
    assert spoken
    assert all(one.found_frame is None for one in spoken)
    assert f"{len(spoken)} cues are missing" in found.faults


def test_another_level_is_told(words: Path) -> None:
    found = verified(words / "quay.yaml", words / "easier.wav")
    wrong = [one.cue.text for one in found.cues if one.found_frame is None or found.is_changed(one)]
    assert not found.passed
    assert any("Band row" in (text or "") for text in wrong) or found.extras
    assert_perfect(verified(words / "quay.yaml", words / "easier.wav", level="easier"))


def test_a_phrase_in_another_voice_is_missing(words: Path, tmp_path: Path) -> None:
    """The phrase is played backwards: as long, as loud, with the same spectrum, and other words."""
    timeline = json.loads((words / "quay.ear.timeline.json").read_text("utf-8"))
    samples, rate_hz = read(words / "quay.ear.wav")
    cue = next(one for one in timeline["cues"] if one["text"] == "Long back.")
    place = slice(cue["start_frame"], cue["start_frame"] + cue["frames"])
    samples[place] = samples[place][::-1]
    found = verified(words / "quay.yaml", write(tmp_path / "other.wav", samples, rate_hz), mix="ear")
    assert [one.cue.text for one in found.cues if one.found_frame is None] == ["Long back."]
    assert found.faults[0] == "1 cue is missing"


def test_the_loudest_target_bends_what_is_heard_and_not_where(tmp_path: Path) -> None:
    plan, audio = tmp_path / "quay.yaml", tmp_path / "quay.mp3"
    plan.write_text(f"loudness: -9 LUFS\n{BED}", encoding="utf-8")
    build.render(plan, audio, quality="small")
    assert_perfect(verified(plan, audio))
    found = verified(audio.with_suffix(".timeline.json"), audio)
    assert_perfect(found)
    assert "a timeline holds no music" in found.notes[0]


# Faults


@pytest.fixture(scope="module")
def tones(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with a plan of tones, rendered."""
    folder = tmp_path_factory.mktemp("tones")
    (folder / "quay.yaml").write_text(TONES, encoding="utf-8")
    build.render(folder / "quay.yaml", folder / "quay.wav")
    return folder


@pytest.fixture(scope="module")
def with_bed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with a plan of tones over music, rendered."""
    folder = tmp_path_factory.mktemp("bed")
    (folder / "quay.yaml").write_text(BED, encoding="utf-8")
    build.render(folder / "quay.yaml", folder / "quay.wav")
    return folder


class Tampered:
    """A rendered file in `folder`, its cues, and its samples to be changed."""

    def __init__(self, folder: Path, target: Path) -> None:
        self.folder, self._target = folder, target
        self.samples, self.rate_hz = read(folder / "quay.wav")
        timeline = json.loads((folder / "quay.timeline.json").read_text("utf-8"))
        self.cues = timeline["cues"]
        rests = [phase for phase in timeline["phases"] if phase["kind"] == "rest"]
        self.in_rest = rests[1]["start_frame"] + rests[1]["frames"] // 3

    def found(self, samples: Sound, *, from_plan: bool = True, **options: Any) -> Verification:
        audio = write(self._target / "tampered.wav", samples, self.rate_hz)
        source = self.folder / ("quay.yaml" if from_plan else "quay.timeline.json")
        return verified(source, audio, **options)


@pytest.fixture
def quay(tones: Path, tmp_path: Path) -> Tampered:
    return Tampered(tones, tmp_path)


@pytest.fixture
def music(with_bed: Path, tmp_path: Path) -> Tampered:
    return Tampered(with_bed, tmp_path)


def errors(found: Verification) -> dict[int, int | None]:
    """How far off the cues are that are not on their frame, by their number."""
    return {number: one.error_frames for number, one in enumerate(found.cues) if one.error_frames != 0}


@pytest.mark.parametrize(
    ("number", "by_frames", "from_plan"),
    [
        *((0, 1, True), (11, 1, False), (20, -1, True), (7, 960, True)),
        *((7, 2_880, False), (11, 16_000, True), (20, 2_880, True)),
    ],
)
def test_a_tone_at_the_wrong_place(quay: Tampered, number: int, by_frames: int, from_plan: bool) -> None:
    found = quay.found(moved(quay.samples, quay.cues[number], by_frames), from_plan=from_plan)
    assert errors(found) == {number: by_frames}
    assert len(found.faults) == 1
    assert found.faults[0].startswith("1 cue is at the wrong place, by ")
    assert found.extras == ()


def test_a_tone_under_music_that_is_a_frame_late(music: Tampered) -> None:
    timeline = json.loads((music.folder / "quay.timeline.json").read_text("utf-8"))
    cue = music.cues[8]
    sound = 10 ** (timeline["gain_db"] / 20) * tone_samples(cue["name"], music.rate_hz)[:, np.newaxis].astype(
        np.float64
    )
    made = music.samples.copy()
    made[cue["start_frame"] : cue["start_frame"] + len(sound)] -= sound
    made[cue["start_frame"] + 1 : cue["start_frame"] + 1 + len(sound)] += sound
    found = music.found(made)
    assert errors(found) == {8: 1}
    assert found.faults == ("1 cue is at the wrong place, by 1 frame (0.02 ms) late",)


@pytest.mark.parametrize("from_plan", [True, False], ids=["plan", "timeline"])
@pytest.mark.parametrize("number", [0, 20])
def test_a_missing_tone(quay: Tampered, number: int, from_plan: bool) -> None:
    found = quay.found(without(quay.samples, quay.cues[number]), from_plan=from_plan)
    assert errors(found) == {number: None}
    assert found.faults == ("1 cue is missing",)


@pytest.mark.parametrize("from_plan", [True, False], ids=["plan", "timeline"])
@pytest.mark.parametrize("later_by_frames", [240, 9_600])
def test_a_doubled_tone(quay: Tampered, later_by_frames: int, from_plan: bool) -> None:
    cue = quay.cues[7]
    again = with_again(quay.samples, quay.samples, cue, cue["start_frame"] + later_by_frames)
    found = quay.found(again, from_plan=from_plan)
    assert errors(found) == {}
    (extra,) = found.extras
    assert extra.like == f"tone {cue['name']}"
    assert extra.start_frame == pytest.approx(cue["start_frame"] + later_by_frames, abs=480)
    assert found.faults[0] == "1 sound does not belong there"


@pytest.mark.parametrize("from_plan", [True, False], ids=["plan", "timeline"])
@pytest.mark.parametrize("by_frames", [1, 10])
def test_a_rest_that_is_some_frames_short(quay: Tampered, by_frames: int, from_plan: bool) -> None:
    cut = np.delete(quay.samples, slice(quay.in_rest, quay.in_rest + by_frames), 0)
    found = quay.found(cut, from_plan=from_plan)
    assert [course.late_frames for course in found.courses] == [0, -by_frames]
    assert found.speed_ppm is None
    frames = f"{by_frames} frame{'s' if by_frames > 1 else ''}"
    assert len(found.faults) == 2
    assert f"on everything is {frames} (" in found.faults[0]
    assert found.faults[0].endswith(") early")
    assert found.faults[1].startswith(f"it is {frames} (")
    assert found.extras == ()


@pytest.mark.parametrize("peak", [0.3, 0.01])
def test_a_click_in_a_rest(quay: Tampered, music: Tampered, peak: float) -> None:
    """One sample; even under music, in a lossless file."""
    for tampered, is_zero in ((quay, False), (music, True)):
        samples = tampered.samples.copy()
        samples[tampered.in_rest] += peak
        found = tampered.found(samples)
        assert errors(found) == {}
        (extra,) = found.extras
        assert extra.start_frame <= tampered.in_rest < extra.start_frame + extra.frames
        assert found.faults == ("1 sound does not belong there", "1 rest is not as planned")
        assert [rest.passed for rest in found.rests] == [True, False, True]
        assert found.rests[1].is_exact_zero is is_zero


def test_swapped_tones(quay: Tampered) -> None:
    first, second = quay.cues[3], quay.cues[4]
    assert first["name"] != second["name"]
    bare = without(without(quay.samples, first), second)
    made = with_again(quay.samples, bare, first, second["start_frame"])
    found = quay.found(with_again(quay.samples, made, second, first["start_frame"]))
    apart = second["start_frame"] - first["start_frame"]
    assert errors(found) == {3: apart, 4: -apart}
    assert found.faults[0].startswith("2 cues are at the wrong place")


@pytest.mark.parametrize("ppm", [10, -10, 2])
def test_the_wrong_speed(quay: Tampered, music: Tampered, ppm: int) -> None:
    for tampered in (quay, music) if ppm == 10 else (quay,):
        rate = tampered.rate_hz
        found = tampered.found(soxr.resample(tampered.samples, rate, rate * (1 + ppm / 1e6), "VHQ"))
        assert found.speed_ppm == pytest.approx(ppm, abs=0.05)
        assert found.faults[0] == f"it runs {abs(ppm)}.0 ppm too {'slowly' if ppm > 0 else 'fast'}"
        assert "it runs at another speed" in found.notes[0]
        assert not any("cue" in fault for fault in found.faults)


@pytest.mark.parametrize("late_frames", [1, 1_105, 480_000, -1_105, -144_000])
def test_a_file_that_is_moved_or_cut_at_its_head(quay: Tampered, music: Tampered, late_frames: int) -> None:
    for tampered in (quay, music) if abs(late_frames) == 1_105 else (quay,):
        samples = tampered.samples
        silence = np.zeros((max(0, late_frames), 2))
        found = tampered.found(np.concatenate([silence, samples[max(0, -late_frames) :]]))
        assert found.late_frames == late_frames
        there = [one.error_frames for one in found.cues if one.error_frames is not None]
        assert there == [late_frames] * len(there)
        lost = sum(cue["start_frame"] + late_frames < 0 for cue in tampered.cues)
        assert len(found.cues) - len(there) == lost
        assert found.faults[0].startswith("everything is ")
        assert found.faults[0].endswith(") late" if late_frames > 0 else ") early")
        assert found.extras == ()


@pytest.mark.parametrize("of", ["quay", "music"])
def test_three_seconds_cut_out_of_the_middle(of: str, quay: Tampered, music: Tampered) -> None:
    tampered = {"quay": quay, "music": music}[of]
    cut = np.delete(tampered.samples, slice(tampered.in_rest, tampered.in_rest + 3 * tampered.rate_hz), 0)
    found = tampered.found(cut)
    assert [course.late_frames for course in found.courses] == [0, -3 * tampered.rate_hz]
    assert "on everything is 144000 frames (3.00 s) early" in found.faults[0]
    assert found.faults[-1] == "it is 144000 frames (3.00 s) shorter than planned"
    assert found.extras == ()


@pytest.mark.parametrize("from_plan", [True, False], ids=["plan", "timeline"])
def test_a_softer_file_passes_and_is_told(quay: Tampered, from_plan: bool) -> None:
    found = quay.found(quay.samples * 10 ** (-3 / 20), from_plan=from_plan)
    assert_perfect(found)
    assert found.level_db == pytest.approx(-3.0, abs=0.01)


def test_one_softer_tone_does_not_pass(quay: Tampered) -> None:
    cue = quay.cues[7]
    samples = quay.samples.copy()
    samples[cue["start_frame"] : cue["start_frame"] + cue["frames"]] *= 10 ** (-3 / 20)
    found = quay.found(samples)
    assert found.faults == ("1 cue is softer or louder than planned",)
    assert found.cues[7].level_db == pytest.approx(-3.0, abs=0.1)


def test_half_a_tone_does_not_pass(quay: Tampered) -> None:
    cue = quay.cues[7]
    samples = quay.samples.copy()
    samples[cue["start_frame"] + cue["frames"] // 2 : cue["start_frame"] + cue["frames"]] = 0
    assert not quay.found(samples).passed


def test_upside_down_is_told_and_passes(quay: Tampered) -> None:
    found = quay.found(-quay.samples)
    assert_perfect(found)
    assert found.notes == ("it is upside down (its polarity is inverted), which nobody hears",)


@pytest.mark.parametrize(
    ("sides", "said"),
    [
        ((1, 0), "its right channel is silent"),
        ((0, 1), "its left channel is silent"),
        ((1, -1), "one of its channels is the other upside down, so that both together are silent"),
        ((0, 0), "it is silent"),
    ],
)
def test_dead_and_inverted_channels(quay: Tampered, sides: tuple[int, int], said: str) -> None:
    assert quay.found(quay.samples * np.array(sides)).faults[0] == said


@pytest.mark.parametrize(
    "made",
    [lambda samples: samples[:1], lambda samples: np.random.default_rng(3).normal(0, 0.05, samples.shape)],
    ids=["one frame", "noise"],
)
def test_nothing_of_it(quay: Tampered, made: Callable[[Sound], Sound]) -> None:
    found = quay.found(made(quay.samples))
    assert "none of the plan's cues is in this file" in found.faults
    assert all(one.found_frame is None for one in found.cues)


def test_ten_times_over(quay: Tampered) -> None:
    found = quay.found(np.tile(quay.samples, (10, 1)))
    assert errors(found) == {}
    assert len(found.extras) > 9 * len(quay.cues) // 2
    assert found.faults[-1].endswith(" longer than planned")


def test_the_first_half_alone(quay: Tampered) -> None:
    half = len(quay.samples) // 2
    found = quay.found(quay.samples[:half])
    lost = sum(cue["start_frame"] + cue["frames"] // 2 > half for cue in quay.cues)
    assert list(errors(found).values()) == [None] * lost
    assert found.faults[0] == f"{lost} cues are missing"


def test_another_session(words: Path, tones: Path) -> None:
    found = verified(words / "quay.yaml", tones / "quay.wav")
    assert any("it may hold something else" in fault or "none of" in fault for fault in found.faults)


def test_sixteen_bits_without_dither(quay: Tampered, tmp_path: Path) -> None:
    audio = write(tmp_path / "16.wav", quay.samples, quay.rate_hz, "PCM_16")
    assert_perfect(verified(quay.folder / "quay.yaml", audio))


@pytest.mark.parametrize(
    ("ending", "arguments"),
    [
        ("mp3", ["-c:a", "libmp3lame", "-b:a", "96k"]),
        ("m4a", ["-c:a", "aac", "-b:a", "96k"]),
        ("mka", ["-c:a", "libopus", "-b:a", "64k"]),
        ("mp3", ["-c:a", "libmp3lame", "-b:a", "128k", "-ar", "44100"]),
    ],
)
def test_exported_anew(music: Tampered, tmp_path: Path, ending: str, arguments: list[str]) -> None:
    """At another rate the frames of a plan lie half a frame off at most, which may be said as one."""
    audio = tmp_path / f"anew.{ending}"
    program = imageio_ffmpeg.get_ffmpeg_exe()
    source = str(music.folder / "quay.wav")
    subprocess.run([program, "-v", "error", "-i", source, *arguments, str(audio)], check=True)
    found = verified(music.folder / "quay.yaml", audio, within=Duration(Fraction(1, 1000)))
    assert found.faults == ()
    assert max(abs(one.error_frames or 0) for one in found.cues) <= (1 if "44100" in arguments else 0)
    assert all(one.error_frames is not None for one in found.cues)


def test_within_is_how_far_a_cue_may_be_off(quay: Tampered) -> None:
    samples = moved(quay.samples, quay.cues[7], 48)
    assert quay.found(samples, within=Duration(Fraction(1, 1000))).passed
    assert not quay.found(samples, within=Duration(Fraction(47, 48_000))).passed
    late = np.concatenate([np.zeros((48, 2)), quay.samples])
    assert quay.found(late, within=Duration(Fraction(1, 1000))).passed


def test_a_timeline_of_another_rate_is_a_frame_off_at_most(quay: Tampered, tmp_path: Path) -> None:
    audio = tmp_path / "quay.wav"
    build.render(quay.folder / "quay.yaml", audio, rate_hz=44_100)
    found = verified(quay.folder / "quay.timeline.json", audio)
    assert found.passed
    assert max(abs(one.error_frames or 0) for one in found.cues) <= 1


# What is no plan, and what is no sound


def test_what_is_no_sound(tones: Path, tmp_path: Path) -> None:
    text = tmp_path / "quay.mp3"
    text.write_text("hello", encoding="utf-8")
    for audio, said in ((text, "cannot be read as sound"), (tmp_path / "no.wav", "is not there")):
        with pytest.raises(SoundError, match=said):
            verified(tones / "quay.yaml", audio)


def test_what_is_no_timeline(tones: Path, tmp_path: Path) -> None:
    other = tmp_path / "quay.json"
    other.write_text("{}", encoding="utf-8")
    with pytest.raises(TimelineError, match="is no timeline"):
        verified(other, tones / "quay.wav")
    with pytest.raises(UsageError, match="a timeline is of one mix"):
        verified(tones / "quay.timeline.json", tones / "quay.wav", mix="film")
