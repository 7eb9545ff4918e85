"""Where which music plays: inheritance key by key, count one on the first work, files that run on, fades.

What each plan has to give was worked out by hand from its times; the defaults come from the sources named.
"""

from __future__ import annotations

from fractions import Fraction
from textwrap import dedent

import pytest

from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan
from cuetrack.sound.pulse_moods import DEFAULT_MOOD, MOODS
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource, until_ends
from cuetrack.timeline.bed_settings import DEFAULT_UNDER_SPEECH_DB, bed_settings
from cuetrack.timeline.compile import Timeline, compiled

PLAN = """
    session: Quay circuit
    lead-in: 5s
    bed: SESSION
    calls: {announce: off, start: off, finish: off}
    parts:
      - part: Welcome
        bed: WELCOME
        steps:
          - talk: 20s
          - {move: March, work: 30s, rest: 10s}
      - part: Circuit
        bed: CIRCUIT
        rounds: 2
        steps:
          - {move: Row, work: 40s, rest: 15s, bed: ROW}
          - {move: Squat, work: 40s, rest: 15s}
"""
# Seconds at which something begins: 0 lead-in, 5 talk, 25 March, 55 its rest, 65 Row, 105 rest, 120 Squat,
# 160 rest, 175 Row, 215 rest, 230 Squat, 270 the rest that `rest:` of the move asks for, 285 the end.
END = 285


def timeline(**beds: str) -> Timeline:
    """The plan with a bed at each of its levels; a level that is not named has none."""
    text = dedent(PLAN).strip()
    for level in ("session", "welcome", "circuit", "row"):
        unwritten = f", bed: {level.upper()}" if level == "row" else f"bed: {level.upper()}"
        written = unwritten.replace(level.upper(), beds[level]) if level in beds else ""
        text = text.replace(unwritten, written)
    return compiled(parse_plan(text, "quay.yaml"))


def seconds(spans: tuple[BedSpan, ...]) -> list[tuple[Fraction, Fraction]]:
    return [(span.start.seconds, span.end.seconds) for span in spans]


def spans(**beds: str) -> tuple[BedSpan, ...]:
    return timeline(**beds).bed


def of_pulse(span: BedSpan) -> tuple[Fraction, str, Fraction]:
    assert isinstance(span.source, PulseSource)
    return span.source.bpm, span.source.mood, span.source.anchor.seconds


def of_files(span: BedSpan) -> FilesSource:
    assert isinstance(span.source, FilesSource)
    return span.source


def test_no_bed_is_silence() -> None:
    assert timeline().end == Instant(Fraction(END))
    assert spans() == ()
    assert spans(session="off") == ()
    assert spans(session="{pulse: 120 bpm}", welcome="off", circuit="off") == ()


def test_pulse_of_the_session_puts_count_one_on_the_first_work_of_each_part() -> None:
    welcome, circuit = spans(session="{pulse: 120 bpm}")
    assert seconds((welcome, circuit)) == [(0, 65), (65, END)]
    assert of_pulse(welcome) == (120, DEFAULT_MOOD, 25)
    assert of_pulse(circuit) == (120, DEFAULT_MOOD, 65)


def test_part_without_work_counts_from_its_start() -> None:
    text = "{session: a, bed: {pulse: 90 bpm}, parts: [{part: b, steps: [{rest: 3s}, {talk: 9s}]}]}"
    (span,) = compiled(parse_plan(text)).bed
    assert of_pulse(span) == (90, DEFAULT_MOOD, 5)


def test_tempo_changes_per_part_and_per_step() -> None:
    found = spans(session="{pulse: 96 bpm}", circuit="{pulse: 120 bpm}", row="{pulse: 140 bpm, mood: strong}")
    assert seconds(found) == [(0, 65), (65, 120), (120, 175), (175, 230), (230, END)]
    assert [of_pulse(span) for span in found] == [
        (96, DEFAULT_MOOD, 25),
        (140, "strong", 65),  # with its rest; each time it is done it begins on count one
        (120, DEFAULT_MOOD, 65),
        (140, "strong", 175),
        (120, DEFAULT_MOOD, 65),
    ]


