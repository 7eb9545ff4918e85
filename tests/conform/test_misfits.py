"""What does not fit is refused on the coach's own line: by how much, and what would fit. Exact texts.

The arithmetic beside the cases counts seconds: a phrase about a move begins 0.15 s after the boundary
before it at the earliest and ends 0.5 s before the count; between two phrases lie 0.15 s; a counted
word begins 0.05 s before the instant that it counts.
"""

from __future__ import annotations

from textwrap import dedent

import pytest

from cuetrack.conform.arrangement import Arrangement
from cuetrack.errors import ConformError, ExitCode
from cuetrack.plan.text import parse_plan
from tests.helpers.fake_voice import FakeVoice, spoken

RATE_HZ = 1000


def circuit(head: str = "", rest: str = "20s", second: str = "") -> str:
    """Two moves of 30 s with a rest between; further lines go to the session and to the second move."""
    lines = [
        "session: Quay circuit",
        *([head] if head else []),
        "parts:",
        "  - part: Circuit",
        f"    rest: {rest}",
        "    work: 30s",
        "    steps:",
        "      - move: Band row",
        "      - move: Chair squat",
        *([f"        {second}"] if second else []),
    ]
    return "\n".join(lines)


def arranged(plan: str, milliseconds: dict[str, int], *, estimated: bool = False) -> Arrangement:
    voice = FakeVoice(RATE_HZ, milliseconds, onset_ms=50)
    return spoken(parse_plan(plan, "quay.yaml"), RATE_HZ, voice, estimated=estimated)


def refusal(plan: str, milliseconds: dict[str, int]) -> str:
    with pytest.raises(ConformError) as error:
        arranged(plan, milliseconds)
    assert error.value.exit_code == ExitCode.ERRORS
    return str(error.value)


NEXT = "Next: Chair squat. Feet apart."
SETUP = "setup: Feet apart."


def test_announcement_too_long_for_its_rest() -> None:
    """0.15 + 4.21 + 0.5 + 3 = 7.86; of 5 s remain 5 - 3 - 0.5 - 0.15 = 1.35, and 4.21 - 1.35 = 2.86."""
    plan = circuit(rest="5s", second=SETUP)
    assert refusal(plan, {NEXT: 4210}) == expected("""\
        quay.yaml:8:15: error: the announcement "Next: Chair squat. Feet apart." takes 4.3 s, 2.9 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a rest of 8 s or more before 'Chair squat' fits it; or shorten the text
        """)
    assert refusal(circuit(rest="7s", second=SETUP), {NEXT: 4210})
    assert arranged(circuit(rest="8s", second=SETUP), {NEXT: 4210})
    assert arranged(plan, {NEXT: 1350})
    assert refusal(plan, {NEXT: 1351})


def test_a_built_in_count_that_was_cut_short_grows_with_the_rest() -> None:
    """In 3 s only 2, 1 are counted; the hint leaves time for 3, 2, 1: 0.15 + 0.8 + 0.5 + 3 = 4.45."""
    assert refusal(circuit(rest="3s", second=SETUP), {NEXT: 800}) == expected("""\
        quay.yaml:8:15: error: the announcement "Next: Chair squat. Feet apart." takes 0.8 s, 0.5 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a rest of 5 s or more before 'Chair squat' fits it; or shorten the text
        """)
    assert refusal(circuit(rest="4s", second=SETUP), {NEXT: 800})
    assert arranged(circuit(rest="5s", second=SETUP), {NEXT: 800})


def test_announcement_with_no_rest_before_it() -> None:
    """Of Row's 30 s "ten seconds", which was written, leaves what lies before it: 20 - 0.15 - 0.15 = 19.7."""
    plan = circuit("calls: {finish: {warn: 10s}}", rest="0s", second=SETUP)
    long = {NEXT: 22_000, "Ten seconds.": 700}
    assert refusal(plan, long) == expected("""\
        quay.yaml:9:15: error: the announcement "Next: Chair squat. Feet apart." takes 22 s, 2.3 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a rest of 27 s or more before 'Chair squat' fits it; or shorten the text
        """)
    assert arranged(plan.replace("rest: 0s", "rest: 27s"), long)


