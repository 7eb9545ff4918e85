"""Documents of any kind of ours: unknown keys, places, all mistakes at once, in the order of the lines."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from pydantic import Field, ValidationError

from cuetrack.document.fields import Name
from cuetrack.document.model import Node, read_document
from cuetrack.document.source import Source
from cuetrack.errors import PlanError


class Oar(Node):
    example = "`{oar: left}`"

    oar: Literal["left", "right"]
    length_cm: Annotated[int, Field(ge=100, le=400)] = Field(298, alias="length")


class Boat(Node):
    boat: Name
    oars: Annotated[tuple[Oar, ...], Field(min_length=1, max_length=2)]
    crew: tuple[Name, ...] | None = None


def read(text: str) -> Boat:
    return read_document(Source("boat", text), Boat)


def said(text: str) -> list[str]:
    """Place, message and hint of everything found."""
    with pytest.raises(PlanError) as caught:
        read(text)
    return [f"{str(d.place).removeprefix('boat:')} {d.message} | {d.hint}" for d in caught.value.diagnostics]


def test_values_and_their_places() -> None:
    boat = read("boat: Gull\noars:\n  - oar: left\n  - {oar: right, length: 300}\n")
    assert (boat.boat, boat.oars[1].length_cm) == ("Gull", 300)
    assert str(boat.place) == "boat:1:1"
    assert str(boat.place_of("boat")) == "boat:1:7"
    assert str(boat.oars[1].place_of("length")) == "boat:4:26"
    assert str(boat.oars[0].place_of("length")) == "boat:3:5"  # not written: where the oar begins


def test_node_made_by_a_program_has_no_place_and_is_equal_to_one_that_was_read() -> None:
    made = Boat(boat="Gull", oars=(Oar(oar="left"),))
    assert made.place is None
    assert made.place_of("boat") is None
    assert made == read("boat: Gull\noars: [{oar: left}]\n")
    assert made != Boat(boat="Tern", oars=(Oar(oar="left"),))
    assert made != "Gull"


@pytest.mark.parametrize(
    ("text", "message"), [("\n", "the file is empty"), ("# later", "nothing is written in this file")]
)
def test_an_empty_document_says_how_one_begins(text: str, message: str) -> None:
    assert said(text) == [f"1:1 {message} | write it like `key: value`"]
    with pytest.raises(PlanError) as caught:
        read_document(Source("oar", text), Oar)
    assert [found.hint for found in caught.value.diagnostics] == ["write it like `{oar: left}`"]


def test_nodes_do_not_change() -> None:
    boat = Boat(boat="Gull", oars=(Oar(oar="left"),))
    with pytest.raises(ValidationError):
        boat.boat = "Tern"  # type: ignore[misc]


def test_all_mistakes_in_the_order_of_the_lines() -> None:
    oars = "oars:\n  - oar: up\n    lenght: 5\n  - oar: left\n    length: many\n"
    assert said(f"boat: Gull\n{oars}crew: [a, {{b: c}}]\nbaot: x\n") == [
        "3:10 'oar' cannot be 'up' | allowed: left, right",
        "4:5 unknown key 'lenght' | did you mean 'length'?",
        "6:13 'length' has to be a whole number, found 'many' | write a number such as 2",
        "7:12 item 2 of 'crew' has to be a text, found a mapping | "
        "put a text that begins with [ or { into quotes",
        "8:1 unknown key 'baot' | did you mean 'boat'?",
    ]


def test_misspelt_key_is_not_called_missing_as_well() -> None:
    assert said("baot: Gull\noars: [{oar: left}]\n") == ["1:1 unknown key 'baot' | did you mean 'boat'?"]


def test_missing_key_is_said_where_the_mapping_begins() -> None:
    assert said("boat: Gull\noars: [{oar: left}, {}]\n") == ["2:21 'oar' is missing | add a line `oar: …`"]


@pytest.mark.parametrize(
    ("oars", "expected"),
    [
        ("[]", "2:7 'oars' is empty | give at least one item"),
        (
            "[left]",
            "2:8 item 1 of 'oars' has to be `key: value` lines, found 'left' | write it like `{oar: left}`",
        ),
        (
            "{oar: left}",
            "2:7 'oars' has to be a list, found a mapping | begin each item with a dash and a space",
        ),
        (
            "left",
            "2:7 'oars' has to be a list, found 'left' | begin each item with a dash and a space: `- item`",
        ),
        ("", "2:1 nothing is written here | write a value; a key that is not needed can be left out"),
        ("[{oar: left, length: 99}]", "2:28 'length' is '99', allowed is at least 100 | None"),
        ("[{oar: left, length: 401}]", "2:28 'length' is '401', allowed is at most 400 | None"),
        (
            "[{oar: left, length: 2.5}]",
            "2:28 'length' has to be a whole number, found '2.5' | write a number such as 2",
        ),
        (
            f"[{{oar: left, length: {'9' * 5000}}}]",
            "2:28 'length' has to be a whole number, found '" + "9" * 39 + "…'",
        ),
        (
            "[{oar: left}, {oar: left}, {oar: left}]",
            "2:7 'oars' has more than 2 items | write fewer, or split the plan",
        ),
    ],
)
def test_wrong_kinds_and_sizes(oars: str, expected: str) -> None:
    (found,) = said(f"boat: Gull\noars: {oars}\n")
    assert found.startswith(expected)


def test_bad_items_do_not_make_their_list_empty_as_well() -> None:
    assert len(said("boat: Gull\noars: [1, 2]\n")) == 2


def test_the_same_finding_at_the_same_place_is_said_once() -> None:
    """An alias repeats a mistake, but there is one place to mend it."""
    assert len(said("boat: Gull\noars: [&x {oar: up}, *x]\n")) == 1


def test_braces_in_a_value_are_no_template_of_the_message() -> None:
    assert said("boat: Gull\noars: ['{value} {0}']\n")[0].startswith(
        "2:8 item 1 of 'oars' has to be `key: value` lines, found '{value} {0}'"
    )