def test_words_are_inherited_key_by_key_and_the_nearest_wins() -> None:
    found = spans(
        session="{pulse: 120 bpm, mood: calm, gain: -3 dB, under speech: -20 dB}",
        welcome="{mood: light}",
        circuit="{pulse: 130 bpm}",
        row="{gain: +2 dB, under speech: 0 dB}",
    )
    assert [of_pulse(span)[:2] for span in found] == [(120, "light"), *[(130, "calm")] * 4]
    assert [span.gain_db for span in found] == [-3, 2, -3, 2, -3]
    assert [span.under_speech_db for span in found] == [-20, 0, -20, 0, -20]


def test_music_goes_on_where_only_its_level_changes() -> None:
    _, first, second, third, _ = spans(session="{pulse: 120 bpm}", row="{gain: -6 dB}")
    assert first.source == second.source == third.source
    assert first.end == second.start
    nothing = Duration(Fraction(0))
    assert first.fade_out == second.fade_in == second.fade_out == third.fade_in == nothing


def test_off_is_silence_in_the_midst_and_music_may_begin_again_below_it() -> None:
    found = spans(session="{pulse: 120 bpm, gain: -3 dB}", circuit="off", row="{pulse: 150 bpm}")
    assert seconds(found) == [(0, 65), (65, 120), (175, 230)]
    assert [of_pulse(span)[0] for span in found] == [120, 150, 150]
    assert [span.gain_db for span in found] == [-3, -3, -3]  # off silences, and forgets no level


def test_lead_in_belongs_to_the_first_part_and_lead_out_to_the_last() -> None:
    assert seconds(spans(session="{pulse: 120 bpm}", welcome="off")) == [(65, END)]
    text = """
        session: Quay
        lead-out: 4s
        bed: {pulse: 120 bpm}
        parts:
          - {part: One, steps: [{move: Row, work: 30s}]}
          - {part: Two, bed: off, steps: [{move: Squat, work: 30s}]}
    """
    assert seconds(compiled(parse_plan(dedent(text))).bed) == [(0, 35)]
    assert seconds(compiled(parse_plan(dedent(text).replace("bed: off, ", ""))).bed) == [(0, 35), (35, 69)]


def test_files_run_on_through_the_parts() -> None:
    (span,) = spans(session="{file: [tide.ogg, beds/ebb.m4a], start: 1:30, tempo: 96 bpm, loop: off}")
    source = of_files(span)
    assert seconds((span,)) == [(0, END)]
    assert source.files == ("tide.ogg", "beds/ebb.m4a")
    assert (source.start.seconds, source.bpm, source.loop) == (90, 96, False)
    assert source.anchor.seconds == 0
    assert (str(source.place), source.place and source.place.length) == ("quay.yaml:3:13", 24)


def test_files_run_on_unheard_through_a_silent_part() -> None:
    found = spans(session="{file: tide.ogg}", welcome="off")
    assert [of_files(span).anchor.seconds for span in found] == [65]
    found = spans(session="{file: tide.ogg}", row="off")
    assert seconds(found) == [(0, 65), (120, 175), (230, END)]
    assert {of_files(span).anchor.seconds for span in found} == {0}


def test_a_part_with_files_of_its_own_begins_with_them_and_so_does_a_step_each_time() -> None:
    found = spans(session="{file: a.ogg}", circuit="{file: b.ogg}", row="{file: c.ogg}")
    assert [(of_files(span).files, of_files(span).anchor.seconds) for span in found] == [
        (("a.ogg",), 0),
        (("c.ogg",), 65),
        (("b.ogg",), 120),
        (("c.ogg",), 175),
        (("b.ogg",), 120),
    ]


def test_a_start_of_its_own_is_where_the_part_begins_in_the_files() -> None:
    found = spans(session="{file: tide.ogg}", circuit="{start: 2 min}")
    assert [(of_files(span).start.seconds, of_files(span).anchor.seconds) for span in found] == [
        (0, 0),
        (120, 65),
    ]


def test_how_files_play_goes_with_the_files_that_it_is_written_for() -> None:
    """Another level's files have a tempo and a start of their own, also where their name is the same."""
    found = spans(
        session="{file: a.ogg, start: 8s, tempo: 90 bpm, crossfade: 4s, gain: -1 dB}",
        circuit="{file: b.ogg, start: 5s, loop: off}",
        row="{file: a.ogg}",
    )
    sources = [of_files(span) for span in found[:3]]
    assert [(s.start.seconds, s.bpm, s.crossfade, s.loop) for s in sources] == [
        (8, 90, Duration(Fraction(4)), True),
        (0, None, None, True),
        (5, None, None, False),
    ]
    assert {span.gain_db for span in found} == {-1}


