"""Times left open are chosen so that a session lasts what was promised, to the frame."""

from __future__ import annotations

import random
from fractions import Fraction
from textwrap import dedent

import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from cuetrack import build
from cuetrack.errors import PlanError
from cuetrack.plan.text import parse_plan, read_plan
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import compiled
from tests.helpers.fake_voice import spoken


def timeline_of(folder, text):
    plan = folder / "quay.yaml"
    plan.write_text(dedent(text), encoding="utf-8")
    return compiled(read_plan(plan))


def lengths(timeline, kind):
    return [phase.length.seconds for phase in timeline.phases if phase.kind == kind and phase.part]


PLAN = """
session: Quay
length: {length}
lead-in: 10s
lead-out: 3s
calls: {{announce: off}}
parts:
  - part: Circuit
    rounds: 3
    rest: 20s..40s
    steps:
      - {{move: Row, work: 40s}}
      - {{move: Press, sides: both, change: 5s..15s, work: {work}}}
"""


# The usual times: 3 rounds of 40 s and two sides of 30 s, 5 rests of 30 s, 3 changes of 10 s.
USUAL = 10 + 3 + 3 * (40 + 2 * 30) + 5 * 30 + 3 * 10


def test_nothing_changes_where_the_usual_times_keep_the_promise(tmp_path):
    timeline = timeline_of(tmp_path, PLAN.format(length=f"{USUAL}s", work="30s"))
    assert (lengths(timeline, "rest")[:5], lengths(timeline, "change")) == ([30] * 5, [10] * 3)


@pytest.mark.parametrize("by", [-65, -64, -13, -1, 1, 2, 7, 64, 65])
def test_rests_of_one_line_stay_alike_and_the_end_is_the_promise(tmp_path, by):
    """From the shortest session to the longest, every second between can be kept."""
    total = USUAL + by
    timeline = timeline_of(tmp_path, PLAN.format(length=f"{total}s", work="30s"))
    for rate_hz in (44_100, 48_000):
        assert timeline.end.to_frame(rate_hz) == total * rate_hz
    rests, changes = lengths(timeline, "rest")[:5], lengths(timeline, "change")
    assert max(rests) - min(rests) <= 1
    assert max(changes) - min(changes) <= 1
    assert (min(rests) == max(rests)) or (min(changes) == max(changes))
    assert all(length.denominator == 1 for length in (*rests, *changes))
    assert {chosen.seconds for chosen in timeline.chosen} == {tuple(changes), tuple(rests)}


@pytest.mark.parametrize(("by", "least"), [(-66, 428), (66, 558)])
def test_a_promise_out_of_reach_names_the_shortest_and_the_longest_session(tmp_path, by, least):
    total = USUAL + by
    with pytest.raises(PlanError) as caught:
        timeline_of(tmp_path, PLAN.format(length=f"{total}s", work="30s"))
    (diagnostic,) = caught.value.diagnostics
    assert "the session can last 7 min 8 s to 9 min 18 s, not" in diagnostic.message
    assert (diagnostic.place.line, diagnostic.hint.partition(" in all")[0]) == (
        3,
        "let times be shorter by 1 s" if by < 0 else "let times be longer by 1 s",
    )
    assert f"`length: {'7 min 8 s' if least == 428 else '9 min 18 s'}`" in diagnostic.hint
    assert "(rest after a move of 'Circuit'; change of side in 'Press')" in diagnostic.hint


@pytest.mark.parametrize("by", range(-9, 10))
def test_both_sides_of_a_move_always_have_the_same_time(tmp_path, by):
    total = USUAL + by
    timeline = timeline_of(tmp_path, PLAN.format(length=f"{total}s", work="28s..32s"))
    sides = {
        side: [phase.length for phase in timeline.phases if phase.side == side and phase.kind == "work"]
        for side in ("left", "right")
    }
    assert sides["left"] == sides["right"]
    assert timeline.end.seconds == total


