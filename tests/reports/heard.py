"""What a speech recogniser hears in rendered sessions: is each phrase where the timeline says, and clear?

Run it from the top of a checkout; voices and plans may be named, the samples and both voices are meant
otherwise:

    python -m tests.reports.heard [--keep] [--voice NAME]... [PLAN]...

Each plan is rendered to WAV, decoded by Python's `wave`, and given to pocketsphinx with its bundled
US English model, cue by cue:

* Placed: forced alignment of the phrase's known words in its place and half a second on both sides
  (less where another phrase is nearer). A recogniser that is not told the words is no use here: on
  synthetic speech it finds others.
* Told apart: with the plan's own set of phrases as its grammar, the phrase it picks for that stretch.

The test beside it asserts, of one sample (boathouse-mobility) by the natural voice (`clear`): all phrases
are found; every first word starts within ±50 ms of the timeline; no last word is heard to end more than
50 ms late or 200 ms early; of those that end in no stop, nine in ten end within ±50 ms; 98 % of the
phrases that sound alone are picked. All else is only reported: the words in between, the ends in a stop
more closely than that, what is picked under a tone, the other samples, and the voice `system`, of which
the recogniser does not find many phrases at all.

pocketsphinx counts in 10 ms frames. After a word that ends in a stop (left, paused) it takes the closure
for the end; the release comes some 100 ms later and is as loud as 40 dB under the vowel, so the clip
ends after it. Ends are therefore counted apart for words that end in a stop and for all others, and picks
for words with a tone over them (`by: both`) and for those that sound alone.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pocketsphinx import Decoder, get_model_path
from scipy.signal import resample_poly

from tests.helpers.decode import decoded
from tests.helpers.reporting import goal_line, heading, print_report

_NO_BED = "mixes: {class: [announcement, call, count, tone, click, slate]}"
REPORT = Path(__file__).with_suffix(".txt")
LIBRARIES = ("cuetrack", "piper-tts", "pocketsphinx", "scipy")
NATURAL, GOAL_PICKED = "clear", 0.98
SAMPLES_FOLDER = Path(__file__).parents[2] / "samples"
HEARD_RATE_HZ = 16_000  # what the model was trained at
HEARD_FRAME_SECONDS = 0.01
AROUND_SECONDS = 0.5
NEAR_SECONDS = 0.050
CHANNELS = 2
STOPS = frozenset({"B", "D", "G", "K", "P", "T"})

# What the bundled dictionary lacks, in its own phonemes (CMU ARPAbet).
PRONUNCIATIONS = {"plié": "P L IY EY", "relevé": "R EH L AH V EY", "demi": "D EH M IY"}

Sound = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class SpokenCue:
    """A phrase as `timeline.json` has it, and how far its surroundings belong to no other phrase.

    `under_tone` says whether a tone sounds during the phrase.
    """

    text: str
    start_seconds: float
    end_seconds: float
    from_seconds: float
    to_seconds: float
    under_tone: bool


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard of one cue.

    Attributes:
        start_late_seconds: how late its first word starts; None if its words were not found.
        end_late_seconds: how late its last word ends; likewise.
        ends_in_stop: whether the last word does.
        picked: whether it was told apart from the plan's other phrases.
    """

    cue: SpokenCue
    start_late_seconds: float | None
    end_late_seconds: float | None
    ends_in_stop: bool
    picked: bool


@dataclass(frozen=True, slots=True)
class Tally:
    """The cues of one voice in some plans, counted."""

    cues: int
    found: int
    start_near: int
    open_ends: int
    open_ends_near: int
    stop_ends: int
    stop_ends_near: int
    alone: int
    alone_picked: int
    under_tone: int
    under_tone_picked: int


