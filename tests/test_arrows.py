"""Data goes one way: no room imports against the arrows, and checking a plan loads nothing heavy.

Imports inside functions and under TYPE_CHECKING count, and so does a module that is named in a text
(`import_module("cuetrack.mix.blocks")`).
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import cuetrack

PACKAGE = Path(cuetrack.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("*.yaml"))

# Each room and what it may import: a whole room, or some modules of one. Data, so that a new arrow is
# a decision that somebody sees.
ARROWS = {
    "errors": (),
    "timebase": ("errors",),
    "cores": (),
    "limits": ("errors",),
    "document": ("errors",),
    "sound": ("timebase", "errors"),
    "plan": ("document", "sound.tone_table", "sound.pulse_moods", "timebase", "errors"),
    "timeline": (
        *("plan", "document.model", "sound.tone_table", "sound.pulse_moods"),
        *("timebase", "errors"),
    ),
    "speech": ("document", "sound", "timebase", "cores", "errors"),
    "conform": ("timeline", "speech.length", "sound.tone_table", "timebase", "errors"),
    # Of a timeline a mix needs to know where music plays, and which kinds of cue belong in it.
    "mix": ("conform", "timeline.bed", "timeline.cues", "sound", "timebase", "errors"),
    "writers": (
        *(
            "mix",
            "conform",
            "timeline",
            "plan.model",
            "tables.csv_writing",
            "take",
            "sound.ffmpeg",
            "sound.tone_table",
        ),
        *("timebase", "errors"),
    ),
    # What was heard of a programme needs to know what was placed where, and nothing of files but sound.
    "take": ("conform", "timeline", "sound", "timebase", "cores", "errors"),
    # Of what is done many times it knows nothing.
    "batch": ("writers.atomic", "errors"),
    "review": ("timeline", "plan", "timebase", "errors"),
    "tables": ("plan", "document", "timebase", "errors"),
    "build_mixes": ("writers", "mix", "conform", "timeline", "sound", "timebase", "errors"),
    "build": (
        *("build_mixes", "build_papers", "writers", "mix", "review", "conform", "speech", "timeline", "plan"),
        *("document", "sound", "timebase", "limits", "errors"),
    ),
    "build_batch": (*("build", "build_papers", "batch", "writers", "speech", "plan", "document", "errors"),),
    "build_papers": (*("build_mixes", "writers", "mix.levels", "conform", "sound.ffmpeg", "errors"),),
    "build_preview": (
        *(
            "build",
            "build_mixes",
            "writers",
            "mix",
            "conform",
            "plan",
            "timeline.phases",
            "timebase",
            "errors",
        ),
    ),
    "build_review": ("build", "review", "plan.series", "errors"),
    "build_series": ("build", "review", "timeline.compile", "plan", "document", "errors"),
    "build_sheet": ("build", "build_papers", "writers", "plan.series", "errors"),
    "build_tables": ("tables", "plan", "document", "writers.atomic", "errors"),
    "build_take": (
        *("build", "build_mixes", "build_papers", "take", "writers", "mix", "conform", "speech", "timeline"),
        *("plan", "sound", "timebase", "errors"),
    ),
    "build_voices": (
        *("build", "writers", "mix", "conform", "speech", "timeline", "plan", "document", "sound"),
        *("timebase", "errors"),
    ),
    "cli": (
        *(
            "build",
            "build_batch",
            "build_mixes",
            "build_papers",
            "build_preview",
            "build_review",
            "build_series",
            "build_sheet",
            "build_tables",
            "build_take",
            "build_voices",
        ),
        *(
            "batch",
            "review",
            "take",
            "writers",
            "mix",
            "conform",
            "speech",
            "timeline",
            "plan",
            "document",
            "sound",
        ),
        *("timebase", "cores", "errors"),
    ),
    "__main__": ("cli",),
}

_NAMED_MODULE = re.compile(r"cuetrack(?:\.\w+)+")


def imported(tree: ast.Module, module: str) -> Iterator[str]:
    """Every module of the package that `module` (dotted, its tree) imports or names, without `cuetrack.`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = absolute(node, module)
            names = [f"{base}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            names = [f"{node.value.id}.{node.attr}"] if not node.attr.startswith("__") else []
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            names = [node.value] if _NAMED_MODULE.fullmatch(node.value) else []
        else:
            continue
        yield from (name.removeprefix("cuetrack.") for name in names if name.startswith("cuetrack."))


def absolute(node: ast.ImportFrom, module: str) -> str:
    """The module from which names are imported; `module` is where a relative import starts."""
    if not node.level:
        return node.module or ""
    package = module.split(".")[: -node.level]
    return ".".join([*package, *([node.module] if node.module else [])])


def against_the_arrows(text: str, module: str) -> list[str]:
    """What a module's text imports that its room may not."""
    room = module.split(".")[1]
    allowed = (room, *ARROWS[room], "__version__")
    return [
        name
        for name in dict.fromkeys(imported(ast.parse(text), module))
        if not any(name == arrow or name.startswith(f"{arrow}.") for arrow in allowed)
    ]


def dotted(path: Path) -> str:
    """`cuetrack.plan.model`; the package of a room keeps its `__init__`, for relative imports."""
    return ".".join(["cuetrack", *path.relative_to(PACKAGE).with_suffix("").parts])


def test_there_are_modules_and_every_room_has_its_arrows() -> None:
    rooms = {dotted(path).split(".")[1] for path in MODULES} - {"__init__"}
    assert rooms == set(ARROWS)


def test_the_arrows_go_one_way() -> None:
    rooms = {room: {arrow.split(".")[0] for arrow in arrows} for room, arrows in ARROWS.items()}
    order = list(TopologicalSorter(rooms).static_order())  # raises where they go in a circle
    assert order[0] == "errors"
    assert [room for room, arrows in rooms.items() if "build" in arrows] == [
        "build_batch",
        "build_preview",
        "build_review",
        "build_series",
        "build_sheet",
        "build_take",
        "build_voices",
        "cli",
    ]
    assert [room for room, arrows in rooms.items() if "cli" in arrows] == ["__main__"]


@pytest.mark.parametrize("path", MODULES, ids=dotted)
def test_no_import_goes_against_the_arrows(path: Path) -> None:
    module = dotted(path)
    if module == "cuetrack.__init__":
        assert list(imported(ast.parse(path.read_text(encoding="utf-8")), module)) == []
        return
    assert against_the_arrows(path.read_text(encoding="utf-8"), module) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("from cuetrack.mix.blocks import mixed_blocks", ["mix.blocks.mixed_blocks"]),
        ("import cuetrack.build", ["build"]),
        ("import cuetrack.build as whole_way", ["build"]),
        ("from cuetrack import cli", ["cli"]),
        ("from cuetrack import __version__", []),
        ("import cuetrack\ncuetrack.__file__", []),
        ("import cuetrack\ncuetrack.mix.blocks.mixed_blocks()", ["mix"]),
        ("from ..conform import fit", ["conform.fit"]),
        ("from .. import conform", ["conform"]),
        ("from . import phases", []),
        ("from .phases import Phase", []),
        ("def late():\n    from cuetrack.conform.fit import arranged", ["conform.fit.arranged"]),
        (
            "if TYPE_CHECKING:\n    from cuetrack.speech.length import SpokenLength",
            ["speech.length.SpokenLength"],
        ),
        ("import_module('cuetrack.writers.audio')", ["writers.audio"]),
        ("from cuetrack.sound.tone_table import TONES", []),
        ("from cuetrack.sound.pulse_moods import MOODS", []),
        ("from cuetrack.sound.pulse import Pulse", ["sound.pulse.Pulse"]),
        ("from cuetrack.sound.tones import tone_samples", ["sound.tones.tone_samples"]),
        ("from cuetrack.sound import tones", ["sound.tones"]),
        ("from cuetrack.document.model import Node", []),
        ("from cuetrack.document.located import LocatedMap", ["document.located.LocatedMap"]),
        ("from cuetrack.plan.model import Session\nfrom cuetrack.timebase import Instant", []),
        ('"""Not cuetrack.mix.blocks itself, only a word about it."""', []),
        ("from cuetrackers.mix import x", []),
    ],
)
def test_the_check_sees_a_forbidden_import(text: str, found: list[str]) -> None:
    assert against_the_arrows(text, "cuetrack.timeline.made_up") == found


