"""What a diagnostic says would fit, does fit: generated plans are changed as their hints say."""

from __future__ import annotations

from fractions import Fraction
from functools import partial

from hypothesis import event
from hypothesis import strategies as st

from cuetrack.conform.fit import Shortening, arranged
from cuetrack.errors import ConformError, Diagnostic
from cuetrack.speech.length import SpokenLength
from cuetrack.speech.phrases.wording import phrase_text
from cuetrack.timeline.compile import compiled
from cuetrack.timeline.cues import Phrase
from tests.helpers.fake_voice import FakeVoice, wording
from tests.helpers.plan_edits import followed
from tests.helpers.plans import Plan, given_examples, plans, session_of

RATE_HZ = 1000
given = given_examples(100)


def refusals(plan: Plan, voice: FakeVoice, *, shortened: bool = False) -> tuple[Diagnostic, ...]:
    shortening = Shortening(terse, partial(length_at, voice)) if shortened else None
    try:
        arranged(compiled(session_of(plan)), wording, voice, RATE_HZ, shortening=shortening)
    except ConformError as error:
        return error.diagnostics
    return ()


def terse(phrase: Phrase) -> str:
    return phrase_text(phrase.key, phrase.slots, style="terse")


def length_at(voice: FakeVoice, text: str, tempo: Fraction) -> SpokenLength:
    """Both measures to the nearest frame, as a clip that is spoken faster has them."""
    usual = voice[text]
    return SpokenLength(*(round(frames / tempo) for frames in (usual.frames, usual.onset_frames)))


def single_rounds(plan: Plan) -> Plan:
    """One round each: a place for a rest is then before one move at one time."""
    for part in plan["parts"]:
        part["rounds"] = 1
    return plan


@given(plans(most_steps=3).map(single_rounds), st.sampled_from((25, 55, 90)), st.booleans())
def test_room_or_point_that_a_hint_names_is_enough(plan: Plan, pace_ms: int, shortened: bool) -> None:
    voice = FakeVoice(RATE_HZ, pace_ms=pace_ms)
    found = refusals(plan, voice, shortened=shortened)
    for refusal in found:
        changed = followed(plan, refusal)
        if changed is None:
            event("no room would help")
            continue
        event(f"{refusal.message.split(chr(34))[0]}: {str(refusal.hint).split(' of ')[0][:12]}")
        left = refusals(changed, voice, shortened=shortened)
        # Where other words did not fit either, they may now stand in the way.
        same = [
            other for other in left if other.message.split(" takes")[0] == refusal.message.split(" takes")[0]
        ]
        assert len(found) > 1 or not same, (refusal, same)


@given(plans(most_steps=3).map(single_rounds), st.sampled_from((55, 90)))
def test_following_hints_one_by_one_comes_to_an_end(plan: Plan, pace_ms: int) -> None:
    voice = FakeVoice(RATE_HZ, pace_ms=pace_ms)
    for _ in range(25):
        changes = (followed(plan, refusal) for refusal in refusals(plan, voice))
        changed = next((change for change in changes if change is not None), None)
        if changed is None:
            return
        plan = changed
    raise AssertionError("the hints lead in circles")
