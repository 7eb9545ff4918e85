"""Music as far as there is any: where files end by themselves it fades before, and the coach is told.

Where the music has to end was worked out from the lengths of the files; fades are judged on the samples.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
import soundfile

from cuetrack.errors import Place
from cuetrack.mix.bed import bed_blocks
from cuetrack.mix.bed_heard import heard_spans
from cuetrack.mix.bed_sequence import files_sound
from cuetrack.sound.pulse import Phrase, Pulse
from cuetrack.sound.pulse_moods import DEFAULT_MOOD
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource
from cuetrack.timeline.bed_settings import Fades

RATE_HZ = 8_000
LINE = Place("quay.yaml", 4, 9, 8, "  file: tide.wav")
FADES_LINE = Place("quay.yaml", 5, 13, 2, "  fade out: 2s")


def seconds(text):
    return Duration(Fraction(text))


def at(text):
    return Instant(Fraction(text))


def files(*names, anchor="0", loop=False, crossfade="0"):
    return FilesSource(names, seconds("0"), None, seconds(crossfade), loop, at(anchor), LINE)


def span(start, end, source, *, gain_db=0, fade_out="0", asked_out="2", place=None):
    return BedSpan(
        at(start),
        at(end),
        source,
        Fraction(gain_db),
        seconds("0"),
        seconds(fade_out),
        Fraction(-14),
        Fades(seconds("0"), seconds(asked_out), place),
    )


@pytest.fixture
def paths(tmp_path):
    """Steady noise of 4 s and of 6 s, and 4 s of silence."""
    noise = 0.1 * np.random.default_rng(2).uniform(-1, 1, 6 * RATE_HZ)
    made = {"tide.wav": noise[: 4 * RATE_HZ], "gulls.wav": noise, "still.wav": np.zeros(4 * RATE_HZ)}
    for name, samples in made.items():
        soundfile.write(tmp_path / name, samples, RATE_HZ, subtype="FLOAT")
    return {name: tmp_path / name for name in made}


def heard(spans, paths, seconds_long=20):
    sounds = {
        one.source: files_sound(one.source, paths, RATE_HZ, 1, seconds_long * RATE_HZ)
        if isinstance(one.source, FilesSource)
        else Pulse(Phrase(one.source.bpm, one.source.mood, RATE_HZ, 1))
        for one in spans
    }
    cut, notes = heard_spans(spans, sounds, RATE_HZ)
    silence = np.zeros((RATE_HZ, 1), np.float32)
    blocks = bed_blocks(cut, sounds, RATE_HZ, seconds_long * RATE_HZ, 1, RATE_HZ)
    made = np.concatenate([silence if block is None else block for block in blocks])[:, 0]
    return cut, [(note.message, note.place, note.hint) for note in notes], made


def level(samples):
    return float(np.sqrt(np.mean(np.square(samples, dtype=float))))


def test_files_that_end_fade_out_before_that_and_it_is_told(paths):
    """4 s and 6 s with a crossfade of 1 s are 9 s; the fade of 2 s is a quarter of a sine."""
    source = files("tide.wav", "gulls.wav", crossfade="1")
    _, notes, made = heard([span("0", "20", source, fade_out="2")], paths)
    hint = "`loop: on` begins the files again; or name more files"
    message = "the music ends with its files at 0:09.0, and silence follows until 0:20.0"
    assert notes == [(message, LINE, hint)]
    whole = level(made[5 * RATE_HZ : 7 * RATE_HZ])
    for share in (0.25, 0.5, 0.75, 0.9):
        middle = round((7 + 2 * share) * RATE_HZ)
        expected = whole * np.cos(np.pi / 2 * share)
        assert level(made[middle - 200 : middle + 200]) == pytest.approx(expected, rel=0.1)
    assert not made[9 * RATE_HZ :].any()


def test_music_that_loops_or_lasts_long_enough_is_left_alone(paths):
    for source, end in ((files("tide.wav", loop=True), "20"), (files("tide.wav"), "4")):
        spans = (span("0", end, source, fade_out="2"),)
        assert heard(spans, paths)[:2] == (spans, [])


@pytest.mark.parametrize(("end", "told"), [("4.05", 0), ("4.1", 1)])
def test_less_than_a_clock_shows_is_not_early(paths, end, told):
    cut, notes, _ = heard([span("0", end, files("tide.wav"), fade_out="2")], paths)
    assert len(notes) == told
    assert cut[0].end == at("4")


def test_it_fades_also_where_the_same_music_was_to_go_on_louder(paths):
    """The level changes at 3 s and 5 s; the file ends at 4 s, in the middle one."""
    source = files("tide.wav")
    spans = [span("0", "3", source), span("3", "5", source, gain_db=-6), span("5", "9", source)]
    cut, notes, _ = heard(spans, paths)
    assert [(one.start, one.end, one.fade_out.seconds) for one in cut] == [
        (at("0"), at("3"), 0),
        (at("3"), at("4"), 1),
    ]
    assert [message for message, _, _ in notes] == [
        "the music ends with its files at 0:04.0, and silence follows until 0:09.0"
    ]


def test_other_music_after_it_begins_as_after_silence(paths):
    pulse = PulseSource(Fraction(120), DEFAULT_MOOD, at("6"))
    later = BedSpan(
        at("6"),
        at("9"),
        pulse,
        Fraction(0),
        seconds("0.01"),
        seconds("0"),
        Fraction(-14),
        Fades(seconds("1"), seconds("0")),
    )
    cut, _, made = heard([span("0", "6", files("tide.wav")), later], paths)
    assert [(one.end, one.fade_in.seconds) for one in cut] == [(at("4"), 0), (at("9"), 1)]
    assert not made[4 * RATE_HZ : 6 * RATE_HZ].any()


def test_fades_for_which_the_files_leave_no_time_are_told(paths):
    source = files("tide.wav")
    cut, notes, _ = heard([span("0", "20", source, asked_out="5", place=FADES_LINE)], paths)
    assert cut[0].fade_out == seconds("4")
    assert notes[1] == (
        "the music at 0:00 lasts 4 s, too little for fades of 5 s; they are shortened to fit",
        FADES_LINE,
        "write shorter ones, at most 4 s in and out together",
    )


@pytest.mark.parametrize(("times", "more"), [(2, "once"), (4, "3 times")])
def test_a_step_s_music_that_ends_early_each_time_is_told_once(paths, times, more):
    starts = [9 * turn for turn in range(times)]
    spans = [span(str(start), str(start + 6), files("tide.wav", anchor=str(start))) for start in starts]
    _, notes, _ = heard(spans, paths, 40)
    assert [message for message, _, _ in notes] == [
        f"the music ends with its files at 0:04.0, and silence follows until 0:06.0; this happens {more} more"
    ]


def test_one_silent_file_among_others_is_told(paths):
    _, notes, _ = heard([span("0", "20", files("tide.wav", "still.wav", loop=True))], paths)
    assert notes == [("still.wav is silent as far as it can be heard", LINE, "name another file")]
