"""A coach's folder of clips: what is wrong with it for a plan, and a trimmed and levelled copy of it."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from statistics import median
from types import MappingProxyType
from typing import Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from cuetrack.errors import SpeechError
from cuetrack.sound.loudness import levelled
from cuetrack.speech.clip_folder import ENDINGS, ClipFolder, mono, read_channels
from cuetrack.speech.clip_names import file_names_for, name_of_copy, names_of
from cuetrack.speech.phrases.wording import quoted, text_key
from cuetrack.speech.recording_measures import RecordingMeasures, measured
from cuetrack.speech.voices import PEAK_CEILING_DBFS, SPEECH_LOUDNESS_LUFS
from cuetrack.speech.whole_file import write_whole

# Common practice, no source.
MOST_NOISE_DB = -40.0  # relative to the speech
MOST_UNEVEN_LU = 4.0  # from the median of all clips
_FADE_SECONDS = 0.005
_NONE: Mapping[str, Fraction | None] = MappingProxyType({})

Fault = Literal[
    "missing", "no spare", "unreadable", "silent", "too long", "clipped", "noisy", "uneven", "not needed"
]


@dataclass(frozen=True, slots=True)
class ClipFinding:
    """One thing wrong with a clip.

    Attributes:
        text: the phrase; None for a file that is for no phrase of the plan.
        file: name of the file that is there, or is missing.
        fault: what kind of thing.
        message: the sentence for people: what was found, what is allowed, what to do.
        found: the measured figure, in the unit of `allowed`: seconds, dB, LU, or a count of flat tops.
        allowed: the limit it passes; None, as `found`, where nothing is measured.
    """

    text: str | None
    file: str
    fault: Fault
    message: str
    found: float | None = None
    allowed: float | None = None


@dataclass(frozen=True, slots=True)
class ImportedClip:
    """What became of one source file: the name it was written under, or None and the reason."""

    source: str
    written: str | None
    message: str


def recording_report(
    folder: Path,
    room_seconds: Mapping[str, Fraction | None],
    spare_seconds: Mapping[str, Fraction | None] = _NONE,
) -> tuple[ClipFinding, ...]:
    """Everything wrong with the clips in `folder` for the phrases of a plan, in their order.

    Args:
        folder: where the clips lie; it is only read.
        room_seconds: each phrase as written, and how long it may last; None for as long as it likes.
        spare_seconds: likewise, the wordings that stand in for phrases without room: none has to be there.

    Raises:
        VoiceMissingError: there is no such folder.
    """
    rooms = {**spare_seconds, **room_seconds}
    clips, names = ClipFolder.at(folder), file_names_for(map(text_key, rooms))
    found: list[ClipFinding] = []
    known: dict[str, tuple[Path, RecordingMeasures]] = {}
    for text, room in rooms.items():
        written = text_key(text)
        try:
            file = clips.file_for(written)
            if file is None:
                found.append(_missing(text, names[written], spare=text not in room_seconds))
                continue
            known[text] = (file, measured(*read_channels(file)))
        except SpeechError as error:
            found.append(ClipFinding(text, names[written], "unreadable", str(error)))
            continue
        found += _faults(text, file, known[text][1], room)
    found += _uneven(known)
    return (*found, *_not_needed(clips, rooms))


def _missing(text: str, file: str, *, spare: bool) -> ClipFinding:
    message = f"no clip for {quoted(text_key(text))}"
    if not spare:
        return ClipFinding(text, file, "missing", message)
    return ClipFinding(
        text, file, "no spare", f"{message}, which is said only where a longer one does not fit"
    )


def _faults(text: str, file: Path, clip: RecordingMeasures, room: Fraction | None) -> Iterator[ClipFinding]:
    name = file.name
    if not clip.seconds:
        yield ClipFinding(text, name, "silent", f"{name} has no sound; record it again")
        return
    if room is not None and clip.seconds > room and not clip.drowned:
        message = f"{name} lasts {clip.seconds:.2f} s, its place has {float(room):.2f} s; speak it faster"
        yield ClipFinding(text, name, "too long", message, clip.seconds, float(room))
    if clip.flat_tops:
        message = f"{name} is clipped in {clip.flat_tops} places; record it again, softer"
        yield ClipFinding(text, name, "clipped", message, clip.flat_tops, 0)
    if clip.noise_db is not None and clip.noise_db > MOST_NOISE_DB:
        message = (
            f"{name} has noise at {clip.noise_db:.0f} dB from the speech, allowed {MOST_NOISE_DB:.0f} dB"
            f"{', so that its length cannot be told' if clip.drowned else ''}; "
            "record it nearer to the microphone or in a quieter room"
        )
        yield ClipFinding(text, name, "noisy", message, clip.noise_db, MOST_NOISE_DB)


def _uneven(known: Mapping[str, tuple[Path, RecordingMeasures]]) -> Iterator[ClipFinding]:
    loud = {text: clip.loudness_lufs for text, (_, clip) in known.items() if clip.seconds}
    middle = median(loud.values()) if loud else 0.0
    for text, loudness in loud.items():
        off, name = loudness - middle, known[text][0].name
        if abs(off) > MOST_UNEVEN_LU:
            message = (
                f"{name} is {abs(off):.1f} LU {'louder' if off > 0 else 'softer'} than most clips, "
                f"allowed are {MOST_UNEVEN_LU:g} LU; `cuetrack voices import` levels them"
            )
            yield ClipFinding(text, name, "uneven", message, off, MOST_UNEVEN_LU)


def _not_needed(clips: ClipFolder, texts: Mapping[str, object]) -> Iterator[ClipFinding]:
    used: set[Path] = set()
    for text in texts:
        try:
            used.update(filter(None, [clips.file_for(text_key(text))]))
        except SpeechError:  # reported with the phrase
            used.update(file for name in names_of(text_key(text)) for file in clips.by_name.get(name, ()))
    for file in clips.files:
        if file not in used:
            try:
                read_channels(clips.inside(file))
            except SpeechError as error:
                yield ClipFinding(None, file.name, "unreadable", str(error))
            message = f"{file.name} is for no phrase of this plan; is its name spelled right?"
            yield ClipFinding(None, file.name, "not needed", message)


def import_recordings(source_folder: Path, target_folder: Path) -> tuple[ImportedClip, ...]:
    """Copies of all clips in `source_folder`, trimmed and levelled, as 24-bit WAV in `target_folder`.

    A clip is cut to what rises above its noise and brought to the loudness of speech; its rate stays.
    The originals are only read. A file that cannot be used does not keep the others from being copied.

    Raises:
        VoiceMissingError: there is no source folder.
        SpeechError: there is no sound file in it, both folders are the same, or the target cannot be written.
    """
    clips = ClipFolder.at(source_folder)
    if not clips.files:
        endings = ", ".join(sorted(ENDINGS))
        raise SpeechError(f"there is no sound file in {source_folder}; a clip ends with one of {endings}")
    if target_folder.resolve() == source_folder.resolve():
        raise SpeechError(f"{target_folder} holds the originals; name another folder for the copies")
    try:
        target_folder.mkdir(parents=True, exist_ok=True)
        return tuple(_imported(clips, name, files, target_folder) for name, files in clips.by_name.items())
    except OSError as error:
        reason = error.strerror or str(error)
        raise SpeechError(f"{target_folder} cannot be written: {reason}; name another folder") from None


def _imported(clips: ClipFolder, name: str, files: Sequence[Path], target_folder: Path) -> ImportedClip:
    source = " and ".join(file.name for file in files)
    if not name:
        return ImportedClip(source, None, f"{source} has no letter or digit in its name; rename it")
    if len(files) > 1:
        return ImportedClip(source, None, f"{source} are for the same phrase; keep one of them")
    try:
        channels, rate_hz = read_channels(clips.inside(files[0]))
        clip = measured(channels, rate_hz)
        if not clip.seconds:
            return ImportedClip(source, None, f"{source} has no sound; record it again")
        data = _wav_24_bit(_trimmed_and_levelled(channels, rate_hz, clip), rate_hz)
    except SpeechError as error:
        return ImportedClip(source, None, str(error))
    written = name_of_copy(name)
    write_whole(target_folder / written, data)
    return ImportedClip(source, written, f"{clip.seconds:.2f} s, was {clip.loudness_lufs:.1f} LUFS")


def _trimmed_and_levelled(
    channels: NDArray[np.float32], rate_hz: int, clip: RecordingMeasures
) -> NDArray[np.float32]:
    """What is audible, with what lies just beside it faded: a cut through noise would click."""
    fade = round(_FADE_SECONDS * rate_hz)
    before, after = min(fade, clip.start_frame), min(fade, len(channels) - clip.end_frame)
    samples = mono(channels)[clip.start_frame - before : clip.end_frame + after].copy()
    samples[:before] *= np.linspace(0, 1, before, endpoint=False, dtype=np.float32)
    samples[len(samples) - after :] *= np.linspace(1, 0, after, dtype=np.float32)
    return levelled(samples, rate_hz, target_lufs=SPEECH_LOUDNESS_LUFS, peak_ceiling_dbfs=PEAK_CEILING_DBFS)


def _wav_24_bit(samples: NDArray[np.float32], rate_hz: int) -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, samples, rate_hz, format="WAV", subtype="PCM_24")
    return stream.getvalue()