def test_a_nearer_tempo_is_that_of_the_files_and_of_its_counts() -> None:
    text = """
        session: Quay
        bed: {file: tide.ogg, tempo: 60 bpm}
        calls: {start: off, finish: off}
        parts:
          - {part: One, steps: [{move: Row, work: 32 counts}]}
          - {part: Two, bed: {tempo: 120 bpm}, steps: [{move: Row, work: 32 counts}]}
    """
    found = compiled(parse_plan(dedent(text))).bed
    assert seconds(found) == [(0, 37), (37, 53)]
    assert [of_files(span).bpm for span in found] == [60, 120]


def test_counts_of_the_pulse_fill_whole_phrases() -> None:
    text = """
        session: Quay
        bed: {pulse: 128 bpm}
        calls: {announce: off, start: off, finish: off}
        parts:
          - part: One
            steps:
              - {talk: 16 counts}
              - {move: Row, work: 64 counts}
              - {move: Squat, work: 32 counts}
    """
    found = compiled(parse_plan(dedent(text)))
    (span,) = found.bed
    assert isinstance(span.source, PulseSource)
    beat = Fraction(60, 128)
    works = [phase for phase in found.phases if phase.kind == "work"]
    assert [(phase.start - span.source.anchor).seconds / beat for phase in works] == [0, 64]


@pytest.mark.parametrize(
    ("bed", "fade_in", "fade_out"),
    [
        ("{pulse: 120 bpm}", "0.01", "2"),
        ("{file: tide.ogg}", "0.5", "2"),
        ("{file: tide.ogg, fade in: 3s, fade out: 0s}", "3", "0"),
        # The circuit lasts 220 s; both fit it, in the proportion in which they are written.
        ("{pulse: 120 bpm, fade in: 300s, fade out: 100s}", "165", "55"),
    ],
)
def test_fades_at_the_ends(bed: str, fade_in: str, fade_out: str) -> None:
    (span,) = spans(circuit=bed)
    assert (span.fade_in.seconds, span.fade_out.seconds) == (Fraction(fade_in), Fraction(fade_out))


def fade_notes(**beds: str) -> list[tuple[str, str, str | None]]:
    notes = timeline(**beds).notes
    return [(str(note.place), note.message, note.hint) for note in notes if note.severity == "warning"]


def test_fades_that_do_not_fit_are_told_on_the_coachs_line() -> None:
    """The circuit lasts 220 s; the place is that of the longer fade."""
    assert fade_notes(circuit="{pulse: 120 bpm, fade in: 300s, fade out: 100s}") == [
        (
            "quay.yaml:12:36",
            "the music at 1:05 lasts 3 min 40 s, too little for fades of 6 min 40 s; "
            "they are shortened to fit",
            "write shorter ones, at most 3 min 40 s in and out together",
        )
    ]
    assert fade_notes(circuit="{pulse: 120 bpm, fade in: 120s, fade out: 100s}") == []


def test_where_it_is_tightest_is_told_once_a_line() -> None:
    """The fade of the session holds for the welcome, 65 s, and for the row, 55 s twice."""
    beds = {"session": "{pulse: 120 bpm, fade out: 62s}", "circuit": "off", "row": "{pulse: 96 bpm}"}
    ((place, message, _),) = fade_notes(**beds)
    assert place == "quay.yaml:3:33"
    assert message.startswith("the music at 1:05 lasts 55 s, too little for fades of ")
    assert fade_notes(**{**beds, "row": "{pulse: 96 bpm, fade out: 54s}"}) == []


def test_fades_that_nobody_wrote_give_way_untold() -> None:
    text = "{session: a, lead-in: 0s, bed: {file: b.ogg}, parts: [{part: c, steps: [{rest: 2s}]}]}"
    found = compiled(parse_plan(text))
    assert [(span.fade_in.seconds, span.fade_out.seconds) for span in found.bed] == [
        (Fraction("0.4"), Fraction("1.6"))
    ]
    assert found.notes == ()


