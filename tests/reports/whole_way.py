"""The samples from the plan to the take, judged by measurement as a careful coach would by ear.

    python -m pip install -e '.[bench]'
    python -m tests.reports.whole_way [--keep]

Each sample is checked with voice and sound, rendered to WAV and MP3 with everything that goes with a track,
and both files are held against the plan. ffmpeg's meter tells how loud they are and how high their peaks;
the timeline how fast phrases are spoken, how far they lie apart and how they stand over the music; pysubs2
reads the captions. Then the track is played in a simulated room (`tests/helpers/rooms.py`), paused for 20 s
halfway, and recorded by a camera whose clock is 35 ppm fast, to M4A. The take is aligned, and its captions
are held against when everything really was.

Rules for captions are those of the BBC's subtitle guidelines: 37 characters a line, two lines of speech and
one of sounds, 0.3 s a word or more. With `--keep` the report is kept in whole_way.txt.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pysubs2

from cuetrack import build
from cuetrack.build_papers import PAPER_NAMES, chosen_papers
from cuetrack.build_take import TAKE_ENDINGS, Source, TakePapers, align, verify
from cuetrack.sound.decoding import decoded_pieces
from tests.helpers.ffmpeg_meter import ffmpeg_reading
from tests.helpers.reporting import goal_line, heading, print_report, tell
from tests.helpers.rooms import ROOM_HZ, Room, RoomTake, recorded_in_room
from tests.helpers.takes import Played
from tests.reports.align_grid import PLANS, judged, sample, track

REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "piper-tts", "imageio-ffmpeg", "pysubs2", "pyroomacoustics")
LINE_CHARACTERS, LINES, WORD_SECONDS = 37, 3, 0.3
MOST_PEAK_DBTP, LOUDNESS_OFF_LU, CODED_OFF_LU = -1.0, 0.1, 0.3
# What is lowered is lowered to the rule, and told to a tenth.
RULE_OFF_DB = 0.05
# Captions are written in milliseconds.
CAPTION_OFF_MS = 1.5
# A lossy codec moves peaks; what it adds is told and has no goal.
CODED = ".mp3"


@dataclass(frozen=True)
class Figures:
    """What was measured of one sample."""

    name: str
    warnings: int
    promised_seconds: Fraction
    lasts_seconds: Fraction
    spare_seconds: float
    fastest: float
    gap_seconds: float
    speech_over_rule_lu: float
    tones_over_rule_db: float
    told_lufs: float
    read_lufs: float
    peak_dbtp: float
    coded_lufs: float
    coded_peak_dbtp: float
    frames_off: int
    faults: tuple[str, ...]
    captions: int
    longest_line: int
    most_lines: int
    word_seconds: float
    overlaps: int
    stretches: str
    off_ms: float
    off_ppm: float
    is_right: bool
    unheard: int
    take_captions: int
    captions_off_ms: float


def figures(name: str, folder: Path) -> Figures:
    """Everything of one sample, made in an empty folder."""
    plan = sample(name)
    checked = build.check(plan, with_voice=True, with_sound=True)
    wav, coded = folder / f"{name}.wav", folder / f"{name}{CODED}"
    rendered = build.render(plan, wav, papers=chosen_papers(PAPER_NAMES))
    build.render(plan, coded)
    timeline = json.loads(wav.with_suffix(".timeline.json").read_text(encoding="utf-8"))
    found = [verify(Source(plan), file)[0] for file in (wav, coded)]
    offs = [abs(cue.error_frames or 0) for one in found for cue in one.cues]
    faults = tuple(fault for one in found for fault in one.faults)
    spoken = [cue for cue in timeline["cues"] if cue["text"] is not None]
    plain, lossy = _reading(wav), _reading(coded)
    captions = pysubs2.SSAFile.load(str(wav.with_suffix(".captions.srt")))
    lines = [caption.plaintext.split("\n") for caption in captions]
    take = _take(plan, folder)
    aligned = align(Source(plan), take.path, TakePapers(folder / "take", TAKE_ENDINGS["captions"]))
    judgement = judged(aligned.alignment, take)
    moved = pysubs2.SSAFile.load(str(folder / "take.captions.srt"))
    rate_hz, session = timeline["sample_rate"], rendered.arrangement.timeline.session
    return Figures(
        name,
        len(checked.warnings) + len(rendered.warnings) + len(aligned.warnings),
        session.length.length.seconds if session.length else Fraction(0),
        Fraction(timeline["frames"], rate_hz),
        min((float(fit.spare_seconds) for fit in checked.tightest), default=0.0),
        max(float(Fraction(cue["tempo"])) for cue in spoken),
        _least_gap_seconds(spoken, rate_hz),
        _over_rule(checked, is_speech=True),
        _over_rule(checked, is_speech=False),
        timeline["loudness_lufs"],
        plain.integrated_lufs,
        plain.true_peak_dbtp,
        lossy.integrated_lufs,
        lossy.true_peak_dbtp,
        max(offs),
        faults,
        len(captions),
        max(len(line) for some in lines for line in some),
        max(len(some) for some in lines),
        min(caption.duration / 1000 / len(caption.plaintext.split()) for caption in captions),
        sum(one.end > other.start for one, other in pairwise(captions)),
        f"{judgement.found} of {judgement.true}",
        judgement.off_ms if judgement.off_ms is not None else float("inf"),
        judgement.off_ppm if judgement.off_ppm is not None else float("inf"),
        judgement.is_right,
        len(aligned.alignment.unheard()),
        len(moved),
        _captions_off_ms(captions, moved, take),
    )


def _over_rule(checked: build.Checked, *, is_speech: bool) -> float:
    """How far the least audible cue stands over its rule."""
    return min(
        (one.over_bed_db - one.rule_db for one in checked.heard if one.is_speech == is_speech),
        default=float("inf"),
    )


def _least_gap_seconds(spoken: list[dict[str, Any]], rate_hz: int) -> float:
    """Between one phrase and the next; words of a count, which follow each other by the second, count too."""
    gaps = (after["start_frame"] - one["start_frame"] - one["frames"] for one, after in pairwise(spoken))
    return min(gaps) / rate_hz


def _reading(path: Path) -> Any:
    import numpy as np

    rate_hz = 48_000
    return ffmpeg_reading(np.concatenate(list(decoded_pieces(path, rate_hz, 2))), rate_hz)


def _take(plan: Path, folder: Path) -> RoomTake:
    whole = track(plan)
    half, seconds = len(whole) / ROOM_HZ / 2, len(whole) / ROOM_HZ
    pieces = (Played(0.0, half), Played(half, seconds, 20.0))
    room = Room(0.5, 3, 10, noise="speech", drift_ppm=35, ending=".m4a", seed=(2026, 9))
    return recorded_in_room(whole, pieces, room, folder, lead_seconds=8.0)


def _captions_off_ms(captions: pysubs2.SSAFile, moved: pysubs2.SSAFile, take: RoomTake) -> float:
    """How far a caption of the take begins from where its sound really was, at most."""
    off = []
    for caption in captions:
        starts = [
            1000 * take.recording_at(caption.start / 1000, number)
            for number, piece in enumerate(take.played)
            if piece.start <= caption.start / 1000 <= piece.end
        ]
        # Where music begins is told of the track only: a film may have other music.
        same = [one for one in moved if one.text == caption.text.replace("\\N[music]", "")]
        off.append(min((abs(one.start - at) for one in same for at in starts), default=float("inf")))
    return max(off)


def _rows(found: list[Figures]) -> Iterator[str]:
    def row(what: str, *cells: object) -> str:
        return f"{what:58}" + "".join(f"{cell!s:>20}" for cell in cells)

    def each(what: str, cell: Any) -> str:
        return row(what, *(cell(one) for one in found))

    yield row("", *(one.name for one in found))
    yield each("warnings of check, render and align", lambda one: one.warnings)
    yield each(
        "promised, lasts (s)", lambda one: f"{float(one.promised_seconds):g}, {float(one.lasts_seconds):g}"
    )
    yield each("tightest phrase: time to spare (s)", lambda one: f"{one.spare_seconds:.2f}")
    yield each("fastest phrase (times the usual tempo)", lambda one: f"{one.fastest:.2f}")
    yield each("shortest silence between two phrases (s)", lambda one: f"{one.gap_seconds:.2f}")
    yield each("speech over its rule, least (LU)", lambda one: f"{one.speech_over_rule_lu:+.1f}")
    yield each("tones over their rule, least (dB)", lambda one: f"{one.tones_over_rule_db:+.1f}")
    yield each(
        "loudness told, read by ffmpeg (LUFS)", lambda one: f"{one.told_lufs:.2f}, {one.read_lufs:.2f}"
    )
    yield each("true peak (dBTP)", lambda one: f"{one.peak_dbtp:.2f}")
    yield each(
        "as MP3: loudness (LUFS), true peak (dBTP)",
        lambda one: f"{one.coded_lufs:.2f}, {one.coded_peak_dbtp:.2f}",
    )
    yield each("cues off in WAV and MP3, at most (frames)", lambda one: one.frames_off)
    yield each(
        "captions: how many, longest line, most lines",
        lambda one: f"{one.captions}, {one.longest_line}, {one.most_lines}",
    )
    yield each(
        "captions: least time for a word (s), overlaps", lambda one: f"{one.word_seconds:.2f}, {one.overlaps}"
    )
    yield each("take: stretches found", lambda one: one.stretches)
    yield each("take: off by at most (ms, ppm)", lambda one: f"{one.off_ms:.3f}, {one.off_ppm:.3f}")
    yield each("take: cues that cannot be heard", lambda one: one.unheard)
    yield each(
        "take: captions, off by at most (ms)", lambda one: f"{one.take_captions}, {one.captions_off_ms:.2f}"
    )


def _goals(found: list[Figures]) -> Iterator[str]:
    def goal(what: str, holds: Any) -> str:
        failing = [one.name for one in found if not holds(one)]
        return goal_line(not failing, f"{what}{': not ' + ', '.join(failing) if failing else ''}")

    yield goal("no warning", lambda one: one.warnings == 0)
    yield goal("the length is what was promised", lambda one: one.lasts_seconds == one.promised_seconds)
    yield goal("every phrase at its usual tempo", lambda one: one.fastest == 1.0)
    yield goal(
        f"every cue over its rule, to within {RULE_OFF_DB} dB",
        lambda one: min(one.speech_over_rule_lu, one.tones_over_rule_db) >= -RULE_OFF_DB,
    )
    yield goal(
        f"loudness as told within {LOUDNESS_OFF_LU} LU, as MP3 within {CODED_OFF_LU} LU",
        lambda one: (
            abs(one.told_lufs - one.read_lufs) <= LOUDNESS_OFF_LU
            and abs(one.told_lufs - one.coded_lufs) <= CODED_OFF_LU
        ),
    )
    yield goal(
        f"true peak of the WAV at most {MOST_PEAK_DBTP:g} dBTP",
        lambda one: one.peak_dbtp <= MOST_PEAK_DBTP + 0.05,
    )
    yield goal("no full scale in the MP3", lambda one: one.coded_peak_dbtp <= 0)
    yield goal(
        "every cue on its frame, nothing else found", lambda one: not one.frames_off and not one.faults
    )
    yield goal(
        "captions by the rules",
        lambda one: (
            one.longest_line <= LINE_CHARACTERS
            and one.most_lines <= LINES
            and one.word_seconds >= WORD_SECONDS
            and not one.overlaps
        ),
    )
    yield goal("the take within 1 ms and 1 ppm", lambda one: one.is_right)
    yield goal(
        f"captions of the take within {CAPTION_OFF_MS:g} ms",
        lambda one: one.captions_off_ms <= CAPTION_OFF_MS,
    )


def _report(found: list[Figures]) -> Iterator[str]:
    yield from heading("the samples from plan to take", LIBRARIES)
    yield from _rows(found)
    for one in found:
        yield from (f"{one.name}: {fault}" for fault in one.faults)
    yield "\ngoals"
    yield from _goals(found)


def main() -> None:
    """Makes, measures, and prints the report."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    chosen = parser.parse_args()
    found = []
    for name in PLANS:
        with tempfile.TemporaryDirectory() as folder:
            found.append(figures(name, Path(folder)))
        tell(str(found[-1]))
    print_report(_report(found), REPORT if chosen.keep else None)


if __name__ == "__main__":
    main()