@pytest.mark.parametrize(("rounds", "length"), [(2, "2:20"), (3, "3:38"), (4, "4:46")])
def test_rounds_left_open_come_nearest_to_their_own_number(tmp_path, rounds, length):
    text = """
    session: Quay
    length: {length}
    lead-in: 10s
    lead-out: 10s
    parts:
      - part: Circuit
        rounds: 3
        rest: 30s
        flex: {{rounds: 2..4, rest: 2s}}
        steps: [{{move: Row, work: 45s}}]
    """
    timeline = timeline_of(tmp_path, text.format(length=length))
    assert timeline.session.parts[0].rounds == rounds
    (chosen,) = timeline.rounds
    assert (chosen.part, chosen.rounds, chosen.fewest, chosen.most, chosen.usual) == (
        "Circuit",
        rounds,
        2,
        4,
        3,
    )
    assert str(chosen.place).endswith("quay.yaml:10:20")
    assert [phase.round for phase in timeline.phases if phase.kind == "work"] == list(range(1, rounds + 1))
    assert timeline.end.to_frame(48_000) == timeline.session.length.length.seconds * 48_000


def test_a_gap_between_two_numbers_of_rounds_is_told(tmp_path):
    text = """
    session: Quay
    length: 3:30
    parts:
      - part: Circuit
        flex: {rounds: 2..3}
        rounds: 2
        rest: 30s
        steps: [{move: Row, work: 60s}]
    """
    with pytest.raises(PlanError, match=r"can last 2 min 37 s or 4 min 7 s, not 3") as caught:
        timeline_of(tmp_path, text)
    (fault,) = caught.value.diagnostics
    assert fault.hint == "let times be shorter by 37 s in all; or promise `length: 4 min 7 s`"
    for length, hint, nearest in (
        ("6:00", "longer by 1 min 53 s in all, or allow more", "4 min 7 s"),
        ("2:00", "shorter by 37 s in all, or allow fewer", "2 min 37 s"),
    ):
        with pytest.raises(PlanError) as caught:
            timeline_of(tmp_path, text.replace("3:30", length))
        told = f"let times be {hint} rounds of 'Circuit'; or promise `length: {nearest}`"
        assert [fault.hint for fault in caught.value.diagnostics] == [told]


def test_a_fraction_of_a_second_goes_to_one_time_and_the_end_is_exact(tmp_path):
    """32 counts at 128 bpm are 15 s, and 16 counts at 97 bpm are no whole number."""
    text = """
    session: Quay
    length: 2:00
    lead-in: 5s
    lead-out: 2s
    parts:
      - part: Circuit
        rounds: 2
        rest: 10s..60s
        steps: [{move: Row, work: 16 counts, tempo: 97 bpm}, {move: Press, work: 32 counts, tempo: 128 bpm}]
    """
    timeline = timeline_of(tmp_path, text)
    assert timeline.end.seconds == 120
    rests = lengths(timeline, "rest")[:3]
    assert sum(rest.denominator != 1 for rest in rests) == 1


def test_words_need_their_time(tmp_path):
    """A rest is never chosen shorter than what is said in it, if its range has room."""
    plan = tmp_path / "quay.yaml"
    plan.write_text(
        dedent("""
        session: Quay
        length: {length}
        lead-in: 10s
        lead-out: 2s
        parts:
          - part: Circuit
            steps:
              - {move: Row, work: 10s..40s, rest: 2s..24s}
              - move: Half-kneeling press
                setup: One knee on the mat, band under the front foot, look along the quay.
                work: 30s
        """).replace("{length}", "1:12"),
        encoding="utf-8",
    )
    known = build.compile_plan(plan)
    assert known.timeline.end.seconds == 72
    rest = next(chosen for chosen in known.timeline.chosen if chosen.name.startswith("rest"))
    assert rest.needed > rest.shortest == Duration(Fraction(2))
    assert Duration(rest.seconds[0]) >= rest.needed