def test_announcement_over_all_of_the_work_before() -> None:
    """30 - 3 - 0.5 - 0.15 = 26.35. A new rest needs 0.15 + 27 + 0.5 + 3 and a second for words at its edges.

    The built-in "ten seconds" gives way to it.
    """
    said = refusal(circuit(rest="0s", second=SETUP), {NEXT: 27_000})
    assert said == expected("""\
        quay.yaml:8:15: error: the announcement "Next: Chair squat. Feet apart." takes 27 s, 0.7 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a rest of 32 s or more before 'Chair squat' fits it; or shorten the text
        """)
    assert arranged(circuit(rest="0s", second=SETUP), {NEXT: 26_350})
    assert arranged(circuit(rest="32s", second=SETUP), {NEXT: 27_000})


def test_announcement_before_a_session_that_begins_at_once() -> None:
    """0.15 + 0.8 + 0.5 + 3 = 4.45."""
    first = {"First: Band row.": 800}
    assert refusal(circuit("lead-in: 0s"), first) == expected("""\
        quay.yaml:8:15: error: the announcement "First: Band row." takes 0.8 s, and 1.5 s more are needed
            - move: Band row
                    ^^^^^^^^
            hint: a lead-in of 5 s or more before 'Band row' fits it; or shorten the text
        """)
    assert arranged(circuit("lead-in: 5s"), first)


def test_announcement_after_a_talk() -> None:
    """The talk is the longest of what lies before the move: 3 + 2 s leave 0.15 + 5 + 0.5 + 3 - 2 = 6.65."""
    plan = circuit(rest="2s").replace("      - move: Chair", "      - talk: {}\n      - move: Chair")
    assert refusal(plan.format("3s"), {"Next: Chair squat.": 5000}) == expected("""\
        quay.yaml:9:15: error: the announcement "Next: Chair squat." takes 5 s, 3.7 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a talk of 7 s or more before 'Chair squat' fits it; or shorten the text
        """)
    assert arranged(plan.format("7s"), {"Next: Chair squat.": 5000})


def test_long_text_is_quoted_in_part() -> None:
    text = "Feet apart, hands on the band, " * 5
    said = refusal(circuit(rest="5s", second=f"setup: {text}"), {})
    assert '"Next: Chair squat. Feet apart, hands on the band, Feet apar…" takes' in said


def test_stage_call_too_long_for_the_stage_before() -> None:
    """The stage of 2 s is over where the call has to be: 0.4 + 2 = 2.4."""
    plan = circuit(second="stages: [{slow: %s}, {paused: 9s}]")
    assert refusal(plan % "2s", {"Paused.": 400}) == expected("""\
        quay.yaml:9:31: error: the stage call "Paused." takes 0.4 s, and 0.4 s more are needed
            stages: [{slow: 2s}, {paused: 9s}]
                                  ^^^^^^
            hint: a stage of 3 s or more before 'paused' fits it; or call it later with a shorter `ahead:`
        """)
    assert arranged(plan % "3s", {"Paused.": 400})


CHANGE = "Change sides. Right side."


def test_change_of_side_too_long_for_the_change() -> None:
    """0.15 + 2 + 0.5 = 2.65; by tones the call may lie over the count."""
    plan = circuit(second="sides: both\n        change: {}")
    assert refusal(plan.format("2s"), {CHANGE: 2000}) == expected("""\
        quay.yaml:9:16: error: the change of side "Change sides. Right side." takes 2 s, 0.7 s too long
            sides: both
                   ^^^^
            hint: a change of 3 s or more in 'Chair squat' fits it; or write `side: off`
        """)
    assert arranged(plan.format("3s"), {CHANGE: 2000})


def test_change_of_side_before_a_spoken_count() -> None:
    """Before "three" lie 0.15 + 2 + 0.15 + 0.05 + 3 = 5.35."""
    plan = circuit("calls: {start: {count: 3, by: voice}}", second="sides: both\n        change: %s")
    assert refusal(plan % "5s", {CHANGE: 2000}) == expected("""\
        quay.yaml:10:16: error: the change of side "Change sides. Right side." takes 2 s, 0.4 s too long
            sides: both
                   ^^^^
            hint: a change of 6 s or more in 'Chair squat' fits it; or write `side: off`
        """)
    assert arranged(plan % "6s", {CHANGE: 2000})


