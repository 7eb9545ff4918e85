"""The house style, a file `house.yaml` beside plans → what each plan in its folder inherits, key by key.

The plan's own word wins; calls, bed and phrases are joined key by key, as session and part are. What comes
from the house keeps its place, so that a fault in it points at the house's own line.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import Field

from cuetrack.document.beside import followed
from cuetrack.document.fields import Line, Name
from cuetrack.document.located import LocatedMap, Report
from cuetrack.document.model import Node, read_document
from cuetrack.document.source import read_source
from cuetrack.errors import Diagnostic, NamedFileError, Place, PlanError
from cuetrack.plan.fields import Lexicon, LoudnessByMix, MixContents, SpeechStyle
from cuetrack.plan.model import Bed, Calls, CountCall, OffOr, Session, StageCall
from cuetrack.plan.phrases import Phrases
from cuetrack.plan.text import read_plan

HOUSE_FILE = "house.yaml"
DEFAULT_LANGUAGE = "en"
# What is of no use to a plan that is spoken in another language than the house.
_OF_THE_LANGUAGE = ("voice", "language", "lexicon", "phrases")
_JOINED = (Calls, CountCall, StageCall, Phrases)
# What says which music plays, and how files do: it goes with them.
_SOURCE_KEYS = ("pulse", "file", "start", "tempo", "crossfade", "loop")

_N = TypeVar("_N", bound=Node)


def _as_in_a_plan(key: str) -> Any:
    """A key that means what it means in a plan, and is told alike."""
    field = Session.model_fields[key]
    return Field(None, description=field.description, examples=field.examples)


class House(Node):
    """What all plans of a folder have in common."""

    example = "`voice: NAME`, `calls: {start: {count: 5}}`"

    voice: Line | None = _as_in_a_plan("voice")
    language: Name | None = _as_in_a_plan("language")
    style: SpeechStyle | None = _as_in_a_plan("style")
    lexicon: Lexicon | None = _as_in_a_plan("lexicon")
    phrases: Phrases | None = _as_in_a_plan("phrases")
    loudness: LoudnessByMix | None = _as_in_a_plan("loudness")
    mixes: MixContents | None = _as_in_a_plan("mixes")
    coach: Name | None = _as_in_a_plan("coach")
    artwork: Line | None = _as_in_a_plan("artwork")
    comment: Line | None = _as_in_a_plan("comment")
    bed: OffOr[Bed] | None = _as_in_a_plan("bed")
    calls: Calls | None = _as_in_a_plan("calls")

    @classmethod
    def prepared(cls, data: LocatedMap, report: Report) -> LocatedMap:
        """Reports a plan that bears the house's name."""
        if "parts" not in data:
            return data
        message = f"{HOUSE_FILE} is the house style of this folder, and this is a plan"
        hint = "give the plan another name, or write `house: off` into the plans beside it"
        report(Diagnostic("error", message, data.key_places["parts"], hint))
        return data.without([key for key in data if key not in cls.allowed_keys()])

    @classmethod
    def hint_if_empty(cls) -> str:
        """How to begin a house style, or to do without one."""
        return f"write what its plans have in common, like {cls.example}; or remove the file"


def read_in_house(plan: Path, *, allow_outside: bool = False) -> Session:
    """The session in the file `plan`, with the house style beside it unless it says `house: off`.

    Unless `allow_outside`, a house style that is a link has to lead to a file in that folder.

    Raises:
        PlanError: with every mistake in the plan, or in the house's file.
    """
    try:
        session = read_plan(plan)
    except PlanError:
        if plan.name == HOUSE_FILE and read_house(plan.parent, allow_outside=allow_outside) is not None:
            hint = "name one of the plans beside it, which it holds for"
            raise _refused(plan, "this is a house style, not a plan", hint) from None
        raise
    house = read_house(plan.parent, allow_outside=allow_outside) if session.house else None
    return session if house is None else with_house(session, house)


def read_house(folder: Path, *, allow_outside: bool = False) -> House | None:
    """The house style of `folder`; None where there is none.

    Raises:
        PlanError: with every mistake in its file.
    """
    path = folder / HOUSE_FILE
    if path.is_dir():
        raise _refused(path, "this is a folder, and no house style", "give it another name")
    if path.exists():
        try:
            followed(HOUSE_FILE, path, None if allow_outside else folder)
        except NamedFileError as error:
            raise _refused(path, str(error), error.hint) from None
        return read_document(read_source(path), House)
    # A link that leads nowhere was meant: it is refused, not passed over.
    if path.is_symlink():
        raise _refused(path, "this link leads nowhere", "mend it, or remove it")
    return None


def _refused(path: Path, message: str, hint: str) -> PlanError:
    return PlanError([Diagnostic("error", message, Place(str(path), 1, 1, 1, ""), hint)])


def with_house(session: Session, house: House) -> Session:
    """`session` with what it does not say itself from `house`.

    A session in another language inherits neither voice, lexicon nor phrases.
    """
    keys = [key for key in House.model_fields if key in house.model_fields_set]
    if session.language not in (None, house.language or DEFAULT_LANGUAGE):
        keys = [key for key in keys if key not in _OF_THE_LANGUAGE]
    if session.bed is None and not _has_music(house.bed) and not _names_music(session):
        # A level or a fade in the house is no mistake in a plan without music.
        keys = [key for key in keys if key != "bed"]
    return _joined(session, house, keys)


def _has_music(bed: Bed | Literal["off"] | None) -> bool:
    return isinstance(bed, Bed) and bed.names_music


def _names_music(session: Session) -> bool:
    """Whether a part or a step says which music plays."""
    return any(
        _has_music(part.bed) or any(_has_music(step.bed) for step in part.steps) for part in session.parts
    )


def _joined(own: _N, inherited: Node, keys: Iterable[str]) -> _N:
    """`own` with the `keys` of `inherited` that it does not give itself, their places kept."""
    values: dict[str, Any] = {}
    places = dict(own._value_places)
    for key in keys:
        theirs = getattr(inherited, key)
        mine = getattr(own, key) if key in own.model_fields_set else None
        value = _both(mine, theirs)
        if value is None or value is mine:
            continue
        values[key] = value
        if mine is None:
            written = type(inherited).model_fields[key].alias or key
            if (place := inherited.place_of(written)) is not None:
                places[written] = place
    joined = own.model_copy(update=values)
    joined._value_places = places
    return joined


def _both(mine: Any, theirs: Any) -> Any:
    """The nearer value; what has keys is joined by them."""
    if mine is None or theirs is None:
        return theirs if mine is None else mine
    if isinstance(mine, Bed) and isinstance(theirs, Bed):
        keys = [key for key in Bed.model_fields if not (mine.names_music and key in _SOURCE_KEYS)]
        return _joined(mine, theirs, keys)
    if isinstance(mine, _JOINED) and isinstance(theirs, _JOINED):
        return _joined(mine, theirs, type(theirs).model_fields)
    if isinstance(mine, dict) and isinstance(theirs, dict):
        return {**theirs, **mine}
    return mine
