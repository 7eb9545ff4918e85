"""How well `cuetrack align` finds a session in simulated rooms, beside plain cross-correlation.

    python -m pip install -e '.[bench]'
    python -m tests.reports.align_grid [--keep] [--runs N] [--processes N]

Rooms are shoeboxes by the image source method of pyroomacoustics, an independent package; how long sound
takes from the loudspeaker to the microphone (343 m/s) is part of the true offset. Grid: reverberation by
distance by level, one run each; all else is drawn for each run by a generator with a fixed seed: noise
(music, speech-like, pink), clock drift within 200 ppm, a microphone of 300 to 3400 Hz or the full band,
automatic gain, clipping, rate, file (WAV, MP3, M4A), and what was done at the player (nothing, a pause of 5
to 40 s, 30 to 60 s back or forward, a start from the beginning).

*Level* is the power of all that the loudspeaker plays as it arrives at the microphone, over the power of
the noise, both while the track sounds. A run is *right* if every stretch of 60 s or more is found, off by at
most 1 ms at both of its ends, with a rate within 1 ppm, and if no stretch is found elsewhere; one that is
off by more than 20 ms is a false alignment. The baseline is one cross-correlation of the whole recording
with the whole track (SciPy), at 8 kHz: it knows no drift and one stretch, and is judged by the stretch it
fits best.

Unrelated recordings (noise, other sessions, the same times with other words) have to be refused.
`--keep` keeps the report in align_grid.txt. A run takes some 15 s.
"""

from __future__ import annotations

import argparse
import itertools
import os
import platform
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy import signal

from cuetrack import build
from cuetrack.build_take import Source, align
from tests.benchmarks.render_speed import _processor, _version

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_suffix(".txt")
PLANS = ("boathouse-mobility", "quay-circuit", "slipway-intervals")
REVERBERATIONS, DISTANCES, LEVELS_DB = (0.2, 0.5, 0.8, 1.2), (1, 2, 4, 8), (-5, 0, 5, 10, 20)
ROOM_HZ, BASELINE_HZ = 16_000, 8_000
SPEED_OF_SOUND = 343.0
# pyroomacoustics places each image by a filter of 81 taps, which makes all of them so much later.
FILTER_SECONDS = 40 / ROOM_HZ
MOST_OFF_MS, MOST_OFF_PPM, FALSE_MS = 1.0, 1.0, 20.0
GOAL_SHARE, GOAL_SECONDS = 0.95, 10.0
NOISES = ("music", "speech", "pink")
HANDLINGS = ("none", "none", "pause", "back", "forward", "restart")

Signal = NDArray[np.float32]


@dataclass(frozen=True)
class Room:
    """Everything about one run."""

    plan: str
    reverberation: float
    distance: float
    level_db: float
    noise: str
    drift_ppm: float
    is_phone: bool
    has_gain_control: bool
    clips: bool
    rate_hz: int
    ending: str
    handling: str
    seed: int


@dataclass(frozen=True)
class Played:
    """A stretch as it was really played: of the session, and by how much later that is in the recording."""

    start: float
    end: float
    behind: float


@dataclass(frozen=True)
class Outcome:
    """What became of a run; errors of the worst stretch, None where none was found."""

    room: Room
    true: int
    found: int
    missed: int
    false: int
    off_ms: float | None
    off_ppm: float | None
    baseline_ms: float
    seconds: float

    @property
    def is_right(self) -> bool:
        """Whether it is as good as promised."""
        if self.missed or self.false or self.off_ms is None or self.off_ppm is None:
            return False
        return self.off_ms <= MOST_OFF_MS and self.off_ppm <= MOST_OFF_PPM


def rooms(number: int) -> list[Room]:
    """The grid, or as many of its cells, evenly spread."""
    cells = list(itertools.product(REVERBERATIONS, DISTANCES, LEVELS_DB))
    chosen = np.unique(np.linspace(0, len(cells) - 1, min(number, len(cells))).astype(int))
    made = []
    for index in chosen:
        chance = np.random.default_rng([2026, int(index)])
        reverberation, distance, level_db = cells[index]
        made.append(
            Room(
                plan=PLANS[int(index) % len(PLANS)],
                reverberation=reverberation,
                distance=distance,
                level_db=level_db,
                noise=NOISES[chance.integers(len(NOISES))],
                drift_ppm=float(chance.uniform(-200, 200)),
                is_phone=bool(chance.integers(2)),
                has_gain_control=bool(chance.integers(2)),
                clips=bool(chance.random() < 0.3),
                rate_hz=int(chance.choice([44_100, 48_000])),
                ending=str(chance.choice([".wav", ".mp3", ".m4a"])),
                handling=HANDLINGS[chance.integers(len(HANDLINGS))],
                seed=int(index),
            )
        )
    return made