@given(
    rests=st.lists(st.tuples(st.integers(5, 40), st.integers(0, 30)), min_size=1, max_size=5),
    rounds=st.integers(1, 4),
    share=st.floats(0, 1),
)
@settings(max_examples=150, deadline=None)
def test_any_promise_between_the_limits_is_kept(tmp_path_factory, rests, rounds, share):
    steps = "\n".join(
        f"      - {{move: M{index}, work: 20s, rest: {shortest}s..{shortest + more}s}}"
        for index, (shortest, more) in enumerate(rests)
    )
    fixed = 5 + 2 + rounds * 20 * len(rests)
    least = fixed + rounds * sum(shortest for shortest, _ in rests)
    total = least + round(share * rounds * sum(more for _, more in rests))
    text = (
        f"session: Quay\nlength: {total}s\nlead-in: 5s\nlead-out: 2s\ncalls: {{announce: off}}\n"
        f"parts:\n  - part: A\n    rounds: {rounds}\n    steps:\n{steps}\n"
    )
    plan = tmp_path_factory.mktemp("any") / "quay.yaml"
    plan.write_text(text, encoding="utf-8")
    timeline = compiled(read_plan(plan))
    assert timeline.end.seconds == total
    for phase in timeline.phases:
        if phase.flexible is not None:
            assert phase.flexible.shortest <= phase.length <= phase.flexible.longest


RATES_HZ = (44_100, 48_000)


def random_plan(rng: random.Random) -> str:
    """A plan that leaves rests, changes, work of both sides and rounds open; counts fill no whole seconds."""
    steps = []
    for number in range(rng.randint(1, 5)):
        low = rng.randint(0, 30)
        rest = f", rest: {low}s..{low + rng.randint(1, 30)}s" if rng.random() < 0.5 else ""
        sides = f", sides: both, change: {rng.choice(['5s', '3s..9s'])}" if rng.random() < 0.4 else ""
        work = rng.choice(
            ["40s", "20s..35s", "16 counts, tempo: 97 bpm", "72/8.5 s", "3 reps, tempo: 2-1-x-0"]
        )
        steps.append(f"      - {{move: M{number}, work: {work}{sides}{rest}}}\n")
    flex = rng.choice(["", "    flex: 5s\n", "    flex: {rest: 10s, rounds: 1..5}\n"])
    return (
        "session: Quay\nlead-in: 8s\n"
        "calls: {announce: off, side: off, start: {count: 2}, finish: off}\nparts:\n"
        f"  - part: A\n    rounds: {rng.randint(1, 4)}\n    rest: {rng.choice(['20s..40s', '15s'])}\n{flex}"
        f"    steps:\n{''.join(steps)}"
        "  - {part: B, steps: [{talk: 10s..60s}, {move: Last, work: 20s}]}\n"
    )


@pytest.mark.parametrize("seed", range(10))
def test_the_last_frame_of_every_solved_plan_is_the_promised_one(seed):
    """1,000 random plans: of each that can keep its promise, the arrangement ends on that frame."""
    rng = random.Random(seed)
    solved = 0
    for _ in range(100):
        text = random_plan(rng)
        try:
            usual = compiled(parse_plan(text)).end.seconds
            total = round(usual) + rng.randint(-40, 40)
            timeline = compiled(parse_plan(text.replace("lead-in", f"length: {total}s\nlead-in", 1)))
        except PlanError:
            continue
        solved += 1
        for rate_hz in RATES_HZ:
            arrangement = spoken(timeline, rate_hz)
            assert arrangement.frames == timeline.end.to_frame(rate_hz) == total * rate_hz
        for phase in timeline.phases:
            if phase.flexible is not None:
                assert phase.flexible.shortest <= phase.length <= phase.flexible.longest
    assert solved >= 70


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_file_of_a_solved_plan_has_the_promised_frames(tmp_path, rate_hz):
    text = PLAN.format(length="1:51", work="10s..12s").replace("rounds: 3", "rounds: 1")
    plan = tmp_path / "quay.yaml"
    plan.write_text(text, encoding="utf-8")
    rendered = build.render(plan, tmp_path / "quay.wav", rate_hz=rate_hz, channels=1)
    assert rendered.warnings == ()
    assert soundfile.info(str(tmp_path / "quay.wav")).frames == 111 * rate_hz
