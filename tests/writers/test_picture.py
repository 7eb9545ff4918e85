"""The picture: a file of its kind, all texts as text, the same bytes again."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from io import BytesIO

import matplotlib as mpl
import numpy as np
import pytest
from PIL import Image

from cuetrack.writers import picture as drawing
from cuetrack.writers.picture import picture
from cuetrack.writers.scenes import scenes_of
from tests.helpers.likely import SAMPLES, likely, likely_of, untidy_plan

_LONG = """
session: Three hours
lead-in: 0s
parts: [{part: P, rounds: 60, work: 150s, rest: 30s, steps: [{move: Row}]}]
"""

_SHORT = """
session: Three minutes
lead-in: 20s
parts: [{part: P, work: 60s, steps: [{move: Row, sides: both, change: 20s}]}]
"""


def _levels(seconds: int) -> dict[str, np.ndarray]:
    noise = np.random.default_rng(1).uniform(-80, -10, 10 * seconds)
    return {"voice": noise, "tones": noise - 5, "bed": np.where(noise < -60, -np.inf, noise)}


@pytest.mark.parametrize("plan", [*SAMPLES, "untidy", "long"], ids=lambda plan: getattr(plan, "stem", plan))
def test_a_picture_is_a_file_of_its_kind(plan):
    texts = {"untidy": untidy_plan(), "long": _LONG}
    arrangement = likely_of(texts[plan]) if plan in texts else likely(plan)
    levels = _levels(arrangement.frames // arrangement.rate_hz)
    image = Image.open(BytesIO(picture(arrangement, levels, "png")))
    assert image.size == (1920, 768)
    # Something is drawn in each third: not one colour alone.
    for top in (60, 260, 480):
        assert len(image.convert("RGB").crop((150, top, 1900, top + 200)).getcolors(1 << 20)) > 3
    vector = picture(arrangement, levels, "svg")
    assert ET.fromstring(vector).tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314 - our own
    assert len(vector) < 2_000_000
    assert b"<script" not in vector


def test_a_picture_without_sound_is_drawn_too():
    assert Image.open(BytesIO(picture(likely(SAMPLES[0]).holding(()), {}, "png"))).size == (1920, 768)


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_session_gives_the_same_bytes(kind):
    first, second = (picture(likely(SAMPLES[0]), _levels(1200), kind) for _ in range(2))
    assert first == second


def test_every_name_stands_in_its_own_stretch():
    """Read back from the drawing: names in the order of the moves, each inside its move's time."""
    arrangement = likely(SAMPLES[0])
    with mpl.rc_context():
        figure = drawing._drawn(arrangement, {})
    texts = {text.get_text(): text.get_position()[0] for text in figure.axes[0].texts}
    named = [scene for scene in scenes_of(arrangement) if scene.kind == "work" and scene.move in texts]
    assert len({scene.move for scene in named}) >= 5
    for move in {scene.move for scene in named}:
        spans = [(s.start_frame / 48_000, s.end_frame / 48_000) for s in named if s.move == move]
        assert min(start for start, _ in spans) < texts[move] < max(end for _, end in spans)


def test_no_name_stands_on_a_hatch():
    """It could not be read there: what is hatched is left out behind its name."""
    arrangement = likely_of(_SHORT)
    with mpl.rc_context():
        figure = drawing._drawn(arrangement, {})
    hatched = [text for text in figure.axes[0].texts if text.get_text() in {"Get ready", "Change sides"}]
    assert len(hatched) == 2
    assert all(text.get_bbox_patch() is not None for text in hatched)