def test_warning_in_the_way_of_a_spoken_count() -> None:
    """A warning may come up to a second early and has 1 - 0.05 - 0.15 = 0.8 s before "three"."""
    plan = circuit("calls: {finish: {warn: 3s, count: 3, by: voice}}")
    assert refusal(plan, {"Three seconds.": 900}) == expected("""\
        quay.yaml:2:24: error: the warning "Three seconds." takes 0.9 s, 0.1 s too long
            calls: {finish: {warn: 3s, count: 3, by: voice}}
                                   ^^
            hint: warn at another time, or write `warn: off`
        """)
    assert arranged(plan, {"Three seconds.": 800})
    assert arranged(plan.replace("warn: 3s", "warn: off"), {})


def test_halfway_in_the_way_of_a_stage_call() -> None:
    """Halfway of 30 s is called at 14 to 17 s; the stage call of 3 s ends at 19 - 2 = 17 s."""
    plan = circuit("calls: {halfway: on}", second="stages: [{slow: 19s}, {fast: 11s}]")
    assert refusal(plan, {"Fast.": 3000, "Halfway.": 1200}) == expected("""\
        quay.yaml:2:18: error: the halfway call "Halfway." takes 1.2 s, and 1.2 s more are needed
            calls: {halfway: on}
                             ^^
            hint: write `halfway: off`
        """)


def test_own_line_at_the_end_of_its_stretch() -> None:
    """It may begin a second early: 2 of its 2.8 s have room; 27 s of 30 leave 3."""
    plan = circuit(second='cues: [{at: %s, say: "Breathe out."}]')
    assert refusal(plan % "-1s", {"Breathe out.": 2800}) == expected("""\
        quay.yaml:9:31: error: the line "Breathe out." takes 2.8 s, 0.8 s too long
            cues: [{at: -1s, say: "Breathe out."}]
                                  ^^^^^^^^^^^^^^
            hint: `at: 27 s` fits it; or shorten the text
        """)
    assert arranged(plan % "27 s", {"Breathe out.": 2800})


def test_own_line_where_the_announcement_is() -> None:
    """The announcement begins after 0.8 s and takes 6 s: 6.8 + 0.15 = 6.95, which `at: 6s` may reach."""
    plan = circuit(second="").replace(
        "      - move: Chair",
        '      - rest: 15s\n        cues: [{at: %s, say: "Sip of water."}]\n      - move: Chair',
    )
    long = {"Next: Chair squat.": 6000, "Sip of water.": 900}
    assert refusal(plan % "3s", long) == expected("""\
        quay.yaml:9:30: error: the line "Sip of water." takes 0.9 s, and 0.9 s more are needed
            cues: [{at: 3s, say: "Sip of water."}]
                                 ^^^^^^^^^^^^^^^
            hint: `at: 6 s` fits it; or shorten the text
        """)
    line = next(sound for sound in arranged(plan % "6 s", long).placed if sound.text == "Sip of water.")
    assert line.start_frame == 5000 + 30_000 + 6950


def test_own_line_longer_than_its_stretch() -> None:
    said = refusal(circuit(second='cues: [{at: 5s, say: "Breathe out."}]'), {"Breathe out.": 31_000})
    assert said.endswith("    hint: shorten the text")


def test_spoken_count_that_begins_before_its_rest() -> None:
    """By the 0.05 s that "three" needs before its instant."""
    plan = circuit("calls: {announce: off, start: {count: 3, by: voice}}", rest="3s")
    assert refusal(plan, {}) == expected("""\
        quay.yaml:2:39: error: the count "three" takes 0.3 s, 0.1 s too long
            calls: {announce: off, start: {count: 3, by: voice}}
                                                  ^
            hint: a rest of 4 s or more before 'Chair squat' fits it; or leave numbers out, as in `count: [10, 5, 3]`, or count by tones
        """)  # noqa: E501 - as it is printed
    assert arranged(plan.replace("rest: 3s", "rest: 4s"), {})