class Recogniser:
    """pocketsphinx, told which phrases there are."""

    def __init__(self, phrases: Iterable[str]) -> None:
        folder = Path(get_model_path("en-us"))
        self._decoder = Decoder(
            hmm=str(folder / "en-us"),
            dict=str(folder / "cmudict-en-us.dict"),
            lm=None,
            samprate=HEARD_RATE_HZ,
            loglevel="FATAL",
        )
        self._phrases = sorted({" ".join(words_of(phrase)) for phrase in phrases})
        missing = {word for phrase in self._phrases for word in phrase.split() if not self._knows(word)}
        if missing:
            raise SystemExit(f"no pronunciation for {', '.join(sorted(missing))}: add it to PRONUNCIATIONS")
        rule = " | ".join(self._phrases)
        self._decoder.add_jsgf_string("plan", f"#JSGF V1.0; grammar plan; public <plan> = {rule};")

    def word_times(self, sound: Sound, text: str) -> list[tuple[str, float, float]]:
        """The words of `text` in `sound`, each with its start and end in seconds; empty if not found."""
        self._decoder.set_align_text(" ".join(words_of(text)))
        self._decode(sound)
        if self._decoder.hyp() is None:
            return []
        return [
            (
                segment.word,
                segment.start_frame * HEARD_FRAME_SECONDS,
                (segment.end_frame + 1) * HEARD_FRAME_SECONDS,
            )
            for segment in self._decoder.seg()
            if not segment.word.startswith(("<", "["))
        ]

    def pick(self, sound: Sound) -> str:
        """The phrase, as its words, that `sound` is most like; empty if like none."""
        self._decoder.activate_search("plan")
        self._decode(sound)
        hypothesis = self._decoder.hyp()
        return "" if hypothesis is None else hypothesis.hypstr

    def ends_in_stop(self, text: str) -> bool:
        """Whether the last word of `text` ends in a stop consonant."""
        return self._decoder.lookup_word(words_of(text)[-1]).split()[-1] in STOPS

    def _knows(self, word: str) -> bool:
        if self._decoder.lookup_word(word) is None and word in PRONUNCIATIONS:
            self._decoder.add_word(word, PRONUNCIATIONS[word], True)
        return self._decoder.lookup_word(word) is not None

    def _decode(self, sound: Sound) -> None:
        self._decoder.start_utt()
        self._decoder.process_raw(sound.tobytes(), full_utt=True)
        self._decoder.end_utt()


def words_of(text: str) -> list[str]:
    """The words of a phrase as the dictionary has them.

    >>> words_of("Half-kneeling press, left side. Don't rush.")
    ['half', 'kneeling', 'press', 'left', 'side', "don't", 'rush']
    """
    return re.findall(r"[^\W\d_]+(?:'[^\W\d_]+)*", text.replace("’", "'").lower())