@cache
def track(plan: Path) -> Signal:
    """The class mix of a plan as a loudspeaker gets it, one channel, at the rooms' rate."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "track.wav"
        build.render(plan, path)
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return np.asarray(soxr.resample(samples.mean(axis=1), rate_hz, ROOM_HZ), np.float32)


def played_pieces(room: Room, whole: Signal, chance: np.random.Generator) -> tuple[Signal, list[Played]]:
    """What comes out of the loudspeaker, and how that lies in time."""
    lasts, lead = len(whole) / ROOM_HZ, float(chance.uniform(2, 12))
    at = float(chance.uniform(0.25, 0.6)) * lasts
    again = float(chance.uniform(30, 60))
    pieces = {
        "none": [(0.0, lasts, 0.0)],
        "pause": [(0.0, at, 0.0), (at, lasts, float(chance.uniform(5, 40)))],
        "back": [(0.0, at, 0.0), (at - again, lasts, 1.0)],
        "forward": [(0.0, at, 0.0), (at + again, lasts, 1.0)],
        "restart": [(0.0, at, 0.0), (0.0, lasts, 3.0)],
    }[room.handling]
    made, true = [np.zeros(round(lead * ROOM_HZ), np.float32)], []
    for start, end, pause in pieces:
        made.append(np.zeros(round(pause * ROOM_HZ), np.float32))
        first, last = round(start * ROOM_HZ), round(end * ROOM_HZ)
        behind = (sum(map(len, made)) - first) / ROOM_HZ
        true.append(Played(first / ROOM_HZ, last / ROOM_HZ, behind))
        made.append(whole[first:last])
    return np.concatenate([*made, np.zeros(3 * ROOM_HZ, np.float32)]), true


def room_answer(room: Room, chance: np.random.Generator) -> Signal:
    """The impulse response from loudspeaker to microphone."""
    import pyroomacoustics

    size = np.array([chance.uniform(5.5, 8), chance.uniform(9, 11), chance.uniform(2.6, 3.4)])
    absorption, order = pyroomacoustics.inverse_sabine(room.reverberation, size)
    shoebox = pyroomacoustics.ShoeBox(
        size,
        fs=ROOM_HZ,
        materials=pyroomacoustics.Material(absorption),
        max_order=order,
        air_absorption=True,
    )
    source, microphone = _apart(size, room.distance, chance)
    shoebox.add_source(source)
    shoebox.add_microphone(microphone)
    shoebox.compute_rir()
    answer = np.asarray(shoebox.rir[0][0], np.float32)
    return answer[round(FILTER_SECONDS * ROOM_HZ) :]


def _apart(
    size: NDArray[np.float64], distance: float, chance: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Two random places in a room that lie so far apart, none nearer to a wall than 0.3 m."""
    for _ in range(10_000):
        source = chance.uniform(0.3, size - 0.3)
        turn, rise = chance.uniform(0, 2 * np.pi), chance.uniform(-0.5, 0.5)
        flat = np.sqrt(max(distance**2 - rise**2, 0.0))
        microphone = source + np.array([flat * np.cos(turn), flat * np.sin(turn), rise])
        if (microphone > 0.3).all() and (microphone < size - 0.3).all():
            return source, microphone
    raise SystemExit(f"no two places in a room of {size} are {distance} m apart")


def pink(frames: int, chance: np.random.Generator) -> Signal:
    """Noise whose power falls by 3 dB an octave."""
    spectrum = np.fft.rfft(chance.standard_normal(frames).astype(np.float32))
    spectrum /= np.sqrt(np.maximum(1, np.arange(len(spectrum))))
    return np.fft.irfft(spectrum, frames).astype(np.float32)