def test_spoken_count_into_a_second_side_that_follows_at_once() -> None:
    """It would take all of the side before, from its "go" on; a change has to come between them."""
    plan = circuit(
        "calls: {announce: off, side: off, finish: off, start: {count: 3, by: voice}}",
        second="sides: both\n        work: 3s\n        change: %s",
    )
    assert refusal(plan % "0s", {}) == expected("""\
        quay.yaml:2:63: error: the count "three" takes 0.3 s, 0.1 s too long
            calls: {announce: off, side: off, finish: off, start: {count: 3, by: voice}}
                                                                          ^
            hint: a change of 4 s or more in 'Chair squat' fits it; or leave numbers out, as in `count: [10, 5, 3]`, or count by tones
        quay.yaml:2:70: error: the count "Go." takes 0.2 s, and 0.2 s more are needed
            calls: {announce: off, side: off, finish: off, start: {count: 3, by: voice}}
                                                                                 ^^^^^
            hint: count by tones
        """)  # noqa: E501 - as it is printed
    assert arranged(plan % "4s", {})


def test_number_word_longer_than_a_second_is_the_one_to_blame() -> None:
    """Not the number after it, which it runs into."""
    plan = circuit("calls: {announce: off, start: {count: %s, by: voice}}\nlead-in: 30s", rest="30s")
    assert refusal(plan % 17, {"seventeen": 1100, "sixteen": 700}) == expected("""\
        quay.yaml:2:39: error: the count "seventeen" takes 1.1 s, 0.1 s too long
            calls: {announce: off, start: {count: 17, by: voice}}
                                                  ^^
            hint: leave numbers out, as in `count: [10, 5, 3]`, or count by tones
        """)
    assert arranged(plan % "[17, 10, 5, 3]", {"seventeen": 1100})


def test_last_number_runs_into_the_word_on_the_boundary() -> None:
    plan = circuit("calls: {announce: off, finish: {warn: off, count: 1, by: voice}}")
    assert refusal(plan, {"one": 1001}).splitlines()[0].endswith('"one" takes 1.1 s, 0.1 s too long')
    assert arranged(plan, {"one": 1000})


def test_word_on_the_boundary_is_longer_than_what_follows() -> None:
    plan = circuit("calls: {announce: off, finish: {by: voice}}", rest="0.3s")
    assert refusal(plan, {"Rest.": 400}) == expected("""\
        quay.yaml:2:37: error: the count "Rest." takes 0.4 s, 0.1 s too long
            calls: {announce: off, finish: {by: voice}}
                                                ^^^^^
            hint: a rest of 1 s or more after 'Band row' fits it; or count by tones
        """)
    assert arranged(plan.replace("0.3s", "1s"), {"Rest.": 400})


def test_go_before_a_session_that_begins_at_once() -> None:
    plan = circuit("calls: {announce: off, start: {by: voice}}\nlead-in: 0s")
    assert refusal(plan, {}) == expected("""\
        quay.yaml:2:36: error: the count "Go." takes 0.2 s, 0.1 s too long
            calls: {announce: off, start: {by: voice}}
                                               ^^^^^
            hint: a lead-in of 1 s or more before 'Band row' fits it; or count by tones
        """)
    assert arranged(plan.replace("lead-in: 0s", "lead-in: 1s"), {})


def test_tone_past_the_end_of_the_session() -> None:
    """The long tone lasts 0.5 s."""
    plan = circuit("lead-out: {}")
    assert refusal(plan.format("0s"), {}) == expected("""\
        quay.yaml:9:15: error: the tone count-long sounds 0.5 s past the session's end
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: `lead-out: 1s` leaves room for it
        """)
    assert refusal(plan.format("0.4s"), {}).splitlines()[0].endswith("sounds 0.1 s past the session's end")
    assert arranged(plan.format("0.5s"), {})
    assert arranged(plan.format("1s"), {})


