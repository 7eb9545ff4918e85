"""The player page as text: what stands in it, and that no coach's text can be more than text.

How it behaves is looked at in a browser, in `tests/browser/`.
"""

from __future__ import annotations

import json
import re
from base64 import b64decode, b64encode
from dataclasses import dataclass, field
from hashlib import sha256
from html.parser import HTMLParser
from itertools import accumulate
from typing import Any
from urllib.parse import unquote, urljoin

import pytest

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timeline.cues import kind_of
from cuetrack.writers.page_words import page_words
from cuetrack.writers.player import SoundInside, player_page
from cuetrack.writers.scenes import scenes_of
from tests.helpers.likely import SAMPLES, UNTIDY_TEXTS, likely, likely_of, untidy_plan


@dataclass
class Page(HTMLParser):
    """A page as the standard library's parser, which knows nothing of ours, reads it."""

    text: str
    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    raw: dict[str, list[str]] = field(default_factory=lambda: {"script": [], "style": []})

    def __post_init__(self) -> None:
        super().__init__()
        self._inside: str | None = None
        self.feed(self.text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in self.raw:
            self._inside = tag
            self.raw[tag].append("")

    def handle_endtag(self, tag: str) -> None:
        self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside:
            self.raw[self._inside][-1] += data
        elif data.strip():
            self.texts.append(data.strip())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]

    @property
    def session(self) -> dict[str, Any]:
        return dict(json.loads(self.raw["script"][0]))


@pytest.fixture(scope="module")
def quay() -> Arrangement:
    return likely(next(path for path in SAMPLES if path.stem == "quay-circuit"))


def _language_plan(language: str) -> str:
    return f"session: Quay\nlanguage: {language}\nparts: [{{part: P, steps: [{{move: Row, work: 30s}}]}}]\n"


def _decoded(data: dict[str, Any]) -> list[dict[str, Any]]:
    """The scenes, worked out from the columns the plain way."""
    scenes, texts, start = data["scenes"], data["texts"], 0

    def text(number: int | None) -> str | None:
        return None if number is None else texts[number]

    found = []
    for index, frames in enumerate(scenes["frames"]):
        kind, part, rounds, *rest = data["states"][scenes["state"][index]]
        move, stage, side, setup, equipment, easier, harder = rest
        ahead = scenes["ahead"][index]
        found.append(
            {
                "index": index,
                "kind": kind,
                "start_frame": start,
                "end_frame": start + frames,
                "part": text(part),
                "round": scenes["round"][index] or None,
                "rounds": rounds,
                "move": text(move),
                "stage": text(stage),
                "side": text(side),
                "setup": text(setup),
                "equipment": tuple(texts[number] for number in equipment),
                "easier": text(easier),
                "harder": text(harder),
                "first": index - scenes["since"][index],
                "following": index + ahead if ahead else None,
            }
        )
        start += frames
    return found