def speech_like(frames: int, chance: np.random.Generator) -> Signal:
    """Noise in the band and the rhythm of several people who talk."""
    band = signal.butter(2, [200, 3500], "bandpass", fs=ROOM_HZ, output="sos")
    syllables = chance.gamma(0.6, 1.0, frames // 1900 + 2)
    loudness = np.interp(np.arange(frames) / 1900, np.arange(len(syllables)), syllables)
    return (signal.sosfilt(band, pink(frames, chance)) * loudness).astype(np.float32)


def music_like(frames: int, chance: np.random.Generator) -> Signal:
    """Chords with overtones on a beat, and a drum with each."""
    made = np.zeros(frames, np.float32)
    beat = round(ROOM_HZ * 60 / chance.uniform(100, 135))
    for start in range(0, frames, beat):
        length = min(beat, frames - start)
        seconds = np.arange(length) / ROOM_HZ
        for pitch_hz in 110 * 2 ** (chance.integers(0, 30, 3) / 12):
            for overtone in range(1, 8):
                made[start : start + length] += (
                    np.exp(-4 * seconds) * np.sin(2 * np.pi * pitch_hz * overtone * seconds) / overtone
                )
        drum = chance.standard_normal(min(800, length)) * np.exp(-np.arange(min(800, length)) / 160)
        made[start : start + len(drum)] += 3 * drum
    return made


MAKERS = {"music": music_like, "speech": speech_like, "pink": pink}


def recording(room: Room, whole: Signal, folder: Path) -> tuple[Path, list[Played], float]:
    """A file of the room, what was played in it, and its true clock: recording seconds a second."""
    chance = np.random.default_rng([7, room.seed])
    dry, true = played_pieces(room, whole, chance)
    wet = signal.fftconvolve(dry, room_answer(room, chance))[: len(dry)].astype(np.float32)
    sounds = signal.fftconvolve(np.abs(dry), np.ones(800) / 800, "same") > 1e-4
    noise = MAKERS[room.noise](len(dry), chance)
    power, other = (float(np.mean(one[sounds].astype(np.float64) ** 2)) for one in (wet, noise))
    heard = wet + noise * np.float32(np.sqrt(power / other) * 10 ** (-room.level_db / 20))
    path = folder / f"room{room.ending}"
    _write(path, _through_microphone(heard, room), room)
    return path, true, 1 + room.drift_ppm / 1e6


def _through_microphone(heard: Signal, room: Room) -> Signal:
    if room.is_phone:
        band = signal.butter(4, [300, 3400], "bandpass", fs=ROOM_HZ, output="sos")
        heard = signal.sosfilt(band, heard).astype(np.float32)
    heard = heard / np.abs(heard).max()
    if room.has_gain_control:  # a time constant of 2 s
        share = 1 / (2 * ROOM_HZ)
        level = np.sqrt(signal.lfilter([share], [1, share - 1], heard.astype(np.float64) ** 2) + 1e-6)
        heard = (0.1 * heard / level).astype(np.float32)
        heard = heard / np.abs(heard).max()
    if room.clips:  # 12 dB too loud
        heard = np.clip(4 * heard, -1, 1)
    return heard


def _write(path: Path, heard: Signal, room: Room) -> None:
    samples = soxr.resample(heard, ROOM_HZ, room.rate_hz * (1 + room.drift_ppm / 1e6))
    plain = path.with_suffix(".wav")
    soundfile.write(plain, np.clip(samples, -1, 1), room.rate_hz, subtype="PCM_16")
    if path != plain:
        codec = {".mp3": "libmp3lame", ".m4a": "aac"}[path.suffix]
        ffmpeg = imageio_ffmpeg.get_ffmpeg_exe()
        command = [ffmpeg, "-loglevel", "error", "-y", "-i", plain, "-c:a", codec, "-b:a", "96k", path]
        subprocess.run(command, check=True)


def outcome(room: Room) -> Outcome:
    """One run: simulated, aligned, and held against the truth."""
    plan = ROOT / "samples" / f"{room.plan}.yaml"
    whole = track(plan)
    flight = room.distance / SPEED_OF_SOUND
    with tempfile.TemporaryDirectory() as folder:
        path, true, clock = recording(room, whole, Path(folder))
        started = time.perf_counter()
        found = align(Source(plan), path).alignment
        seconds = time.perf_counter() - started
        baseline = _baseline_ms(path, whole, true, flight, clock)
    wanted_ppm = (1 / clock - 1) * 1e6
    hit, offs, ppms, false = set[int](), [], [], 0
    for one in found.stretches:
        ends = (one.programme_start_seconds, one.programme_end_seconds)
        errors = [
            max(abs(one.line.recording_at(at) - (at + each.behind + flight) * clock) for at in ends) * 1000
            for each in true
        ]
        best = int(np.argmin(errors))
        hit.add(best)
        false += errors[best] > FALSE_MS
        offs.append(errors[best])
        ppms.append(abs(one.rate_ppm - wanted_ppm))
    missed = sum(each.end - each.start >= 60 and n not in hit for n, each in enumerate(true))
    off_ms, off_ppm = max(offs, default=None), max(ppms, default=None)
    return Outcome(room, len(true), len(found.stretches), missed, false, off_ms, off_ppm, baseline, seconds)


def _baseline_ms(path: Path, whole: Signal, true: list[Played], flight: float, clock: float) -> float:
    """How far the best single offset is off, at the worse end of the stretch that it fits best."""
    samples = _decoded(path)
    reference = soxr.resample(whole, ROOM_HZ, BASELINE_HZ)
    across = signal.correlate(samples, reference, "full", "fft")
    late = (int(np.abs(across).argmax()) - len(reference) + 1) / BASELINE_HZ
    return min(
        max(abs(at + late - (at + each.behind + flight) * clock) for at in (each.start, each.end)) * 1000
        for each in true
    )


def _decoded(path: Path) -> Signal:
    ffmpeg = imageio_ffmpeg.get_ffmpeg_exe()
    command = [
        ffmpeg,
        "-loglevel",
        "error",
        "-i",
        path,
        "-f",
        "f32le",
        "-ac",
        "1",
        "-ar",
        str(BASELINE_HZ),
        "-",
    ]
    return np.frombuffer(subprocess.run(command, check=True, capture_output=True).stdout, np.float32)


def unrelated(folder: Path) -> Iterator[tuple[str, Path, Path]]:
    """What it is, a plan, and a recording in which that is not to be found."""
    base = rooms(80)[44]
    for number, kind in enumerate(NOISES):
        for drawn in range(2):
            chance = np.random.default_rng([3, number, drawn])
            path = folder / f"{kind}-{drawn}.wav"
            noise = MAKERS[kind](600 * ROOM_HZ, chance)
            soundfile.write(path, 0.5 * noise / np.abs(noise).max(), ROOM_HZ, subtype="PCM_16")
            yield f"{kind} alone, 10 minutes", ROOT / "samples" / f"{PLANS[number]}.yaml", path
    for wanted, played in itertools.permutations(PLANS, 2):
        room = replace(base, plan=played, ending=".wav", handling="none", level_db=15.0, seed=len(played))
        path, _, _ = recording(room, track(ROOT / "samples" / f"{played}.yaml"), folder)
        yield f"{played} in a room, sought as {wanted}", ROOT / "samples" / f"{wanted}.yaml", path
    for name in PLANS:
        other = folder / f"other-{name}.yaml"
        other.write_text(renamed((ROOT / "samples" / f"{name}.yaml").read_text("utf-8")), "utf-8")
        room = replace(base, plan=name, ending=".wav", handling="none", level_db=15.0, seed=5)
        path, _, _ = recording(room, track(other), folder)
        yield f"{name} with other names, the same times", ROOT / "samples" / f"{name}.yaml", path


def renamed(text: str) -> str:
    """A plan with other names for its moves, calls and announcements, and the same times."""
    names = itertools.cycle(("Oar swing", "Deck crawl", "Rope haul", "Keel roll", "Bow twist", "Mast climb"))
    value = r'("[^"]*"|[^,}\n]+)'
    text = re.sub(rf"(move: ){value}", lambda found: found[1] + next(names), text)
    text = re.sub(rf"(setup: ){value}", r"\1Other words altogether", text)
    return re.sub(rf"(say: ){value}", r"\1Something else", text)


_COLUMNS = (
    *("level dB", "reverb s", "dist m", "noise", "drift ppm", "mic", "agc", "clips", "file", "player"),
    *("true", "found", "off ms", "off ppm", "baseline ms", "right"),
)


def _row(one: Outcome) -> tuple[str, ...]:
    room = one.room
    return (
        *(f"{room.level_db:+.0f}", f"{room.reverberation}", f"{room.distance}", room.noise),
        *(f"{room.drift_ppm:+.0f}", "phone" if room.is_phone else "full"),
        *("yes" if is_so else "no" for is_so in (room.has_gain_control, room.clips)),
        *(f"{room.ending[1:]} {room.rate_hz}", room.handling, str(one.true), str(one.found)),
        "-" if one.off_ms is None else f"{one.off_ms:.3f}",
        "-" if one.off_ppm is None else f"{one.off_ppm:.2f}",
        *(f"{one.baseline_ms:.1f}", "yes" if one.is_right else "NO"),
    )


def table(done: list[Outcome]) -> Iterator[str]:
    """The runs and what they come to."""
    order = sorted(done, key=lambda one: (one.room.level_db, one.room.reverberation, one.room.distance))
    rows = [_COLUMNS, *map(_row, order)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))
    for title, key in (
        ("level", lambda room: f"{room.level_db:+.0f} dB"),
        ("reverberation", lambda room: f"{room.reverberation} s"),
        ("distance", lambda room: f"{room.distance} m"),
        ("player", lambda room: room.handling),
    ):
        yield f"\nby {title}: runs that are right; beside it the baseline within 1 ms"
        for value in dict.fromkeys(key(one.room) for one in done):
            some = [one for one in done if key(one.room) == value]
            right = sum(one.is_right for one in some)
            plain = sum(one.baseline_ms <= MOST_OFF_MS for one in some)
            yield f"  {value:8} {right:3} of {len(some):3}   baseline {plain:3}"