def test_every_refusal_of_a_plan_at_once_and_each_line_once() -> None:
    """One line of a plan fails in each of four rounds: its worst case is told, once."""
    plan = circuit("calls: {finish: {warn: 3s, count: 3, by: voice}}", rest="5s", second=SETUP)
    said = refusal(
        plan.replace("    rest: 5s", "    rest: 5s\n    rounds: 4"), {NEXT: 4210, "Three seconds.": 900}
    )
    assert [line.split(" takes")[0] for line in said.splitlines() if "error:" in line] == [
        'quay.yaml:2:24: error: the warning "Three seconds."',
        'quay.yaml:9:15: error: the announcement "Last round. Next: Band row."',
        f'quay.yaml:10:15: error: the announcement "{NEXT}"',
    ]


@pytest.mark.parametrize("worst", ["Next: Band row.", "Last round. Next: Band row."])
def test_one_line_in_two_wordings_is_told_in_the_one_that_needs_most(worst: str) -> None:
    plan = circuit(rest="5s").replace("    rest: 5s", "    rest: 5s\n    rounds: 3")
    long = {"Next: Band row.": 2000, "Last round. Next: Band row.": 2000, worst: 3500}
    assert [line for line in refusal(plan, long).splitlines() if "error:" in line] == [
        f'quay.yaml:8:15: error: the announcement "{worst}" takes 3.5 s, 2.2 s too long'
    ]


def test_one_line_about_two_rests_is_told_for_both() -> None:
    plan = circuit("calls: {announce: off, start: {count: 3, by: voice}}", rest="3s")
    said = refusal(plan + "\n      - move: Chair press", {})
    assert "before 'Chair squat' fits" in said
    assert "before 'Chair press' fits" in said


def test_estimated_lengths_give_warnings_and_leave_out_what_may_not_fit() -> None:
    arrangement = arranged(circuit(rest="5s", second=SETUP), {NEXT: 4210}, estimated=True)
    assert [str(warning) for warning in arrangement.warnings] == [
        expected("""\
        quay.yaml:8:15: warning: the announcement "Next: Chair squat. Feet apart." takes about 4.3 s, about 2.9 s too long
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: a rest of 8 s or more before 'Chair squat' fits it; or shorten the text
        """)  # noqa: E501 - as it is printed
    ]
    assert NEXT not in {sound.text for sound in arrangement.placed}
    assert "First: Band row." in {sound.text for sound in arrangement.placed}


def test_tone_past_the_end_is_an_error_also_where_lengths_are_estimated() -> None:
    with pytest.raises(ConformError, match="past the session's end"):
        arranged(circuit("lead-out: 0s"), {}, estimated=True)


def test_built_in_warning_gives_way_with_a_word_about_it() -> None:
    """It may begin at 16 to 18 s of 27; the stage call, which is more important, ends at 20 - 2 = 18 s."""
    plan = circuit(second="stages: [{slow: 20s}, {fast: 7s}]")
    arrangement = arranged(plan, {"Fast.": 3000, "Ten seconds.": 4000})
    assert [str(warning) for warning in arrangement.warnings] == [
        expected("""\
        quay.yaml:8:15: warning: no room for the warning "Ten seconds.", which is built in; it is left out
            - move: Chair squat
                    ^^^^^^^^^^^
            hint: warn at another time, or write `warn: off`
        """)
    ]


def test_built_in_warning_gives_way_to_the_coachs_own_line() -> None:
    """It may begin at 19 to 21 s of 30; the line lies where it was written, from 20 to 24 s."""
    plan = circuit(second='cues: [{at: 20s, say: "Breathe out."}]')
    long = {"Breathe out.": 4000, "Ten seconds.": 1500}
    arrangement = arranged(plan, long)
    (line,) = (sound for sound in arrangement.placed if sound.text == "Breathe out.")
    assert line.start_frame == 5000 + 30_000 + 20_000 + 20_000
    (warning,) = arrangement.warnings
    assert warning.message == 'no room for the warning "Ten seconds.", which is built in; it is left out'
    written = plan.replace("parts:", "calls: {finish: {warn: 10s}}\nparts:")
    assert 'the line "Breathe out." takes' in refusal(written, {**long, "Ten seconds.": 2500})


def expected(text: str) -> str:
    return dedent(text).rstrip("\n")
