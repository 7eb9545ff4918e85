"""The mixes that one plan gives: what each holds and how loud it becomes, as the plan says or by itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import get_args

from cuetrack.errors import Diagnostic
from cuetrack.plan.fields import MixContent, MixName
from cuetrack.plan.model import Session

MIX_NAMES: tuple[MixName, ...] = get_args(MixName)


@dataclass(frozen=True, slots=True)
class Mix:
    """One mix: the kinds of cue in it, `bed` if it has music, and its integrated loudness."""

    name: MixName
    contents: frozenset[MixContent]
    loudness_lufs: Fraction


_CALLED: tuple[MixContent, ...] = ("announcement", "call", "count", "tone", "click", "slate")

_USUAL: Mapping[MixName, Mix] = MappingProxyType(
    {
        # Everything, at the loudness of a streamed music track (AES TD1008).
        "class": Mix("class", frozenset((*_CALLED, "bed")), Fraction(-16)),
        # What only the coach hears, at the loudness of speech (AES TD1008).
        "ear": Mix("ear", frozenset((*_CALLED, "prompt")), Fraction(-18)),
        # What the camera may hear, at the loudness of a broadcast programme (EBU R 128).
        "film": Mix("film", frozenset(("slate", "bed")), Fraction(-23)),
    }
)

# What a plan has to say for there to be anything of some kinds.
_FILLED_BY: Mapping[MixContent, str] = MappingProxyType(
    {
        "bed": "give the plan a `bed:`",
        "slate": "write `slate: on`",
        "click": "give a move a `tempo:`, such as 60 bpm",
    }
)


def mix_of(session: Session, name: MixName) -> Mix:
    """The mix `name` of `session`: the plan's own contents and loudness, or the usual ones."""
    usual = _USUAL[name]
    contents = (session.mixes or {}).get(name)
    return Mix(
        name,
        usual.contents if contents is None else frozenset(contents),
        (session.loudness or {}).get(name, usual.loudness_lufs),
    )


def empty_mix_note(mix: Mix, session: Session) -> Diagnostic:
    """The warning that `mix` holds nothing, with what would fill it."""
    message = f"the mix {mix.name!r} of this plan holds nothing, and is silent"
    fillings = [word for kind, word in _FILLED_BY.items() if kind in mix.contents]
    fillings.append(f"say what is in it: `mixes: {{{mix.name}: [tone, bed]}}`")
    place = session.place_of("mixes") if mix.name in (session.mixes or {}) else None
    return Diagnostic("warning", message, place, ", or ".join(fillings))
