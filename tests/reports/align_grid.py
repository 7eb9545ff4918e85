"""How well `cuetrack align` finds a session in simulated rooms, beside plain cross-correlation.

    python -m pip install -e '.[bench]'
    python -m tests.reports.align_grid [--keep] [--runs N] [--seed S] [--processes N]

The class mix of each sample is rendered once and played in shoebox rooms (`tests/helpers/rooms.py`, image
sources of pyroomacoustics). Grid: reverberation by distance by level, one run each; all else is drawn for
each run by a generator with a fixed seed: room and places, noise (music-like, speech-like, pink), clock drift
within 200 ppm, a microphone of the full band or 300 to 3400 Hz, automatic gain, clipping, rate, file (16-bit
WAV, MP3, AAC in M4A), and what was done at the player: nothing, a pause of 5 to 40 s, 30 to 60 s back or
forward, a stop and a start from the beginning.

*Level* is the power of all that the loudspeaker plays as it arrives at the microphone, echoes too, over the
power of the noise, both averaged over the time in which the track sounds, in the microphone's full band. How
long sound takes from the loudspeaker (distance by 343 m/s) is part of the true offset, and so is the drift;
what the microphone's filter delays is not.

A run is *right* if every stretch of 60 s or more that was played is found, off by at most 1 ms both at its
true ends and at the first and the last sound found of it, with a rate within 1 ppm, and if there is no false
alignment: a stretch found that is off by more than 20 ms, or that reaches more than 5 s over what was played
of it (*over s*).

The baseline is one cross-correlation of the whole recording with the whole track (SciPy), at 8 kHz: it knows
one stretch and no drift. It is judged the same way but for rate and number of stretches, on the stretch that
suits it best; *somewhere* says that it is within 1 ms at one instant of one stretch at least.

Unrelated recordings (noise, other sessions, other names and texts at the same times) have to be refused.
`--keep` keeps the report in align_grid.txt. It takes about half an hour on two cores.
"""

from __future__ import annotations

import argparse
import itertools
import re
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from statistics import median

import imageio_ffmpeg
import numpy as np
import soundfile
import soxr
from scipy import signal

from cuetrack import build
from cuetrack.build_take import Source, align
from cuetrack.take.align import Alignment, Stretch
from tests.helpers.reporting import goal_line, heading, print_report, tell
from tests.helpers.rooms import NOISES, ROOM_HZ, Room, RoomTake, Signal, recorded_in_room
from tests.helpers.takes import Played

ROOT = Path(__file__).parents[2]
REPORT = Path(__file__).with_suffix(".txt")
PLANS = ("boathouse-mobility", "quay-circuit", "slipway-intervals")
REVERBERATIONS, DISTANCES, LEVELS_DB = (0.2, 0.5, 0.8, 1.2), (1, 2, 4, 8), (-5, 0, 5, 10, 20)
CELLS = tuple(itertools.product(REVERBERATIONS, DISTANCES, LEVELS_DB))
HANDLINGS = ("none", "pause", "back", "forward", "restart")
BASELINE_HZ = 8_000
MOST_OFF_MS, MOST_OFF_PPM, FALSE_MS, OVER_SECONDS, LEAST_SECONDS = 1.0, 1.0, 20.0, 5.0, 60.0
GOAL_SHARE, GOAL_LEVEL_DB = 0.95, 0.0
LIBRARIES = ("cuetrack", "numpy", "scipy", "soxr", "soundfile", "imageio-ffmpeg", "pyroomacoustics")


@dataclass(frozen=True)
class Run:
    """One cell of the grid and what was drawn for it."""

    number: int
    plan: str
    handling: str
    lead_seconds: float
    room: Room
    seed: tuple[int, ...]


@dataclass(frozen=True)
class Judged:
    """An alignment held against the truth; the worst of its errors, None where nothing was to be judged.

    `over_seconds` is by how much a stretch reaches over what was played of it; `why` what was said.
    """

    true: int
    found: int
    missed: int
    false: int
    off_ms: float | None
    off_ppm: float | None
    over_seconds: float
    why: str | None

    @property
    def is_right(self) -> bool:
        """Whether it is as good as promised."""
        if self.missed or self.false or self.off_ms is None or self.off_ppm is None:
            return False
        return self.off_ms <= MOST_OFF_MS and self.off_ppm <= MOST_OFF_PPM


