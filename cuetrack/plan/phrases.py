"""Own wordings of what is called: a text, texts that take turns, or full and terse ones apart, by key.

The keys are those of the phrase tables; whether a wording's slots are is checked where they are spoken.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler

from cuetrack.document.fields import Line
from cuetrack.document.model import Node
from cuetrack.plan.fields import OneOrMany, one_or_many

MOST_WORDINGS = 20


_Lines = Annotated[
    tuple[Line, ...],
    Field(min_length=1, max_length=MOST_WORDINGS),
    BeforeValidator(one_or_many),
    OneOrMany(),
]


class Wording(Node):
    """Own words for one key; in short the full ones alone."""

    example = '`Easy oars.`, `[Easy oars., Rest now.]` or `{full: "Next, {move}", terse: "{move}"}`'

    full: _Lines = Field(
        description="What is said; several take turns.", examples=["Easy oars.", ["Easy oars.", "Rest now."]]
    )
    terse: _Lines | None = Field(
        None,
        description="What is said where time is short; the built-in words if not given.",
        examples=["Rest."],
    )


class _OrFull:
    """JSON Schema of a `Wording` whose short form is its full words alone."""

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        reference = handler(core_schema)
        long = handler.resolve_ref_schema(reference)
        return {"anyOf": [*long["properties"]["full"]["anyOf"], reference]}


def _long_form(value: Any) -> Any:
    return value if isinstance(value, dict | Wording) else {"full": value}


_Own = Annotated[Wording, BeforeValidator(_long_form), _OrFull()] | None
_ANNOUNCED = "Slots: {move}, {side}, {stage}, {option}, {setup}, {equipment}."


def _own(description: str, example: Any, *, alias: str | None = None) -> Any:
    """A key with what it is for, and how it is written."""
    return Field(None, alias=alias, description=description, examples=[example])


class Phrases(Node):
    """Own wordings by what is called; a `[piece]` or a sentence whose slot is empty is left out."""

    example = "`rest: Easy oars.`"

    go: _Own = _own("The word that starts the work after a spoken count.", "Go.")
    rest: _Own = _own("What ends the work where a rest follows.", ["Easy oars.", "Rest now."])
    finished: _Own = _own("What ends the last work.", "Boats up, well done.")
    halfway: _Own = _own("What is called in the middle of the work.", "Half of it.")
    time_left: _Own = _own(
        "The warning. Slot: {seconds}.",
        {"full": "{seconds} to row.", "terse": "{seconds}."},
        alias="time-left",
    )
    change_sides: _Own = _own(
        "The change of side. Slot: {side}.", "Other side. {side} side.", alias="change-sides"
    )
    stage: _Own = _own("The next stage, ahead of it. Slot: {stage}.", "Now {stage}.")
    announce: _Own = _own(
        f"What comes next. {_ANNOUNCED}", "Next on the quay: {move}[, {side}]. {stage}. {setup}"
    )
    announce_first: _Own = _own(
        f"The first move. {_ANNOUNCED}", "We begin with {move}[, {side}]. {setup}", alias="announce-first"
    )
    last_round: _Own = _own(
        f"The first move of the last round. {_ANNOUNCED}", "Last round: {move}[, {side}].", alias="last-round"
    )
    tempo_down: _Own = _own("A lifting tempo: lowering begins.", "Lower.", alias="tempo-down")
    tempo_hold: _Own = _own("A lifting tempo: a pause begins.", "Wait.", alias="tempo-hold")
    tempo_up: _Own = _own("A lifting tempo: lifting begins.", "Drive.", alias="tempo-up")
    tempo_fast: _Own = _own("A lifting tempo: lifting as fast as possible.", "Fast.", alias="tempo-fast")
    well_done: _Own = _own("Praise at the end of a part.", ["Strong work.", "Well rowed."], alias="well-done")
    series_day: _Own = _own(
        "The day of a series. Slots: {day}, {days}.", "Winter, session {day} of {days}.", alias="series-day"
    )
    prompt_part: _Own = _own(
        "For you alone: a part begins. Slots: {part}, {seconds}.", "{part}, {seconds}.", alias="prompt-part"
    )
    prompt_work: _Own = _own(
        "For you alone: work begins. Slots: {seconds}, {keywords}.",
        "{seconds}. {keywords}",
        alias="prompt-work",
    )
    prompt_next: _Own = _own(
        "For you alone: what follows. Slots: {move}, {side}.", "Then {move}[, {side}].", alias="prompt-next"
    )
    prompt_side: _Own = _own(
        "For you alone: which side follows. Slot: {side}.", "Then {side}.", alias="prompt-side"
    )
    prompt_last: _Own = _own("For you alone: nothing follows.", "That is the last.", alias="prompt-last")
    prompt_talk: _Own = _own(
        "For you alone: your talk. Slots: {seconds}, {keywords}.",
        "You talk, {seconds}. {keywords}",
        alias="prompt-talk",
    )
    prompt_left: _Own = _own(
        "For you alone: your talk ends. Slot: {seconds}.", "{seconds} left.", alias="prompt-left"
    )

    def written(self) -> Iterator[tuple[str, Wording]]:
        """What is worded anew, by its key."""
        for name, field in type(self).model_fields.items():
            wording = getattr(self, name)
            if wording is not None:
                yield field.alias or name, wording