def test_the_check_sees_imports_in_the_init_of_a_room() -> None:
    assert against_the_arrows("from ..mix import blocks", "cuetrack.timeline.__init__") == ["mix.blocks"]
    assert against_the_arrows("from .phases import Phase", "cuetrack.timeline.__init__") == []


@pytest.mark.parametrize("path", [p for p in MODULES if p.name == "__init__.py"], ids=dotted)
def test_rooms_import_nothing_when_they_are_entered(path: Path) -> None:
    """A room's `__init__` holds a docstring, so that one light module of it can be had alone."""
    room = path.parent.name
    body = ast.parse(path.read_text(encoding="utf-8")).body
    imports = [node for node in body if isinstance(node, ast.Import | ast.ImportFrom)]
    if room not in {"timebase", "cli"}:
        assert imports == []


HEAVY = {
    *("numpy", "scipy", "soundfile", "soxr", "pydub", "imageio_ffmpeg"),
    *("pyttsx3", "espeakng_loader", "mutagen", "matplotlib"),
}

_RUN = """
import sys
from cuetrack.cli.commands import run
code = run(sys.argv[1:])
print("LOADED", *sorted({name.split(".")[0] for name in sys.modules}))
sys.exit(code)
"""


@pytest.mark.parametrize("command", ["check", "review", "timeline"])
@pytest.mark.parametrize("plan", SAMPLES, ids=lambda plan: plan.stem)
def test_reading_a_plan_loads_nothing_heavy(command: str, plan: Path, tmp_path: Path) -> None:
    """Arrays and codecs take most of a second to load; a check of a plan needs neither."""
    done = subprocess.run(
        [sys.executable, "-c", _RUN, command, str(plan)],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(PACKAGE.parent), "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    loaded = set(done.stdout.rpartition("LOADED ")[2].split())
    assert {"cuetrack", "pydantic", "ruamel"} <= loaded
    assert loaded & HEAVY == set()


def test_there_are_samples() -> None:
    assert len(SAMPLES) >= 3