@dataclass(frozen=True)
class Baseline:
    """The worst error of the one offset on the stretch that suits it best, and the least along any."""

    off_ms: float
    least_ms: float


@dataclass(frozen=True)
class Outcome:
    """What became of a run; `details` a line for each stretch found."""

    run: Run
    reverberation_seconds: float
    judged: Judged
    baseline: Baseline
    seconds: float
    details: tuple[str, ...]


# The grid


def runs(number: int, seed: int) -> list[Run]:
    """The grid, or as many of its cells, evenly spread."""
    step = len(CELLS) / min(number, len(CELLS))
    chosen = [int((at + 0.5) * step) for at in range(min(number, len(CELLS)))]
    return [_drawn(number, seed) for number in chosen]


def _drawn(number: int, seed: int) -> Run:
    chance = np.random.default_rng([seed, number])
    reverberation, distance, level_db = CELLS[number]
    room = Room(
        reverberation,
        distance,
        level_db,
        noise=tuple(NOISES)[chance.integers(len(NOISES))],
        drift_ppm=float(chance.uniform(-200, 200)),
        is_phone=bool(chance.integers(2)),
        has_gain_control=bool(chance.integers(2)),
        clips=bool(chance.random() < 0.3),
        rate_hz=int(chance.choice([44_100, 48_000])),
        ending=str(chance.choice([".wav", ".mp3", ".m4a"])),
        seed=(seed, number),
    )
    handling = HANDLINGS[chance.integers(len(HANDLINGS))]
    plan = PLANS[chance.integers(len(PLANS))]
    return Run(number, plan, handling, float(chance.uniform(2, 12)), room, (seed, number, 1))


def played(run: Run, seconds: float) -> tuple[Played, ...]:
    """What was played one after the other of a track that lasts so long."""
    chance = np.random.default_rng(run.seed)
    at = float(chance.uniform(0.2, 0.7)) * seconds
    jump, pause = float(chance.uniform(30, 60)), float(chance.uniform(5, 40))
    first = Played(0.0, at)
    return {
        "none": (Played(0.0, seconds),),
        "pause": (first, Played(at, seconds, pause)),
        "back": (first, Played(at - jump, seconds, 0.5)),
        "forward": (first, Played(at + jump, seconds, 0.5)),
        "restart": (first, Played(0.0, seconds, 3.0)),
    }[run.handling]


def sample(name: str) -> Path:
    """The plan of a sample."""
    return ROOT / "samples" / f"{name}.yaml"


