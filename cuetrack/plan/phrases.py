"""Own wordings of what is called: a text, texts that take turns, or full and terse ones apart, by key.

The keys are those of the phrase tables; whether a wording's slots are is checked where they are spoken.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler

from cuetrack.document.fields import Line
from cuetrack.document.model import Node

MOST_WORDINGS = 20


def _listed(value: Any) -> Any:
    return value if isinstance(value, list | tuple) else [value]


class _OneOrMany:
    """JSON Schema of a list whose only item may stand without brackets."""

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        many = handler(core_schema)
        return {"anyOf": [many["items"], many]}


_Lines = Annotated[
    tuple[Line, ...],
    Field(min_length=1, max_length=MOST_WORDINGS),
    BeforeValidator(_listed),
    _OneOrMany(),
]


class Wording(Node):
    """Own words for one key; in short the full ones alone."""

    example = '`Easy oars.`, `[Easy oars., Rest now.]` or `{full: "Next, {move}", terse: "{move}"}`'

    full: _Lines = Field(description="What is said; several take turns.")
    terse: _Lines | None = Field(
        None, description="What is said where time is short; the built-in words if not given."
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


class Phrases(Node):
    """Own wordings by what is called; a `[piece]` or a sentence whose slot is empty is left out."""

    example = "`rest: Easy oars.`"

    go: _Own = Field(None, description="The word that starts the work after a spoken count.")
    rest: _Own = Field(None, description="What ends the work where a rest follows.")
    finished: _Own = Field(None, description="What ends the last work.")
    halfway: _Own = Field(None, description="What is called in the middle of the work.")
    time_left: _Own = Field(None, alias="time-left", description="The warning. Slot: {seconds}.")
    change_sides: _Own = Field(None, alias="change-sides", description="The change of side. Slot: {side}.")
    stage: _Own = Field(None, description="The next stage, ahead of it. Slot: {stage}.")
    announce: _Own = Field(None, description=f"What comes next. {_ANNOUNCED}")
    announce_first: _Own = Field(None, alias="announce-first", description=f"The first move. {_ANNOUNCED}")
    last_round: _Own = Field(
        None, alias="last-round", description=f"The first move of the last round. {_ANNOUNCED}"
    )
    tempo_down: _Own = Field(None, alias="tempo-down", description="A lifting tempo: lowering begins.")
    tempo_hold: _Own = Field(None, alias="tempo-hold", description="A lifting tempo: a pause begins.")
    tempo_up: _Own = Field(None, alias="tempo-up", description="A lifting tempo: lifting begins.")
    tempo_fast: _Own = Field(
        None, alias="tempo-fast", description="A lifting tempo: lifting as fast as possible."
    )
    well_done: _Own = Field(None, alias="well-done", description="Praise at the end of a part.")
    series_day: _Own = Field(
        None, alias="series-day", description="The day of a series. Slots: {day}, {days}."
    )
    prompt_part: _Own = Field(
        None, alias="prompt-part", description="For you alone: a part begins. Slots: {part}, {seconds}."
    )
    prompt_work: _Own = Field(
        None, alias="prompt-work", description="For you alone: work begins. Slots: {seconds}, {keywords}."
    )
    prompt_next: _Own = Field(
        None, alias="prompt-next", description="For you alone: what follows. Slots: {move}, {side}."
    )
    prompt_side: _Own = Field(
        None, alias="prompt-side", description="For you alone: which side follows. Slot: {side}."
    )
    prompt_last: _Own = Field(None, alias="prompt-last", description="For you alone: nothing follows.")
    prompt_talk: _Own = Field(
        None, alias="prompt-talk", description="For you alone: your talk. Slots: {seconds}, {keywords}."
    )
    prompt_left: _Own = Field(
        None, alias="prompt-left", description="For you alone: your talk ends. Slot: {seconds}."
    )

    def written(self) -> Iterator[tuple[str, Wording]]:
        """What is worded anew, by its key."""
        for name, field in type(self).model_fields.items():
            wording = getattr(self, name)
            if wording is not None:
                yield field.alias or name, wording
