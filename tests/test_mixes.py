"""Rendered mixes from outside: what each holds, how loud it is, where the bed goes down, how stems add up.

Loudness and true peak are read by ffmpeg's ebur128 and by pyloudnorm, not by our own meter.
"""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import imageio_ffmpeg
import numpy as np
import pyloudnorm
import pytest
import soundfile
from numpy.typing import NDArray

from cuetrack import build
from cuetrack.build_mixes import bed_sounds
from cuetrack.errors import PlanError
from cuetrack.mix.bed import bed_blocks
from cuetrack.mix.ducking import CLOSE_SECONDS, DOWN_SECONDS, UP_SECONDS
from cuetrack.mix.limiter import RAMP_SECONDS

RATE_HZ = 48_000
PLAN = """
session: Quay wall with music
voice: system
coach: Coach of the quay
slate: on
bed: {pulse: 120 bpm, under speech: -18 dB}
mixes: {film: [bed, tone, slate]}
parts:
  - part: Welcome
    bed: off
    steps:
      - talk: 12s
        notes: Band, *chair*, mat.
  - part: Circuit
    rounds: 2
    rest: 24 counts
    work: 64 counts
    calls: {finish: {warn: off}}
    steps:
      - move: Band row
        cues: [{at: 12s, say: Long back.}, {at: 20s, tone: soft}]
      - move: Press
        bed: {gain: -4 dB}
  - part: Cool-down
    bed: {pulse: 90 bpm, mood: calm}
    steps:
      - {move: Easy walking, work: 32 counts}
"""


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with all mixes of the plan, and their stems."""
    folder = tmp_path_factory.mktemp("mixes")
    plan = folder / "quay.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    build.render(plan, folder / "quay.wav", mixes=("class", "ear", "film"), stems=True)
    return folder


def read(path: Path) -> NDArray[np.float64]:
    samples, rate_hz = soundfile.read(path, always_2d=True)
    assert rate_hz == RATE_HZ
    return samples


def document(folder: Path, mix: str) -> dict[str, Any]:
    text = (folder / f"quay.{mix}.timeline.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def ebur128(path: Path) -> tuple[float, float]:
    """Integrated loudness in LUFS and true peak in dBTP, by ffmpeg."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostats", "-i", str(path)]
    command += ["-af", "ebur128=peak=true", "-f", "null", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    summary = done.stderr.rpartition("Summary:")[2]
    numbers = re.search(r"I:\s+(-?[\d.]+) LUFS.*Peak:\s+(-?[\d.]+|-inf) dBFS", summary, re.DOTALL)
    assert numbers is not None
    return float(numbers[1]), float(numbers[2])


@pytest.mark.parametrize(("mix", "target_lufs"), [("class", -16), ("ear", -18), ("film", -23)])
def test_each_mix_has_its_loudness_and_keeps_under_its_peak(
    rendered: Path, mix: str, target_lufs: float
) -> None:
    """Targets: AES TD1008 (music -16, speech -18), EBU R 128 (-23 LUFS, at most -1 dBTP)."""
    path = rendered / f"quay.{mix}.wav"
    loudness_lufs, peak_dbtp = ebur128(path)
    assert loudness_lufs == pytest.approx(target_lufs, abs=0.1 + 0.05)  # ffmpeg prints one decimal
    assert pyloudnorm.Meter(RATE_HZ).integrated_loudness(read(path)) == pytest.approx(target_lufs, abs=0.15)
    assert peak_dbtp <= -1.0
    assert document(rendered, mix)["loudness_lufs"] == pytest.approx(loudness_lufs, abs=0.1 + 0.05)


def test_the_mixes_hold_what_they_are_for(rendered: Path) -> None:
    kinds = {
        mix: {cue["kind"] for cue in document(rendered, mix)["cues"]} for mix in ("class", "ear", "film")
    }
    assert kinds["class"] == {"announcement", "call", "tone", "slate"}
    assert kinds["ear"] == kinds["class"] | {"prompt"}
    assert kinds["film"] == {"tone", "slate"}
    assert (rendered / "quay.film.bed.wav").exists()
    assert not (rendered / "quay.ear.bed.wav").exists()


def test_the_mixes_are_aligned_to_the_sample(rendered: Path) -> None:
    """What two mixes share stands on the same frames in both."""

    def where(mix: str) -> set[tuple[object, ...]]:
        cues = document(rendered, mix)["cues"]
        keys = ("kind", "text", "name", "mark_frame", "start_frame", "frames")
        return {tuple(cue[key] for key in keys) for cue in cues if cue["kind"] != "prompt"}

    assert where("class") == where("ear")
    assert where("film") < where("class")
    assert len({document(rendered, mix)["frames"] for mix in ("class", "ear", "film")}) == 1


@pytest.mark.parametrize("mix", ["class", "ear", "film"])
def test_the_stems_add_up_to_the_mix(rendered: Path, mix: str) -> None:
    """Before mastering, which is one gain wherever the limiter is idle."""
    stems = [read(path) for path in sorted(rendered.glob(f"quay.{mix}.*.wav"))]
    total, track = sum(stems), read(rendered / f"quay.{mix}.wav")
    assert len(stems) >= 3
    gain = 10 ** (document(rendered, mix)["gain_db"] / 20)
    # The limiter works within two of its ramps of what is loud. An interpolated peak is at most 2.5 times
    # the samples around it, and they lie within 16 frames.
    loud = np.flatnonzero(np.abs(total).max(axis=1) * gain * 2.5 >= 10 ** (-1.1 / 20))
    idle, reach = np.ones(len(total), bool), round(2 * RAMP_SECONDS * RATE_HZ) + 32
    for frame in loud:
        idle[max(0, frame - reach) : frame + reach] = False
    # 24 bits, and a gain that timeline.json rounds to a ten-thousandth of a dB.
    assert np.abs(track - total * gain)[idle].max() < 6e-6 + 2**-23
    assert idle.mean() > 0.3
    assert (np.abs(track) <= np.abs(total * gain) * (1 + 6e-6) + 2**-23).all()


def undocked(rendered: Path) -> tuple[NDArray[np.float32], Any]:
    """The bed at its own level, as it would be if nobody spoke, and the plan's arrangement."""
    known = build.compile_plan(rendered / "quay.yaml", mixes=("class",))
    arrangement, _ = build.sounded(known, RATE_HZ)
    sounds = bed_sounds(arrangement, known.files, 2)
    blocks = bed_blocks(arrangement.timeline.bed, sounds, RATE_HZ, arrangement.frames, 2)
    whole = np.zeros((arrangement.frames, 2), np.float32)
    start = 0
    for block in blocks:
        frames = min(65_536, arrangement.frames - start)
        if block is not None:
            whole[start : start + frames] = block
        start += frames
    return whole, arrangement


def test_the_bed_is_down_at_every_sample_of_speech_and_untouched_elsewhere(rendered: Path) -> None:
    own, _ = undocked(rendered)
    ducked = read(rendered / "quay.class.bed.wav").astype(np.float32)
    down, up, close = (round(s * RATE_HZ) for s in (DOWN_SECONDS, UP_SECONDS, CLOSE_SECONDS))
    may_change = np.zeros(len(own), bool)
    sounding = np.abs(own).max(axis=1) > 1e-4
    for cue in document(rendered, "class")["cues"]:
        start, end = cue["start_frame"], cue["start_frame"] + cue["frames"]
        may_change[max(0, start - down - close) : end + up + close] = True
        if cue["text"] is None or not sounding[start:end].any():
            continue
        ratio = ducked[start:end][sounding[start:end]] / own[start:end][sounding[start:end]]
        # -18 dB under a voice of -18 LUFS, from a bed of -20 LUFS; 4 dB are in the bed already.
        assert np.nanmax(np.abs(ratio)) <= 10 ** (-(16 - 4) / 20) * 1.001
    assert np.array_equal(ducked[~may_change], own[~may_change])
    assert (~may_change & sounding).mean() > 0.2
    assert (np.abs(ducked) <= np.abs(own)).all()


def test_where_the_plan_asks_for_silence_there_is_no_bed(rendered: Path) -> None:
    phases = document(rendered, "class")["phases"]
    bed = read(rendered / "quay.class.bed.wav")
    for phase in phases:
        here = bed[phase["start_frame"] : phase["start_frame"] + phase["frames"]]
        assert here.any() == (phase["part"] != "Welcome" and phase["kind"] != "lead-in")


def test_every_cue_over_the_bed_meets_its_rule(rendered: Path) -> None:
    """Measured again, on the stems: speech at least 18 LU over the bed, as the plan asks."""
    bed, voice = (read(rendered / f"quay.class.{stem}.wav") for stem in ("bed", "voice"))
    meter = pyloudnorm.Meter(RATE_HZ, block_size=0.4)
    compared = 0
    for cue in document(rendered, "class")["cues"]:
        here = slice(cue["start_frame"], cue["start_frame"] + cue["frames"])
        if cue["text"] is None or cue["frames"] < 0.5 * RATE_HZ or not bed[here].any():
            continue
        over_lu = meter.integrated_loudness(voice[here]) - meter.integrated_loudness(bed[here])
        assert over_lu > 18 - 0.5
        # Gates and window ends differ from the ungated figure of the whole phrase.
        assert cue["over_bed_db"] == pytest.approx(over_lu, abs=4)
        assert cue["over_bed_db"] >= 18
        assert cue["bed_lowered_db"] <= -12
        compared += 1
    assert compared > 5


@pytest.mark.parametrize("key", ["bed: {file: ../tide.wav}", "artwork: ../tide.png"])
def test_a_file_outside_the_folder_is_read_only_if_the_user_says_so(tmp_path: Path, key: str) -> None:
    folder = tmp_path / "plans"
    folder.mkdir()
    noise = np.random.default_rng(3).uniform(-0.1, 0.1, 5 * RATE_HZ)
    soundfile.write(tmp_path / "tide.wav", noise, RATE_HZ)
    (tmp_path / "tide.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(40))
    plan = folder / "quay.yaml"
    plan.write_text(f"session: Tide\n{key}\nparts: [{{part: A, steps: [{{talk: 6s}}]}}]\n", encoding="utf-8")
    with pytest.raises(PlanError, match=r"lies outside the plan's folder") as caught:
        build.render(plan, folder / "quay.flac")
    assert caught.value.diagnostics[0].place.line == 2
    assert not (folder / "quay.flac").exists()
    build.render(plan, folder / "quay.flac", allow_outside=True)
    assert (folder / "quay.flac").exists()
