"""Captions against the BBC's and DCMP's published rules, read back by two independent programs."""

from __future__ import annotations

import html
import re
from fractions import Fraction
from io import StringIO
from itertools import pairwise

import pysubs2
import pytest
import webvtt

from cuetrack.timeline.cues import kind_of
from cuetrack.writers.captions import captions_of, srt
from cuetrack.writers.captions import webvtt as vtt
from tests.helpers.likely import CASES, SAMPLES, likely, likely_of, untidy_plan

# W3C WebVTT, "collecting a timestamp": two or more digits, two, two, and three behind a full stop.
_VTT_TIMES = re.compile(r"(\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3}) --> (\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3})")
_COUNTED = """
session: Quay count
lead-in: 10s
parts:
  - part: Circuit
    rest: 20s
    steps:
      - {move: Row, work: 30s, calls: {finish: {warn: off, count: 5, by: voice}}}
      - {move: Press, work: 30s, tempo: 60 bpm, calls: {start: {count: 3, by: both}}}
"""


def test_the_collections_are_not_empty():
    assert len(SAMPLES) >= 3
    assert len(CASES) >= 20


@pytest.mark.parametrize("plan", [*SAMPLES, *CASES], ids=lambda plan: plan.stem)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_captions_keep_the_published_rules(plan, rate_hz):
    arrangement = likely(plan, rate_hz)
    captions = captions_of(arrangement, music=True)
    for caption in captions:
        assert 0 <= caption.start_frame < caption.end_frame <= arrangement.frames
        # BBC subtitle guidelines: 37 characters a line.
        assert all(0 < len(line) <= 37 for line in caption.lines)
    for caption, following in pairwise(captions):
        gap = Fraction(following.start_frame - caption.end_frame, rate_hz)
        # BBC: a gap of a second or more, or none; nothing overlaps.
        lingers = _lingers(caption, arrangement)
        assert gap == 0 or gap >= 1 or lingers > Fraction(1499, 1000), (caption, following, gap, lingers)
    for caption in captions:
        # BBC: never more than 1.5 s late.
        assert _lingers(caption, arrangement) <= Fraction(3, 2)


def _lingers(caption, arrangement):
    """Seconds for which a caption is still shown when what it tells is over; zero while it sounds."""
    sounds = [
        min(one.start_frame + one.frames, caption.end_frame)
        for one in arrangement.placed
        if one.start_frame < caption.end_frame and one.start_frame + one.frames > caption.start_frame
    ]
    starts = [span.start.to_frame(arrangement.rate_hz) for span in arrangement.timeline.bed]
    last = max([*sounds, *(start for start in starts if caption.start_frame <= start < caption.end_frame)])
    # One frame, for a rule kept in whole frames.
    return Fraction(max(0, caption.end_frame - last - 1), arrangement.rate_hz)


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
def test_every_word_and_every_tone_is_in_a_caption_while_it_sounds(plan):
    arrangement = likely(plan)
    captions = captions_of(arrangement)
    for one in arrangement.placed:
        shown = [
            " ".join(caption.lines)
            for caption in captions
            if caption.start_frame < one.start_frame + one.frames and caption.end_frame > one.start_frame
        ]
        if one.text is None:
            assert any("[" in text for text in shown) or kind_of(one.cue) == "click"
        else:
            said = re.sub(r"\W+", "", one.text)
            assert said in re.sub(r"\W+", "", "".join(shown)), one.text


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
def test_captions_begin_with_their_sound(plan):
    """EN 301 549, 7.1.2 allows 100 ms; ours begin on the frame, save those inside a long phrase."""
    arrangement = likely(plan)
    captions, starts = captions_of(arrangement), {one.start_frame for one in arrangement.placed}
    for caption in captions:
        inside = any(
            one.start_frame < caption.start_frame < one.start_frame + one.frames for one in arrangement.placed
        )
        assert caption.start_frame in starts or inside


def test_counts_and_tones_are_told_as_they_are_heard():
    captions = captions_of(likely_of(_COUNTED))
    assert [caption.lines for caption in captions if caption.lines[-1].startswith("[")] == [
        ("[three short tones, one long]",),
        ("three, two, one, Go", "[three short tones, one long]", "[clicks]"),
        ("[three short tones, one long]",),
    ]
    assert ("five, four, three, two, one, Rest",) in [caption.lines for caption in captions]


def test_two_independent_readers_find_every_caption():
    for text in (_COUNTED, untidy_plan()):
        arrangement = likely_of(text)
        captions = captions_of(arrangement)
        written = vtt(captions, arrangement.rate_hz)
        by_webvtt = webvtt.from_buffer(StringIO(written))
        by_pysubs2 = pysubs2.SSAFile.from_string(srt(captions, arrangement.rate_hz), format_="srt")
        assert len(captions) == len(by_webvtt) == len(by_pysubs2) > 3
        for caption, one, other in zip(captions, by_webvtt, by_pysubs2, strict=True):
            exact_ms = Fraction(1000 * caption.start_frame, arrangement.rate_hz)
            assert abs(one.start_in_seconds * 1000 - exact_ms) <= 1000  # that reader cuts to seconds
            assert abs(other.start - exact_ms) <= Fraction(1, 2)
            assert abs(other.end - Fraction(1000 * caption.end_frame, arrangement.rate_hz)) <= Fraction(1, 2)
            shown = other.plaintext.replace("\u2060", "").replace("\uff5b", "{").replace("\uff5d", "}")
            assert shown.split("\n") == list(caption.lines)
            assert html.unescape(one.raw_text).split("\n") == list(caption.lines)


def test_webvtt_keeps_the_grammar_whatever_the_texts_are():
    """webvtt-py drops what it does not understand, so the grammar is looked at line by line, too."""
    arrangement = likely_of(untidy_plan())
    blocks = vtt(captions_of(arrangement), arrangement.rate_hz).rstrip("\n").split("\n\n")
    assert blocks[0] == "WEBVTT"
    assert len(blocks) == len(captions_of(arrangement)) + 1
    before = -1
    for number, block in enumerate(blocks[1:], 1):
        identifier, times, *payload = block.split("\n")
        assert identifier == str(number)
        figures = [int(figure) for figure in _VTT_TIMES.fullmatch(times).groups()]
        start, end = (
            ((figures[i] * 60 + figures[i + 1]) * 60 + figures[i + 2]) * 1000 + figures[i + 3] for i in (0, 4)
        )
        assert before <= start < end
        before = start
        assert payload
        assert not any("-->" in line or "<" in line or not line.strip() for line in payload)


def test_no_sound_means_no_captions():
    arrangement = likely_of(_COUNTED).holding(())
    assert captions_of(arrangement) == ()
    assert vtt((), 48_000) == "WEBVTT\n"
    assert srt((), 48_000) == ""


@pytest.mark.parametrize(
    ("language", "told"),
    [
        ("es", "[tres tonos cortos, uno largo]"),
        ("de", "[drei kurze Töne, ein langer]"),
        ("fr", "[trois sons courts, un long]"),
    ],
)
def test_sounds_are_told_in_the_session_s_language(language, told):
    captions = captions_of(likely_of(f"language: {language}\nvoice: system{_COUNTED}"))
    assert captions[1].lines == (told,) or captions[0].lines == (told,)