def spoken_cues(timeline: dict[str, Any]) -> list[SpokenCue]:
    """The spoken cues of a timeline file in order."""
    rate_hz, length = timeline["sample_rate"], timeline["frames"]
    places = [
        (cue["start_frame"], cue["start_frame"] + cue["frames"], cue["text"])
        for cue in timeline["cues"]
        if cue["text"]
    ]
    tones = [
        (cue["start_frame"], cue["start_frame"] + cue["frames"])
        for cue in timeline["cues"]
        if not cue["text"]
    ]
    around = round(AROUND_SECONDS * rate_hz)
    cues = []
    for index, (start, end, text) in enumerate(places):
        before = places[index - 1][1] if index else 0
        after = places[index + 1][0] if index + 1 < len(places) else length
        # Half of a gap belongs to each of the two phrases beside it.
        first = max(start - around, (before + start) // 2)
        last = min(end + around, (end + after) // 2)
        edges = (frame / rate_hz for frame in (start, end, first, last))
        cues.append(SpokenCue(text, *edges, any(on < end and off > start for on, off in tones)))
    return cues


def heard(audio: Path, timeline: dict[str, Any]) -> Iterator[Heard]:
    """What is heard of each spoken cue of a rendered WAV file."""
    cues = spoken_cues(timeline)
    recogniser = Recogniser(cue.text for cue in cues)
    sound = heard_sound(audio, timeline["sample_rate"])
    for cue in cues:
        stretch = sound[round(cue.from_seconds * HEARD_RATE_HZ) : round(cue.to_seconds * HEARD_RATE_HZ)]
        stop = recogniser.ends_in_stop(cue.text)
        picked = recogniser.pick(stretch) == " ".join(words_of(cue.text))
        times = recogniser.word_times(stretch, cue.text)
        if [re.sub(r"\(\d+\)$", "", word) for word, _, _ in times] != words_of(cue.text):
            yield Heard(cue, None, None, stop, picked)
            continue
        start, end = times[0][1] + cue.from_seconds, times[-1][2] + cue.from_seconds
        yield Heard(cue, start - cue.start_seconds, end - cue.end_seconds, stop, picked)


def heard_sound(audio: Path, rate_hz: int) -> Sound:
    """A rendered WAV file as the recogniser takes it, the channels averaged."""
    mono = decoded(audio, CHANNELS).mean(axis=1) / 2**31
    lowered = resample_poly(mono, HEARD_RATE_HZ, rate_hz)
    return np.round(np.clip(lowered, -1, 1) * (2**15 - 1)).astype(np.int16)


def rendered(plan: Path, voice: str, folder: Path) -> tuple[Path, dict[str, Any]]:
    """The audio file and the timeline of `plan`, made by the command that a coach types.

    Without music: the recogniser was made for speech alone, and loses even words that are 20 LU over it.
    """
    audio, bare = folder / f"{plan.stem}-{voice}.wav", folder / f"{plan.stem}.yaml"
    bare.write_text(f"{plan.read_text(encoding='utf-8')}\n{_NO_BED}\n", encoding="utf-8")
    command = [sys.executable, "-m", "cuetrack", "render", str(bare), "-o", str(audio), "--voice", voice]
    environment = {**os.environ, "CUETRACK_CACHE_DIR": str(folder / "speech")}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    if done.returncode:
        raise SystemExit(done.stderr or done.stdout)
    return audio, json.loads(audio.with_suffix(".timeline.json").read_text(encoding="utf-8"))


def tally(cues: Iterable[Heard]) -> Tally:
    """How many of `cues` were found, near their place, and told apart."""
    cues = list(cues)
    return Tally(
        cues=len(cues),
        found=sum(cue.start_late_seconds is not None for cue in cues),
        start_near=sum(_near(cue.start_late_seconds) for cue in cues),
        open_ends=sum(not cue.ends_in_stop for cue in cues),
        open_ends_near=sum(_near(cue.end_late_seconds) and not cue.ends_in_stop for cue in cues),
        stop_ends=sum(cue.ends_in_stop for cue in cues),
        stop_ends_near=sum(_near(cue.end_late_seconds) and cue.ends_in_stop for cue in cues),
        alone=sum(not cue.cue.under_tone for cue in cues),
        alone_picked=sum(cue.picked and not cue.cue.under_tone for cue in cues),
        under_tone=sum(cue.cue.under_tone for cue in cues),
        under_tone_picked=sum(cue.picked and cue.cue.under_tone for cue in cues),
    )


def _near(late_seconds: float | None) -> bool:
    return late_seconds is not None and abs(late_seconds) <= NEAR_SECONDS


def main() -> None:
    """Renders, listens, and prints the report."""
    parser = argparse.ArgumentParser(description="What a speech recogniser hears in rendered sessions.")
    parser.add_argument("plans", nargs="*", type=Path, default=sorted(SAMPLES_FOLDER.glob("*.yaml")))
    parser.add_argument("--voice", action="append", dest="voices", help="may be given several times")
    parser.add_argument("--keep", action="store_true", help=f"keep the report in {REPORT.name}")
    given = parser.parse_args()
    print_report(_report(given.plans, given.voices or ["clear", "system"]), REPORT if given.keep else None)


def _report(plans: Sequence[Path], voices: Sequence[str]) -> Iterator[str]:
    """The tables; goals are for the natural voice."""
    yield from heading("what a speech recogniser hears", LIBRARIES)
    yield _row(
        "voice", "plan", "cues", "found", "start ±50 ms", "end ±50 ms", "of stops", "alone", "under tone"
    )
    by_voice: dict[str, list[Heard]] = {}
    with TemporaryDirectory(prefix="heard-") as folder:
        for voice in voices:
            for plan in plans:
                cues = list(heard(*rendered(plan, voice, Path(folder))))
                by_voice.setdefault(voice, []).extend(cues)
                yield _counts(voice, plan.stem, cues)
    for voice, cues in by_voice.items():
        yield _counts(voice, "all", cues)
        yield from _spread("first word starts", [c.start_late_seconds for c in cues])
        yield from _spread("last word ends", [c.end_late_seconds for c in cues])
        yield from _worst(cues)
    if NATURAL in by_voice:
        t = tally(by_voice[NATURAL])
        yield "\ngoals"
        yield goal_line(t.found == t.cues, f"every phrase of `{NATURAL}` found: {t.found} of {t.cues}")
        near = f"first words within {1000 * NEAR_SECONDS:.0f} ms of the timeline"
        yield goal_line(t.start_near == t.cues, f"{near}: {t.start_near} of {t.cues}")
        told_apart = f"{GOAL_PICKED:.0%} of those that sound alone told apart from all others of the plan"
        is_met = t.alone_picked >= GOAL_PICKED * t.alone
        yield goal_line(is_met, f"{told_apart}: {t.alone_picked} of {t.alone}")


def _counts(voice: str, plan: str, cues: list[Heard]) -> str:
    t = tally(cues)
    return _row(
        voice,
        plan,
        t.cues,
        t.found,
        t.start_near,
        f"{t.open_ends_near} of {t.open_ends}",
        f"{t.stop_ends_near} of {t.stop_ends}",
        f"{t.alone_picked} of {t.alone} ({t.alone_picked / max(t.alone, 1):.1%})",
        f"{t.under_tone_picked} of {t.under_tone}",
    )


def _row(*cells: object) -> str:
    widths = (-8, -20, 5, 6, 13, 12, 10, 20, 11)
    return " ".join(
        f"{cell!s:{'<' if width < 0 else '>'}{abs(width)}}" for cell, width in zip(cells, widths, strict=True)
    )


def _spread(what: str, late_seconds: list[float | None]) -> Iterator[str]:
    late = [1000 * seconds for seconds in late_seconds if seconds is not None]
    if len(late) < 2:
        return
    tenths = quantiles(late, n=10)
    yield (
        f"    {what} (ms late): {min(late):+.0f} earliest, {tenths[0]:+.0f} lowest tenth, "
        f"{median(late):+.0f} median, {tenths[-1]:+.0f} highest tenth, {max(late):+.0f} latest"
    )


def _worst(cues: list[Heard]) -> Iterator[str]:
    """Each distinct phrase that was not found, not near, or not picked, with its count."""
    lines: dict[str, int] = {}
    for cue in cues:
        faults = [
            *(["not found"] if cue.start_late_seconds is None else []),
            *(
                f"{edge} {1000 * late:+.0f} ms"
                for edge, late in (("start", cue.start_late_seconds), ("end", cue.end_late_seconds))
                if late is not None and not _near(late)
            ),
            *([] if cue.picked else ["taken for another"]),
        ]
        if faults:
            line = f"    {cue.cue.text!r}: {', '.join(faults)}"
            lines[line] = lines.get(line, 0) + 1
    for line, count in sorted(lines.items()):
        yield f"{line}{f' ({count} times)' if count > 1 else ''}"


if __name__ == "__main__":
    main()
