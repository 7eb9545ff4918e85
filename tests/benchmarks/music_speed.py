"""How long a finished track with music takes, beside its floor and beside encoders alone, in one run.

    python -m pip install -e '.[bench]'
    python -m tests.benchmarks.music_speed [--keep]

Half an hour in stereo with a bed, ducking, loudness and limiter, as WAV, beside a block copy of the same
file; as MP3, beside ffmpeg's and libsndfile's encoders alone on the same sound. Then ten hours, for the
memory. Goals are printed beside what was found; a goal that is missed fails nothing. With `--keep` the
report is also kept in music_speed.txt. It takes about five minutes, and 3 GB in the temporary folder.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.render_speed import (
    HERE,
    LIBRARIES,
    PLAN,
    RATE_HZ,
    Bench,
    Command,
    Contestant,
    Result,
    _table,
    _timeline,
)
from tests.helpers.reporting import goal_line, heading, load_now, print_report, tell

REPORT = HERE / "music_speed.txt"
BED = "bed: {pulse: 120 bpm}\n"

GOAL_TIMES_FLOOR = 2.5
GOAL_TIMES_ENCODER = 1.15
GOAL_MEMORY_SHARE = 0.1
LONG_HOURS = 10

# libsndfile's encoder at the same constant bit rate, fed from the same WAV.
_BY_LIBSNDFILE = """
import sys, soundfile
with soundfile.SoundFile(sys.argv[1]) as source, soundfile.SoundFile(
    sys.argv[2], "w", source.samplerate, source.channels, "MPEG_LAYER_III", format="MP3",
    compression_level=(320 - 160) / (320 - 32), bitrate_mode="CONSTANT",
) as target:
    for block in source.blocks(65_536, dtype="float32"):
        target.write(block)
"""


def render_command(plan: Path, track: Path) -> Command:
    """This program, as a user starts it."""
    return [sys.executable, "-m", "cuetrack", "render", plan, "--rate", str(RATE_HZ), "-o", track]


def contestants(plan: Path, track: Path, rounds: int) -> list[Contestant]:
    """Who takes part; `track` is a finished WAV."""
    import imageio_ffmpeg

    folder = track.parent
    ours, copy, mp3, by_ffmpeg, by_libsndfile = (
        folder / name for name in ("render.wav", "copy.wav", "render.mp3", "ffmpeg.mp3", "libsndfile.mp3")
    )
    encoding: Command = [
        *(imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", "-loglevel", "error", "-i", track),
        *("-c:a", "libmp3lame", "-b:a", "160k", by_ffmpeg),
    ]
    return [
        Contestant("cuetrack render, WAV with music", render_command(plan, ours), rounds, ours),
        Contestant(
            "block copy (the floor)", [sys.executable, HERE / "block_copy.py", track, copy], rounds, copy
        ),
        Contestant("cuetrack render, MP3 with music", render_command(plan, mp3), rounds, mp3),
        Contestant("ffmpeg's MP3 encoder alone", encoding, rounds, by_ffmpeg),
        Contestant(
            "libsndfile's MP3 encoder alone",
            [sys.executable, "-c", _BY_LIBSNDFILE, track, by_libsndfile],
            max(1, rounds // 2),
            by_libsndfile,
        ),
    ]


def benchmark(folder: Path, rounds: int) -> list[str]:
    """Everything, in `folder`; the lines of the report."""
    bench, load = Bench(folder), load_now()
    plan, track = folder / "plan.yaml", folder / "track.wav"
    text = PLAN.read_text(encoding="utf-8")
    plan.write_text(BED + text, encoding="utf-8")
    tell("a first render, which fills the speech cache")
    bench.run(render_command(plan, track))
    made = bench.in_turns(contestants(plan, track, rounds))
    long = folder / "long.yaml"
    for short, longer in (("length: 30:00", f"length: {LONG_HOURS}:00:00"), ("rounds: 6", "rounds: 120")):
        if text.count(f"{short}\n") != 1:
            raise SystemExit(f"{PLAN.name} does not say `{short}` once")
        text = text.replace(f"{short}\n", f"{longer}\n")
    long.write_text(BED + text, encoding="utf-8")
    for name in ("render.wav", "copy.wav"):
        (folder / name).unlink()
    tell(f"{LONG_HOURS} hours of it, as MP3")
    long_run = bench.run(render_command(long, folder / "long.mp3"))
    frames = _timeline(folder / "long.mp3")["frames"]
    if frames != LONG_HOURS * 3600 * RATE_HZ:
        raise SystemExit(f"the long session has {frames} frames, which are not {LONG_HOURS} hours")
    return [
        *heading("speed of a track with music", LIBRARIES, load),
        *_table("whole processes, in turns", made, floor=made[1], own=made[0]),
        "",
        *_goals(made, long_run.peak_bytes / 1e6, long_run.seconds),
    ]


def _goals(made: list[Result], long_mb: float, long_seconds: float) -> list[str]:
    wav, floor, mp3, *encoders = made
    fastest = min(encoders, key=lambda encoder: encoder.median_seconds)
    of_floor, of_encoder = (
        wav.median_seconds / floor.median_seconds,
        mp3.median_seconds / fastest.median_seconds,
    )
    growth = long_mb / mp3.peak_mb - 1
    goals = [
        (of_floor <= GOAL_TIMES_FLOOR, f"WAV within {GOAL_TIMES_FLOOR} x floor: {of_floor:.2f}"),
        (
            of_encoder <= GOAL_TIMES_ENCODER,
            f"MP3 within {GOAL_TIMES_ENCODER} x {fastest.contestant.name}: {of_encoder:.2f}",
        ),
        (
            abs(growth) <= GOAL_MEMORY_SHARE,
            f"peak memory of {LONG_HOURS} hours within 10 % of 30 minutes, both as MP3: {mp3.peak_mb:.0f} to "
            f"{long_mb:.0f} MB ({growth:+.0%}), in {long_seconds:.0f} s",
        ),
    ]
    return ["goals", *(goal_line(met, what) for met, what in goals)]


def main() -> None:
    """Runs the benchmark in a temporary folder, and prints the report."""
    parser = argparse.ArgumentParser(description="Times a render with music beside its floor and encoders.")
    parser.add_argument("--keep", action="store_true", help=f"keep the report as {REPORT.name}")
    parser.add_argument("--rounds", type=int, default=3, help="runs of each (default 3)")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="cuetrack-benchmark-") as folder:
        lines = benchmark(Path(folder), max(1, arguments.rounds))
    print_report(lines, REPORT if arguments.keep else None)


if __name__ == "__main__":
    main()
