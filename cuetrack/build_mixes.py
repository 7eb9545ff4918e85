"""An arrangement and its sounds → each of its mixes: cues, bed, and what ducks the bed; and its files."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from math import floor
from pathlib import Path
from typing import Any

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.errors import Diagnostic, PlanError
from cuetrack.mix.audible import Heard, audible, heard_notes
from cuetrack.mix.bed import BED_LEVEL_LUFS, BedSound, bed_blocks
from cuetrack.mix.bed_heard import heard_spans
from cuetrack.mix.bed_sequence import files_sound
from cuetrack.mix.blocks import Samples
from cuetrack.mix.mastering import MOST_GAIN_DB, Loudness, mastered, measured
from cuetrack.mix.programme import Programme, ProgrammeBlock
from cuetrack.sound.pulse import Phrase, Pulse
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource
from cuetrack.timeline.mixes import Mix, empty_mix_note
from cuetrack.writers.audio import write_audio
from cuetrack.writers.formats import AUDIO_FORMATS, AudioFormat, Quality
from cuetrack.writers.tags import Tags
from cuetrack.writers.timeline_json import TIMELINE_ENDING, timeline_text

# Of a long task: how much of it is done.
Step = Callable[[int], None]
BedSounds = Mapping[PulseSource | FilesSource, BedSound]


@dataclass(frozen=True, slots=True)
class Balanced:
    """One mix before mastering: how each of its cues is heard over the bed, and how loud it is."""

    mix: Mix
    programme: Programme
    heard: tuple[Heard, ...]
    loudness: Loudness
    bed_notes: tuple[Diagnostic, ...] = ()

    def mastered(self) -> Iterator[ProgrammeBlock]:
        """The mix as it is heard: at its loudness, under its peak."""
        return mastered(self.programme, self.loudness.gain_db)

    @property
    def notes(self) -> tuple[Diagnostic, ...]:
        """What the coach may want to know of it."""
        arrangement = self.programme.arrangement
        notes = [*self.bed_notes, *heard_notes(self.heard, arrangement.rate_hz)]
        if self.loudness.misses_target:
            notes.append(_missed_target(self.mix, self.loudness))
        if not self.programme.stem_names():
            notes.append(empty_mix_note(self.mix, arrangement.timeline.session))
        return tuple(notes)


def _missed_target(mix: Mix, loudness: Loudness) -> Diagnostic:
    if loudness.gain_db == MOST_GAIN_DB:
        why = f"it is so soft that {MOST_GAIN_DB:g} dB, the most that is given, are not enough"
    else:
        why = "its peaks cannot be held down further"
    comes_to, asked = f"{loudness.mastered_lufs:.1f}", f"{loudness.target_lufs:g}"
    message = f"the {mix.name} mix comes to {comes_to} LUFS, not to {asked}: {why}"
    hint = f"a target of {floor(loudness.mastered_lufs)} LUFS or softer is met"
    return Diagnostic("warning", message, None, hint)


@dataclass(frozen=True, slots=True)
class Delivery:
    """How the files of a render are written; `speech` says who speaks and how."""

    audio_format: AudioFormat
    quality: Quality
    channels: int
    tags: Tags
    speech: Mapping[str, Any]
    mix_ahead: bool = True


@dataclass(frozen=True, slots=True)
class MixFiles:
    """What one mix becomes: the track, its timeline, and its stems by their names, if they are wanted."""

    track: Path
    timeline: Path
    stems: Mapping[str, Path]

    @property
    def all(self) -> tuple[Path, ...]:
        """Every file, the track first."""
        return (self.track, self.timeline, *self.stems.values())

    def moved(self, paths: Mapping[Path, Path]) -> MixFiles:
        """The same files at other paths."""
        stems = {name: paths[path] for name, path in self.stems.items()}
        return MixFiles(paths[self.track], paths[self.timeline], stems)


def mix_files(target: Path, stem_names: Sequence[str], mix_name: str | None = None) -> MixFiles:
    """The names of the files beside `target`; `mix_name` goes into them where there are several mixes."""
    name = f"{target.stem}.{mix_name}" if mix_name else target.stem
    track = target.with_name(f"{name}{target.suffix}")
    stems = {stem: target.with_name(f"{name}.{stem}.wav") for stem in stem_names}
    return MixFiles(track, target.with_name(f"{name}{TIMELINE_ENDING}"), stems)


def bed_sounds(arrangement: Arrangement, files: Mapping[str, Path], channels: int) -> BedSounds:
    """The sound of every source in the bed; files are read once, to measure them.

    Raises:
        PlanError: files that are no sound or cannot be joined, each on the coach's line.
        MediaMissingError: a file needs what is not on this machine.
    """
    rate_hz, frames = arrangement.rate_hz, arrangement.frames
    phrase = cache(Phrase)
    sounds: dict[PulseSource | FilesSource, BedSound] = {}
    faults: list[Diagnostic] = []
    for source in dict.fromkeys(span.source for span in arrangement.timeline.bed):
        if isinstance(source, PulseSource):
            count_one = source.anchor.seconds * rate_hz - source.anchor.to_frame(rate_hz)
            sounds[source] = Pulse(phrase(source.bpm, source.mood, rate_hz, channels), count_one)
            continue
        try:
            sounds[source] = files_sound(source, files, rate_hz, channels, frames)
        except PlanError as error:
            faults += error.diagnostics
    if faults:
        raise PlanError(dict.fromkeys(faults))
    return sounds


def balanced(
    arrangement: Arrangement,
    sounds: Mapping[str, Samples],
    mix: Mix,
    bed: BedSounds,
    *,
    channels: int,
    speech_lufs: float,
    measuring: Step,
) -> Balanced:
    """The mix `mix` of an arrangement: its own cues on their frames, its bed ducked under them, measured."""
    own, rate_hz = arrangement.holding(mix.contents), arrangement.rate_hz
    heard: tuple[Heard, ...] = ()
    bed_notes: tuple[Diagnostic, ...] = ()
    programme = Programme(own, sounds, channels)
    if "bed" in mix.contents and arrangement.timeline.bed:
        spans, bed_notes = heard_spans(arrangement.timeline.bed, bed, rate_hz)
        blocks = partial(bed_blocks, spans, bed, rate_hz, arrangement.frames, channels)
        planned = _planned(spans, rate_hz, speech_lufs)
        heard, ducking = audible(own.placed, sounds, blocks(), rate_hz, planned)
        programme = Programme(own, sounds, channels, blocks, ducking)
    loudness = measured(programme, float(mix.loudness_lufs), measuring)
    return Balanced(mix, programme, heard, loudness, bed_notes)


def _planned(
    spans: tuple[BedSpan, ...], rate_hz: int, speech_lufs: float
) -> Callable[[Placed], tuple[float, float]]:
    """What the plan asks for a spoken cue: LU over the bed, and the bed's usual gain in dB.

    Of the spans that a cue reaches into, the one that asks for most.
    """
    starts = [span.start.to_frame(rate_hz) for span in spans]

    def planned(placed: Placed) -> tuple[float, float]:
        first = max(0, bisect_right(starts, placed.start_frame) - 1)
        last = max(first + 1, bisect_left(starts, placed.start_frame + placed.frames))
        over_lu, gains_db = [], [0.0]
        for span in spans[first:last]:
            over_lu.append(float(-span.under_speech_db))
            bed_lufs = BED_LEVEL_LUFS + float(span.gain_db)
            gains_db.append(speech_lufs - over_lu[-1] - bed_lufs)
        return max(over_lu), min(gains_db)

    return planned


def write_mix(one: Balanced, files: MixFiles, delivery: Delivery, writing: Step) -> None:
    """Writes all files of a mix to the paths in `files`, which `writers.atomic` has made.

    Raises:
        OSError: a file could not be written whole.
        MediaMissingError: the format needs what is not on this machine.
    """
    programme, arrangement = one.programme, one.programme.arrangement

    def write(
        path: Path,
        blocks: Iterator[ProgrammeBlock],
        audio_format: AudioFormat,
        quality: Quality,
        tags: Tags,
    ) -> None:
        write_audio(
            path,
            blocks,
            rate_hz=arrangement.rate_hz,
            channels=delivery.channels,
            frames=arrangement.frames,
            audio_format=audio_format,
            quality=quality,
            tags=tags,
            progress=writing,
            mix_ahead=delivery.mix_ahead,
        )

    write(files.track, one.mastered(), delivery.audio_format, delivery.quality, delivery.tags)
    for name, path in files.stems.items():
        # Whole numbers would round; what adds up to the mix does so in floating point.
        write(path, programme.stem(name), AUDIO_FORMATS[".wav"], "best", Tags(delivery.tags.title))
    has_bed = programme.bed is not None
    text = timeline_text(arrangement, one.mix.name, one.heard, one.loudness, delivery.speech, has_bed)
    files.timeline.write_text(text, encoding="utf-8")