def test_a_fade_that_gives_way_to_other_music_is_none_too_long() -> None:
    """The circuit follows at once: the 300 s are for an end before silence, which does not come."""
    assert fade_notes(welcome="{pulse: 96 bpm, fade out: 300s}", circuit="{pulse: 120 bpm}") == []


def test_files_that_are_over_earlier_end_their_spans() -> None:
    spans_ = spans(session="{file: a.ogg, loop: off, fade out: 6s}", row="{gain: -6 dB}")
    ends = {span.source: Instant(Fraction(100)) for span in spans_}
    cut = until_ends(spans_, ends)
    assert seconds(cut) == [(0, 65), (65, 100)]
    assert [span.fade_out.seconds for span in cut] == [0, 6]
    assert until_ends(spans_, {}) == spans_


def test_other_music_joins_at_once_and_does_not_click() -> None:
    one, two = spans(welcome="{file: a.ogg}", circuit="{pulse: 120 bpm, fade in: 4s}")
    join = Duration(Fraction(1, 100))
    assert one.end == two.start
    assert (one.fade_in, one.fade_out) == (Duration(Fraction(1, 2)), join)
    assert (two.fade_in, two.fade_out) == (join, Duration(Fraction(2)))


def test_defaults_are_the_published_ones() -> None:
    """10 LU at least and 4 LU more for lay listeners: Torcoli and others, JAES 67(12), 2019."""
    (*_, span) = spans(session="{pulse: 120 bpm}")
    assert span.under_speech_db == DEFAULT_UNDER_SPEECH_DB == -(10 + 4)
    assert span.gain_db == 0
    assert DEFAULT_MOOD in MOODS


def test_spans_are_in_order_none_overlaps_and_none_passes_the_end() -> None:
    beds = {"session": "{pulse: 96 bpm}", "welcome": "{file: a.ogg}", "row": "off"}
    for left_out in (None, *beds):
        found = timeline(**{level: bed for level, bed in beds.items() if level != left_out})
        assert all(span.start < span.end for span in found.bed)
        assert all(one.end <= two.start for one, two in zip(found.bed, found.bed[1:], strict=False))
        assert all(span.fade_in + span.fade_out <= span.end - span.start for span in found.bed)
        assert found.bed[-1].end <= found.end


def test_bed_moves_no_cue_and_no_phase() -> None:
    silent, loud = timeline(), timeline(session="{pulse: 120 bpm}", row="off")
    assert [(cue.mark, cue.phase_index) for cue in silent.cues] == [
        (cue.mark, cue.phase_index) for cue in loud.cues
    ]
    assert [(phase.start, phase.end) for phase in silent.phases] == [
        (phase.start, phase.end) for phase in loud.phases
    ]


def faults(**beds: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        timeline(**beds)
    return [f"{d.place} {d.message}" for d in caught.value.diagnostics]


def test_words_about_music_where_none_plays_are_named() -> None:
    assert faults(session="{gain: -3 dB}") == ["quay.yaml:3:7 no music plays here"]
    assert faults(welcome="{mood: calm}", circuit="{pulse: 96 bpm}") == ["quay.yaml:7:11 no music plays here"]
    assert faults(circuit="off", row="{gain: 1 dB}") == ["quay.yaml:15:49 no music plays here"]
    assert faults(session="off", circuit="{gain: 1 dB}") == ["quay.yaml:12:11 no music plays here"]


def test_words_for_music_that_a_lower_level_names_are_none_too_many() -> None:
    assert [of_pulse(span)[1] for span in spans(session="{mood: calm}", row="{pulse: 96 bpm}")] == [
        "calm"
    ] * 2
    assert len(spans(circuit="{gain: -3 dB}", row="{pulse: 96 bpm}")) == 2


def test_settings_of_a_place_tell_the_tempo_at_which_counts_are_counted() -> None:
    session = timeline(session="{pulse: 96 bpm}", welcome="{file: a.ogg}", circuit="{file: a, tempo: 80 bpm}")
    welcome, circuit = session.session.parts
    bpm = [
        settings and settings.bpm
        for settings in (bed_settings(session.session, part, None) for part in (None, welcome, circuit))
    ]
    assert bpm == [96, None, 80]