@pytest.mark.parametrize("plan", SAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_the_page_knows_every_scene_to_the_frame(plan, rate_hz):
    arrangement = likely(plan, rate_hz)
    data = Page(player_page(arrangement, sound="s.mp3")).session
    decoded = _decoded(data)
    assert decoded == [
        {name: getattr(scene, name) for name in decoded[0]} for scene in scenes_of(arrangement)
    ]
    assert decoded[-1]["end_frame"] == data["frames"] == arrangement.frames
    assert data["rate_hz"] == rate_hz


def test_words_and_tones_stand_on_their_frames(quay):
    data = Page(player_page(quay, sound="s.mp3")).session
    spoken, texts = data["spoken"], data["texts"]
    found = list(zip(accumulate(spoken["after"]), spoken["frames"], spoken["text"], strict=True))
    words = [one for one in quay.placed if one.text is not None]
    assert [(start, frames) for start, frames, _ in found] == [(one.start_frame, one.frames) for one in words]
    assert [None if text is None else texts[text] for *_, text in found] == [
        None if kind_of(one.cue) == "announcement" else one.text for one in words
    ]
    tones = {one.start_frame for one in quay.placed if kind_of(one.cue) == "tone"}
    assert set(accumulate(data["tones"])) == tones
    assert len(tones) > 50


def test_untidy_texts_are_text_and_nothing_else():
    arrangement = likely_of(untidy_plan())
    tidy = Page(player_page(likely_of(_language_plan("en")), sound="s.mp3"))
    page = Page(player_page(arrangement, sound="s.mp3"))
    # No element more than in a tidy page, but for the equipment that is listed before the start.
    things = ("h3", "ul", "li")
    elements = [tag for tag, _ in page.tags if tag not in things]
    assert elements == [tag for tag, _ in tidy.tags if tag not in things]
    assert len(page.raw["script"]) == 2
    assert not [name for _, attributes in page.tags for name in attributes if name.startswith("on")]
    assert UNTIDY_TEXTS[0] in page.texts
    assert page.session["title"] == UNTIDY_TEXTS[0]
    assert set(UNTIDY_TEXTS) <= set(page.session["texts"])
    assert [scene["setup"] for scene in _decoded(page.session)] == [
        scene.setup for scene in scenes_of(arrangement)
    ]


@pytest.mark.parametrize("text", ["</script>", "<!--<script>", "]]>", "a & b", "{{ 7 * 7 }}"])
def test_no_text_ends_the_data_or_hides_what_follows(text):
    """HTML, "script data double escaped state": `<!--<script>` would hide the real end tag."""
    plan = json.dumps({"session": f"Quay {text} end", "parts": [{"part": "P", "steps": [{"talk": "9s"}]}]})
    page = player_page(likely_of(plan), sound="s.mp3")
    block = re.search(r'<script id="session"[^>]*>(.*?)</script>', page, re.DOTALL)
    assert block is not None
    assert not set("<>&") & set(block[1])
    assert json.loads(block[1])["title"] == f"Quay {text} end"


@pytest.mark.parametrize("language", ["en", "es", "de", "fr"])
def test_the_page_speaks_the_language_of_its_session(language):
    page, words = Page(player_page(likely_of(_language_plan(language)), sound="s.mp3")), page_words(language)
    assert page.all("html")[0]["lang"] == language
    shown = " ".join(page.texts)
    for key in (
        "cautions-heading",
        "now",
        "next",
        "player-back",
        "player-skip",
        "player-accept",
        "player-keys",
    ):
        assert words[key] in shown
    assert page.session["words"]["rest"] == words["rest"]


def test_the_script_has_every_word_that_it_asks_for(quay):
    """A missing one would be shown as "undefined"."""
    page = Page(player_page(quay, sound="s.mp3"))
    script = page.raw["script"][1]
    asked = set(re.findall(r"words\.([a-z]+)\b", script)) | set(re.findall(r'words\["([a-z-]+)"\]', script))
    asked |= set(re.findall(r'"(player-[a-z-]+)"', script)) | {scene.kind for scene in scenes_of(quay)} - {
        "work"
    }
    assert "player-pause" in asked
    assert asked <= set(page.session["words"])


def test_every_caution_stands_before_the_start(quay):
    page = Page(player_page(quay, sound="s.mp3"))
    cautions = [text for key, text in page_words("en").items() if key.startswith("caution-")]
    assert len(cautions) >= 4
    start = page.texts.index(page_words("en")["cautions-heading"])
    assert page.texts[start + 1 : start + 1 + len(cautions)] == cautions
    assert dict(page.all("body")[0]) == {"data-state": "before"}
    assert {"long loop band", "sturdy chair", "mat"} <= set(page.texts)


def test_nothing_comes_from_outside_and_the_policy_names_what_is_inside(quay):
    """Content Security Policy level 3, section 6.7.3.3: a hash source is the digest of the element's text."""
    page = Page(player_page(quay, sound="quay.mp3"))
    addresses = [
        value for _, attributes in page.tags for name, value in attributes.items() if name in ("src", "href")
    ]
    assert sorted(addresses, key=str) == ["./quay.mp3", "data:,"]
    (policy,) = (one["content"] for one in page.all("meta") if one.get("http-equiv"))
    rules = dict(rule.split(" ", 1) for rule in str(policy).split("; "))

    def digest(text: str) -> str:
        return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"

    assert rules["default-src"] == rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules["script-src"] == digest(page.raw["script"][1])
    assert rules["style-src"] == digest(page.raw["style"][0])
    assert "connect-src" not in rules  # so the default holds: none
    assert not [attributes for _, attributes in page.tags if "style" in attributes]
    assert "://" not in page.raw["script"][1] + page.raw["style"][0]


@pytest.mark.parametrize(
    "name",
    ["quay.mp3", "50% of it.mp3", "a#b?c&d.mp3", "Übung «5».m4a", "take: one.mp3", "سلام.opus", "\"'<b>.mp3"],
)
def test_any_name_leads_to_the_file_beside_the_page(name):
    arrangement = likely_of(_language_plan("en"))
    page = Page(player_page(arrangement, sound=name))
    (sound,) = page.all("audio")
    address = urljoin("file:///quay/NAME.player.html", str(sound["src"]))
    assert unquote(address, errors="strict") == f"file:///quay/{name}"
    assert not set("#?") & set(address)
    assert page.session["sound"] == name


def test_the_sound_can_be_inside():
    data = bytes(range(256)) * 7
    arrangement = likely_of(_language_plan("en"))
    page = Page(player_page(arrangement, sound=SoundInside(data, "audio/mpeg")))
    assert "src" not in page.all("audio")[0]
    assert page.all("script")[2]["type"] == "audio/mpeg;base64"
    assert b64decode(page.raw["script"][2], validate=True) == data
    (policy,) = (one["content"] for one in page.all("meta") if one.get("http-equiv"))
    assert "media-src blob:;" in str(policy)
    assert page.session["sound"] is None


def test_a_place_is_kept_for_one_session_only():
    """The key changes with whatever changes where things lie, or what they are called."""

    def key(text: str) -> str:
        return str(Page(player_page(likely_of(text), sound="s.mp3")).session["key"])

    plan = _language_plan("en")
    assert key(plan) == key(plan)
    others = [plan.replace(*change) for change in (("30s", "31s"), ("Row", "Squat"), ("Quay", "Slip"))]
    assert len({key(text) for text in (plan, *others)}) == 4


def test_pages_stay_small():
    """300 kB without sound, for a usual session and for three hours of ten thousand scenes."""
    assert len(player_page(likely(SAMPLES[0]), sound="s.mp3").encode()) < 100_000
    arrangement = likely_of(three_hours_of_ten_thousand_scenes())
    assert len(arrangement.timeline.phases) >= 10_000
    assert arrangement.frames >= 3 * 3600 * arrangement.rate_hz
    assert len(player_page(arrangement, sound="s.mp3").encode()) < 300_000


def three_hours_of_ten_thousand_scenes() -> str:
    """Short stages without a word, so many that no coach will have more."""
    stages = [{f"stage {number}": "1.08 s"} for number in range(20)]
    steps = [{"move": f"Move {number}", "stages": stages} for number in range(25)]
    part = {"part": "Long", "rounds": 20, "steps": steps}
    off = {"start": "off", "finish": "off", "stage": "off"}
    return json.dumps({"session": "Three hours on the quay", "calls": off, "parts": [part]})