@cache
def track(plan: Path) -> Signal:
    """The class mix of a plan as a loudspeaker gets it, one channel, at the rooms' rate."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "track.wav"
        build.render(plan, path)
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    return np.asarray(soxr.resample(samples.mean(axis=1), rate_hz, ROOM_HZ), np.float32)


def outcome(run: Run) -> Outcome:
    """One run: recorded, aligned, and held against the truth."""
    whole = track(sample(run.plan))
    with tempfile.TemporaryDirectory() as folder:
        pieces = played(run, len(whole) / ROOM_HZ)
        take = recorded_in_room(whole, pieces, run.room, Path(folder), run.lead_seconds)
        started = time.perf_counter()
        found = align(Source(sample(run.plan)), take.path).alignment
        seconds = time.perf_counter() - started
        beside = baseline(take, whole)
    details = tuple(_detail(one, take) for one in found.stretches)
    return Outcome(run, take.reverberation_seconds, judged(found, take), beside, seconds, details)


# Judging


def judged(found: Alignment, take: RoomTake) -> Judged:
    """An alignment held against what was really played."""
    of_piece: dict[int, list[Stretch]] = {}
    false, over = 0, 0.0
    for one in found.stretches:
        piece, off_ms, over_seconds = nearest(one, take)
        over = max(over, over_seconds)
        if off_ms > FALSE_MS or over_seconds > OVER_SECONDS:
            false += 1
        else:
            of_piece.setdefault(piece, []).append(one)
    offs, ppms, missed = [], [], 0
    for number, piece in enumerate(take.played):
        some = of_piece.get(number, [])
        for one in some:
            offs.append(_off_ms(one, take, number, _ends(one)))
            ppms.append(abs(one.rate_ppm - take.rate_ppm))
        if piece.end - piece.start < LEAST_SECONDS:
            continue
        if some:
            longest = max(some, key=lambda one: one.recording_end_seconds - one.recording_start_seconds)
            offs.append(_off_ms(longest, take, number, (piece.start, piece.end)))
        else:
            missed += 1
    return Judged(
        *(len(take.played), len(found.stretches), missed, false),
        *(max(offs, default=None), max(ppms, default=None), over, found.why),
    )


def nearest(one: Stretch, take: RoomTake) -> tuple[int, float, float]:
    """The piece that a stretch fits best, how far it is off there, and how far it reaches over the piece."""
    start, end = _ends(one)
    fits = [
        (_off_ms(one, take, number, (start, end)), max(0.0, piece.start - start, end - piece.end), number)
        for number, piece in enumerate(take.played)
    ]
    off_ms, over_seconds, number = min(fits, key=lambda fit: (fit[0] > FALSE_MS, fit[1], fit[0]))
    return number, off_ms, over_seconds


def _ends(one: Stretch) -> tuple[float, float]:
    return one.programme_start_seconds, one.programme_end_seconds


def _off_ms(one: Stretch, take: RoomTake, piece: int, at_seconds: Sequence[float]) -> float:
    return max(abs(one.line.recording_at(at) - take.recording_at(at, piece)) for at in at_seconds) * 1000


def _detail(one: Stretch, take: RoomTake) -> str:
    number, off_ms, over_seconds = nearest(one, take)
    start, end = _ends(one)
    piece = take.played[number]
    return (
        f"piece {number} played {piece.start:.1f} to {piece.end:.1f}, found {start:.1f} to {end:.1f} s, "
        f"{len(one.heard)} of {len(one.cues)} cues, off {off_ms:.3f} ms and "
        f"{one.rate_ppm - take.rate_ppm:+.3f} ppm, over by {over_seconds:.1f} s"
    )


def baseline(take: RoomTake, whole: Signal) -> Baseline:
    """The one offset of plain cross-correlation, held against the truth."""
    samples, reference = _decoded(take.path), soxr.resample(whole, ROOM_HZ, BASELINE_HZ)
    across = signal.correlate(samples, reference, "full", "fft")
    late = (int(np.abs(across).argmax()) - len(reference) + 1) / BASELINE_HZ
    off, least = [], []
    for number, piece in enumerate(take.played):
        errors = [at + late - take.recording_at(at, number) for at in (piece.start, piece.end)]
        off.append(1000 * max(map(abs, errors)))
        crosses = min(errors) <= 0 <= max(errors)
        least.append(0.0 if crosses else 1000 * min(map(abs, errors)))
    return Baseline(min(off), min(least))


def _decoded(path: Path) -> Signal:
    form = ["-f", "f32le", "-ac", "1", "-ar", str(BASELINE_HZ), "-"]
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-i", path, *form]
    return np.frombuffer(subprocess.run(command, check=True, capture_output=True).stdout, np.float32)


# Unrelated recordings


@dataclass(frozen=True)
class Unrelated:
    """A recording that a plan is not in: what it is, and how its file is made in a folder."""

    what: str
    plan: Path
    make: Callable[[Path], Path]


def unrelated(seed: int) -> list[Unrelated]:
    """Noise of each kind, the other samples, and the samples with other names at the same times."""
    made = [
        Unrelated(f"{kind} alone, 20 minutes, {plan} sought", sample(plan), partial(_noise, kind, (seed, n)))
        for n, (kind, plan) in enumerate(itertools.product(NOISES, PLANS))
    ]
    for n, (plan, other) in enumerate(itertools.permutations(PLANS, 2)):
        make = partial(_in_a_room, other, False, (seed, 90 + n))
        made.append(Unrelated(f"{other} in a room, {plan} sought", sample(plan), make))
    for n, plan in enumerate(PLANS):
        make = partial(_in_a_room, plan, True, (seed, 80 + n))
        made.append(Unrelated(f"{plan} with other names and texts", sample(plan), make))
    return made


def _noise(kind: str, seed: tuple[int, ...], folder: Path) -> Path:
    path = folder / "noise.wav"
    noise = NOISES[kind](20 * 60 * ROOM_HZ, np.random.default_rng(seed))
    soundfile.write(path, 0.5 * noise / np.abs(noise).max(), ROOM_HZ, subtype="PCM_16")
    return path


def _in_a_room(name: str, has_other_names: bool, seed: tuple[int, ...], folder: Path) -> Path:
    plan = sample(name)
    if has_other_names:
        plan = folder / "other.yaml"
        plan.write_text(renamed(sample(name).read_text("utf-8")), "utf-8")
    whole = track(plan)
    room = Room(0.5, 2, 15, noise="speech", drift_ppm=40, seed=seed)
    return recorded_in_room(whole, [Played(0.0, len(whole) / ROOM_HZ)], room, folder).path


def renamed(text: str) -> str:
    """A plan with other names for its moves, setups and announcements, and the same times."""
    names = itertools.cycle(("Oar swing", "Deck crawl", "Rope haul", "Keel roll", "Bow twist", "Mast climb"))
    text = re.sub(r"(move: )([^,}\n]+)", lambda found: found[1] + next(names), text)
    text = re.sub(r"(setup: )([^,}\n]+)", r"\1Other words altogether", text)
    return re.sub(r"(say: )([^}\n]+)", r"\1Something else", text)


def refusal(one: Unrelated) -> tuple[int, str]:
    """How many stretches were found, and what was said."""
    with tempfile.TemporaryDirectory() as folder:
        found = align(Source(one.plan), one.make(Path(folder))).alignment
    return len(found.stretches), found.why or ""


# The report

_COLUMNS = (
    *("run", "level dB", "reverb s", "T30 s", "dist m", "session", "noise", "drift ppm", "mic", "agc"),
    *("clips", "file", "player", "found/true", "off ms", "off ppm", "over s", "false", "baseline ms"),
    *("took s", "right"),
)


def _row(one: Outcome) -> tuple[str, ...]:
    run, room, told = one.run, one.run.room, one.judged
    return (
        *(str(run.number), f"{room.level_db:+.0f}", f"{room.reverberation_seconds}"),
        *(f"{one.reverberation_seconds:.2f}", f"{room.distance_metres}", run.plan.split("-")[0], room.noise),
        *(f"{room.drift_ppm:+.0f}", "phone" if room.is_phone else "full"),
        *("yes" if is_so else "no" for is_so in (room.has_gain_control, room.clips)),
        *(f"{room.ending[1:]} {room.rate_hz}", run.handling, f"{told.found}/{told.true}"),
        "-" if told.off_ms is None else f"{told.off_ms:.3f}",
        "-" if told.off_ppm is None else f"{told.off_ppm:.3f}",
        *(f"{told.over_seconds:.1f}", str(told.false), f"{one.baseline.off_ms:.1f}", f"{one.seconds:.1f}"),
        "yes" if told.is_right else "NO",
    )


def _table(done: Sequence[Outcome]) -> Iterator[str]:
    """A row for each run."""
    rows = [_COLUMNS, *map(_row, sorted(done, key=lambda one: (one.run.room.level_db, one.run.number)))]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))


_GROUPS: tuple[tuple[str, Callable[[Run], str]], ...] = (
    ("level", lambda run: f"{run.room.level_db:+.0f} dB"),
    ("reverberation", lambda run: f"{run.room.reverberation_seconds} s"),
    ("distance", lambda run: f"{run.room.distance_metres} m"),
    ("noise", lambda run: run.room.noise),
    ("player", lambda run: run.handling),
    ("file", lambda run: run.room.ending[1:]),
    ("microphone", lambda run: "phone" if run.room.is_phone else "full band"),
)


def _shares(done: Sequence[Outcome]) -> Iterator[str]:
    """What the runs come to, by one factor at a time."""
    head = f"{'':24}{'runs':>5}{'right':>14}{'false':>7}{'median ms':>11}"
    yield f"{head}{'baseline right':>16}{'somewhere':>11}"
    in_order = sorted(done, key=lambda one: (one.run.room.level_db, one.run.number))
    for title, key in (*_GROUPS, ("all", lambda run: "")):
        for value in dict.fromkeys(key(one.run) for one in in_order):
            yield f"{title:15}{value:9}{_share([one for one in done if key(one.run) == value])}"


def _share(some: Sequence[Outcome]) -> str:
    right = sum(one.judged.is_right for one in some)
    offs = [one.judged.off_ms for one in some if one.judged.off_ms is not None]
    middle = f"{median(offs):.3f}" if offs else "-"
    plain = sum(one.baseline.off_ms <= MOST_OFF_MS for one in some)
    somewhere = sum(one.baseline.least_ms <= MOST_OFF_MS for one in some)
    false = sum(one.judged.false for one in some)
    share = f"{right} ({right / len(some):.0%})"
    return f"{len(some):5}{share:>14}{false:7}{middle:>11}{plain:16}{somewhere:11}"


def _report(
    done: Sequence[Outcome],
    refused: Sequence[tuple[Unrelated, int, str]],
    seed: int,
) -> Iterator[str]:
    yield from heading("alignment in simulated rooms", LIBRARIES)
    yield f"{len(done)} of {len(CELLS)} cells of the grid, seed {seed}; words are said in align_grid.py\n"
    yield from _table(done)
    yield "\nshares of runs that are right; the baseline beside them\n"
    yield from _shares(done)
    wrong = [one for one in done if not one.judged.is_right]
    yield f"\nruns that are not right: {len(wrong)}"
    for one in wrong:
        told = one.judged
        why = told.why or f"{told.missed} of {told.true} stretches missed, {told.false} false alignments"
        yield f"  run {one.run.number}: {why}"
        yield from (f"    {detail}" for detail in one.details)
    yield "\nunrelated recordings"
    for each, found, why in refused:
        yield f"  {each.what}: {f'FALSELY ALIGNED, {found} stretches' if found else f'refused: {why}'}"
    yield "\ngoals"
    loud = [one for one in done if one.run.room.level_db >= GOAL_LEVEL_DB]
    right = sum(one.judged.is_right for one in loud)
    plain = sum(one.baseline.off_ms <= MOST_OFF_MS for one in loud)
    share = right / max(1, len(loud))
    found = f"{right} of {len(loud)} ({share:.1%}); by plain correlation, without the ppm, {plain}"
    goal = f"{GOAL_SHARE:.0%} of the runs at {GOAL_LEVEL_DB:.0f} dB and above within 1 ms and 1 ppm"
    yield goal_line(share >= GOAL_SHARE, f"{goal}: {found}")
    false, falsely = sum(one.judged.false for one in done), sum(number > 0 for _, number, _ in refused)
    both = f"{false} in the rooms, {falsely} of {len(refused)} unrelated recordings"
    yield goal_line(not false and not falsely, f"no false alignment: {both}")


def main() -> None:
    """Runs the grid and prints the report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    parser.add_argument("--runs", type=int, default=len(CELLS), help="of the cells of the grid (default all)")
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    for name in PLANS:  # once, for all processes
        track(sample(name))
    done: list[Outcome] = []
    refused: list[tuple[Unrelated, int, str]] = []
    with ProcessPoolExecutor(chosen.processes) as pool:
        for one in pool.map(outcome, runs(max(1, chosen.runs), chosen.seed)):
            done.append(one)
            tell("  ".join(_row(one)))
            if not one.judged.is_right:
                tell("\n".join([f"    {one.judged}", *(f"    {detail}" for detail in one.details)]))
        others = unrelated(chosen.seed)
        for each, (found, why) in zip(others, pool.map(refusal, others), strict=True):
            refused.append((each, found, why))
            tell(f"{each.what}: {found} stretches; {why}")
    print_report(_report(done, refused, chosen.seed), REPORT if chosen.keep else None)


if __name__ == "__main__":
    main()