def timed_seconds(folder: Path) -> float:
    """The median of three fresh processes that align half an hour."""
    plan = ROOT / "samples" / "slipway-intervals.yaml"
    room = replace(rooms(80)[45], plan="slipway-intervals", ending=".wav", handling="none", rate_hz=48_000)
    path, _, _ = recording(room, track(plan), folder)
    command = [sys.executable, "-m", "cuetrack", "align", str(plan), str(path)]
    taken = []
    for _ in range(3):
        started = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        taken.append(time.perf_counter() - started)
    return float(np.median(taken))


def main() -> None:
    """Runs the grid and prints the report."""
    arguments = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    arguments.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    arguments.add_argument("--runs", type=int, default=80, help="of the 80 cells of the grid")
    arguments.add_argument("--processes", type=int, default=2)
    chosen = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        seconds = timed_seconds(Path(folder))
    print(f"half an hour: {seconds:.1f} s", file=sys.stderr)
    done: list[Outcome] = []
    with ProcessPoolExecutor(chosen.processes) as pool:
        for one in pool.map(outcome, rooms(chosen.runs)):
            done.append(one)
            print("  ".join((*_row(one), f"{one.seconds:.1f} s")), file=sys.stderr)
    refused, wrong = 0, []
    with tempfile.TemporaryDirectory() as folder:
        for what, plan, path in unrelated(Path(folder)):
            found = align(Source(plan), path).alignment
            refused += not found.stretches
            if found.stretches:
                wrong.append(what)
            print(f"{what}: {found.why or 'FALSELY ALIGNED'}", file=sys.stderr)
    report = "\n".join(_report(done, seconds, refused, wrong)) + "\n"
    print(report)
    if chosen.keep:
        REPORT.write_text(report, encoding="utf-8")


def _report(done: list[Outcome], seconds: float, refused: int, wrong: list[str]) -> Iterator[str]:
    yield f"CueTrack, alignment in simulated rooms, {datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
    libraries = ", ".join(
        f"{name} {_version(name)}" for name in ("numpy", "scipy", "soxr", "pyroomacoustics")
    )
    yield f"\n{_processor()}; Python {platform.python_version()}, {libraries}\n"
    yield from table(done)
    loud = [one for one in done if one.room.level_db >= 0]
    right, false = sum(one.is_right for one in loud), sum(one.false for one in done) + len(wrong)
    plain = sum(one.baseline_ms <= MOST_OFF_MS for one in loud)
    share = right / max(1, len(loud))
    yield f"\nunrelated recordings: {refused} of {refused + len(wrong)} refused"
    yield from (f"  FALSELY ALIGNED: {one}" for one in wrong)
    yield "\ngoals"
    found = f"{right} of {len(loud)} ({share:.1%}); the baseline within 1 ms: {plain}"
    yield _goal(share >= GOAL_SHARE, f"at 0 dB and above {GOAL_SHARE:.0%} within 1 ms and 1 ppm: {found}")
    yield _goal(not false, f"no false alignment: {false}")
    cores = f"{os.cpu_count()} cores, whole process, median of 3"
    yield _goal(seconds <= GOAL_SECONDS, f"half an hour in {GOAL_SECONDS:.0f} s on {cores}: {seconds:.1f} s")


def _goal(is_met: bool, text: str) -> str:
    return f"{'met   ' if is_met else 'MISSED'}  {text}"


if __name__ == "__main__":
    main()
