"""The player page in a real browser: what it shows is the sound's own time, on every way there.

What is expected comes from the arrangement's whole frames. Published figures: contrast and names by
axe-core's rules for WCAG 2.1 A and AA; the height of digits by NUREG-0700 rev. 3, 11.4.1.5-1 (read).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from math import ceil
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from cuetrack.conform.arrangement import Arrangement
from cuetrack.writers.player import SoundInside, player_page
from cuetrack.writers.scenes import Scene, scenes_of
from tests.browser.opened import PHONE, SMALL, WIDE, Opened, names_of, opened, write_player, write_silence
from tests.helpers.likely import SAMPLES, UNTIDY_TEXTS, likely, likely_of, untidy_plan
from tests.writers.test_player import three_hours_of_ten_thousand_scenes

# A rate at which few positions are whole milliseconds.
RATE_HZ = 44_100
QUAY = """
session: Quay drill
equipment: [mat]
lead-in: 4s
parts:
  - part: Drill
    rounds: 2
    rest: 7s
    steps:
      - move: Squat
        stages: [{slow: 8s}, {steady: 5s}]
        easier: Sit down.
        harder: One foot forward.
      - move: Press
        setup: One knee on the mat.
        equipment: [long loop band]
        sides: both
        change: 6s
        work: 16s
        cues: [{at: 2s, say: Breathe out.}]
  - part: Close
    steps:
      - talk: 4s
"""


@pytest.fixture(scope="module")
def quay() -> Arrangement:
    return likely_of(QUAY, RATE_HZ)


@pytest.fixture(scope="module")
def page_file(quay: Arrangement, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_player(tmp_path_factory.mktemp("quay"), quay)


@pytest.fixture
def player(browser: Browser, page_file: Path) -> Iterator[Opened]:
    """An open page whose cautions are accepted; it must not have complained or asked for anything else."""
    with opened(browser, page_file) as page:
        page.accept()
        yield page
        assert page.complaints == []
        assert names_of(page.requests) <= {page_file.name, "quay 1.wav", "data:,"}


def _scene_at(arrangement: Arrangement, seconds: float) -> Scene:
    frame = round(seconds * arrangement.rate_hz)
    return next(scene for scene in scenes_of(arrangement) if scene.start_frame <= frame < scene.end_frame)


def _shown_for(scene: Scene, seconds: float, rate_hz: int) -> str:
    """Seconds left of a scene at a time, as a member reads them."""
    left = ceil(Fraction(scene.end_frame - round(seconds * rate_hz), rate_hz))
    return str(left) if left < 60 else f"{left // 60}:{left % 60:02d}"


def test_cautions_come_before_the_first_start_and_are_accepted_once(browser, page_file):
    with opened(browser, page_file) as player:
        assert player.state() == "before"
        assert player.page.is_visible("#before")
        assert "Stop at pain" in player.text("before")
        assert "long loop band" in player.text("before")
        assert not player.page.is_visible("#now")
        for key in ("ArrowRight", " "):  # nothing moves before they are read
            player.page.keyboard.press(key)
        assert (player.seconds(), player.is_playing(), player.state()) == (0, False, "before")
        player.page.click("#go")
        player.until("document.getElementById('sound').currentTime > 0.2")
        assert player.state() == "playing"
        assert not player.page.is_visible("#before")
        player.page.reload()
        assert player.state() == "held"
        assert player.complaints == []


def test_what_to_do_now_and_what_comes_next(player, quay):
    for scene in scenes_of(quay):
        middle = (scene.start_frame + scene.end_frame) / 2 / RATE_HZ
        player.to(middle)
        words = {"lead-in": "Get ready", "rest": "Rest", "change": "Change sides", "talk": "Listen"}
        assert player.text("what") == words.get(scene.kind, scene.move)
        assert player.text("side") == (f"{scene.side} side" if scene.side else "")
        assert player.text("stage") == (scene.move if scene.kind == "change" else scene.stage or "")
        assert player.text("digits") == _shown_for(scene, player.seconds(), RATE_HZ)
        following = None if scene.following is None else scenes_of(quay)[scene.following]
        assert player.text("next-what") == (following.move if following else "Finished")
        if following:
            assert player.text("next-side") == (f"{following.side} side" if following.side else "")
            assert (following.setup or "") in player.text("next-options")
            assert ", ".join(following.equipment) in player.text("next-options")
        if scene.move == "Squat" and scene.kind == "work":
            assert "Sit down." in player.text("now-options")
            assert "One foot forward." in player.text("now-options")


@pytest.mark.parametrize("edge", [-2, -1, 0, 1, 2])
def test_a_scene_changes_on_its_very_frame(player, quay, edge):
    scene = scenes_of(quay)[3]
    player.to((scene.start_frame + edge) / RATE_HZ)
    shown = scene if edge >= 0 else scenes_of(quay)[2]
    left = ceil(Fraction(shown.end_frame - scene.start_frame - edge, RATE_HZ))
    assert player.text("digits") == str(left)


def test_start_and_pause(player):
    player.page.click("#go")
    player.until("document.getElementById('sound').currentTime > 0.3")
    assert player.state() == "playing"
    assert player.text("go") == "Pause"
    player.page.click("#go")
    player.until("document.body.dataset.state === 'held'")
    at = player.seconds()
    player.page.wait_for_timeout(200)
    assert player.seconds() == at
    assert player.text("go") == "Continue"


def test_skip_leaves_out_what_is_done_now_and_back_begins_it_again(player, quay):
    beginnings = [scene for scene in scenes_of(quay) if scene.first == scene.index]
    for scene in beginnings[1:]:
        player.page.click("#skip")
        player.settle()
        assert player.seconds() == pytest.approx(scene.start_frame / RATE_HZ, abs=0.5 / RATE_HZ)
    player.page.click("#skip")
    player.until("document.body.dataset.state === 'ended'")
    steady = next(scene for scene in scenes_of(quay) if scene.stage == "steady")
    player.to(steady.start_frame / RATE_HZ + 3)
    player.page.click("#back")  # to the start of the move, over its stages
    player.settle()
    first = scenes_of(quay)[steady.first]
    assert player.seconds() == pytest.approx(first.start_frame / RATE_HZ, abs=0.5 / RATE_HZ)
    player.page.click("#back")  # at its start: to what was before
    player.settle()
    assert player.seconds() == 0


def test_keys(player):
    keyboard = player.page.keyboard
    player.page.evaluate("document.activeElement.blur()")
    keyboard.press(" ")
    player.until("document.body.dataset.state === 'playing'")
    keyboard.press(" ")
    player.until("document.body.dataset.state === 'held'")
    keyboard.press("ArrowRight")
    player.settle()
    assert player.text("what") == "Squat"
    player.to(8)
    keyboard.press("ArrowLeft")
    player.settle()
    assert player.seconds() == pytest.approx(4, abs=0.5 / RATE_HZ)
    keyboard.press("Home")
    player.settle()
    assert player.seconds() == 0
    # On a button the space bar is that button's, once.
    player.page.focus("#skip")
    keyboard.press(" ")
    player.settle()
    assert player.text("what") == "Squat"
    assert player.state() == "held"
    # On the bar of the whole session the arrows move by a second.
    player.page.focus("#place")
    keyboard.press("ArrowRight")
    player.settle()
    assert player.seconds() == pytest.approx(5)
    assert player.page.get_attribute("#place", "aria-valuetext") == "0:05, Squat"
    keyboard.press(" ")
    player.until("document.body.dataset.state === 'playing'")


def test_every_control_is_reached_by_tab_and_left_again(player):
    player.page.focus("#place")
    reached = ["place"]
    for _ in range(12):
        player.page.keyboard.press("Tab")
        reached.append(player.page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    wanted = ["place", "SUMMARY", "SUMMARY", "SUMMARY", "back", "go", "skip"]
    assert reached[: len(wanted)] == wanted
    assert "place" in reached[len(wanted) :]  # round again: nothing holds the focus


def test_a_reload_in_the_middle_keeps_the_place(player, quay):
    player.to(37.5)
    player.page.click("#go")
    player.until("document.getElementById('sound').currentTime > 38")
    player.page.reload()
    player.until("document.getElementById('sound').readyState > 0")
    player.settle()
    assert player.state() == "held"
    assert 38 <= player.seconds() < 41
    assert player.text("what") == _scene_at(quay, player.seconds()).move
    assert player.text("go") == "Continue"
    player.page.click("#go")
    player.until("document.body.dataset.state === 'playing'")


def test_the_end_and_once_more(player, quay):
    player.to(quay.frames / RATE_HZ - 0.3)
    player.page.click("#go")
    player.until("document.body.dataset.state === 'ended'", within_s=10)
    assert player.text("what") == "Finished"
    assert player.text("go") == "Once more"
    assert not player.page.is_visible("#digits")
    player.page.reload()  # a session that is over does not begin at its end
    player.until("document.getElementById('sound').readyState > 0")
    assert player.seconds() == 0
    assert player.text("go") == "Start"


def test_without_its_sound_the_page_says_what_to_do(browser, quay, tmp_path):
    page = write_player(tmp_path, quay)
    (tmp_path / "quay 1.wav").unlink()
    with opened(browser, page) as player:
        player.page.wait_for_selector("#trouble:not([hidden])")
        assert "“quay 1.wav” cannot be played" in player.text("trouble")
        player.page.click("#go")
        player.page.wait_for_timeout(300)
        assert player.page.is_visible("#trouble")
        assert player.text("go") == "Start"
        player.page.click("#skip")  # the session can still be looked through
        assert player.text("what") == "Squat"
        write_silence(tmp_path / "quay 1.wav", quay.frames / RATE_HZ)
        player.page.click("#go")
        player.until("document.getElementById('trouble').hidden")
        player.until("document.getElementById('sound').currentTime > 4.2")
        assert player.state() == "playing"


def test_a_sound_of_another_length_is_told(browser, quay, tmp_path):
    page = write_player(tmp_path, quay)
    write_silence(tmp_path / "quay 1.wav", 30)
    with opened(browser, page) as player:
        player.page.wait_for_selector("#trouble:not([hidden])")
        assert "The sound lasts 0:30" in player.text("trouble")


def test_a_page_with_its_sound_inside_needs_no_other_file(browser, quay, tmp_path):
    write_silence(tmp_path / "s.wav", quay.frames / RATE_HZ)
    sound = SoundInside((tmp_path / "s.wav").read_bytes(), "audio/wav")
    page = tmp_path / "inside.html"
    page.write_text(player_page(quay, sound=sound), encoding="utf-8")
    (tmp_path / "s.wav").unlink()
    with opened(browser, page) as player:
        player.accept()
        player.to(50)
        assert player.text("what") == "Press"
        assert player.complaints == []
        addresses = {name for name in names_of(player.requests) if not name.startswith("blob:")}
        assert addresses <= {"inside.html", "data:,"}


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Says nothing."""


def test_a_page_on_a_server_asks_for_its_sound_and_nothing_else(browser, page_file):
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=page_file.parent))
    with server:
        Thread(target=server.serve_forever, daemon=True).start()
        page = browser.new_page()
        requests: list[str] = []
        page.on("request", lambda request: requests.append(request.url))
        top = f"http://127.0.0.1:{server.server_address[1]}"
        page.goto(f"{top}/{page_file.name}")
        player = Opened(page)
        player.until("document.getElementById('sound').readyState > 0")
        page.click("#go")
        player.until("document.body.dataset.state === 'playing'")
        page.close()
        server.shutdown()
    assert set(requests) - {"data:,"} == {f"{top}/{page_file.name}", f"{top}/quay%201.wav"}


_HIDDEN = """
Object.defineProperty(document, "hidden", { get: () => window.isHidden === true });
const draw = window.requestAnimationFrame.bind(window);
window.requestAnimationFrame = (task) => (window.isHidden ? 1 : draw(task));
"""


def test_a_hidden_page_follows_the_sound_without_pictures(browser, page_file):
    """So that a lock screen names what is done, and the place is kept."""
    with opened(browser, page_file, before=_HIDDEN) as player:
        player.accept()
        player.to(23)
        player.page.evaluate("window.isHidden = true")
        player.page.click("#go")
        player.until("document.getElementById('sound').currentTime > 25")
        assert player.page.evaluate("navigator.mediaSession.metadata.title") == "Press, left side"
        kept = json.loads(player.page.evaluate("Object.values(localStorage)[0]"))
        assert 24 * RATE_HZ < kept["frame"] < 27 * RATE_HZ


_NO_STORAGE = """
Object.defineProperty(window, "localStorage", { get() { throw new DOMException("no", "SecurityError"); } });
"""


def test_a_browser_without_storage_forgets_the_place_and_nothing_else(browser, page_file):
    with opened(browser, page_file, before=_NO_STORAGE) as player:
        player.accept()
        player.to(37.5)
        assert player.text("what") == "Press"
        player.page.reload()
        assert player.state() == "before"
        assert player.complaints == []


_MEDIA_KEYS = """
window.handlers = {};
navigator.mediaSession.setActionHandler = (action, handler) => { window.handlers[action] = handler; };
"""


def test_media_keys_and_headset_buttons(browser, page_file):
    """Media Session, W3C working draft: the actions that keys, headsets and lock screens send."""
    with opened(browser, page_file, before=_MEDIA_KEYS) as player:
        player.accept()

        def press(action: str, detail: str = "{}") -> None:
            player.page.evaluate(f"window.handlers['{action}']({detail})")
            player.settle()

        press("nexttrack")
        assert player.text("what") == "Squat"
        press("seekto", "{seekTime: 31.25}")
        assert player.seconds() == pytest.approx(31.25, abs=0.5 / RATE_HZ)
        told = player.page.evaluate(
            "[navigator.mediaSession.metadata].map(m => [m.title, m.artist, m.album])[0]"
        )
        assert told == ["Press, left side", "Drill · Round 1 of 2", "Quay drill"]
        press("previoustrack")
        assert player.text("side") == "left side"
        press("play")
        assert player.is_playing()
        press("pause")
        assert not player.is_playing()
        assert player.complaints == []


_WAKE_LOCK = """
window.locks = [];
const request = async (kind) => {
  const lock = new EventTarget();
  Object.assign(lock, { kind, held: true });
  lock.release = async () => { lock.held = false; lock.dispatchEvent(new Event("release")); };
  window.locks.push(lock);
  return lock;
};
Object.defineProperty(Navigator.prototype, "wakeLock", { value: { request } });
"""


def test_the_screen_stays_awake_while_the_sound_plays(browser, page_file):
    """Screen Wake Lock, W3C: a lock is lost when the page is hidden, and has to be asked for again."""
    with opened(browser, page_file, before=_WAKE_LOCK) as player:
        player.page.click("#go")
        player.until("window.locks.length === 1")
        assert player.page.evaluate("window.locks[0].kind") == "screen"
        player.page.evaluate("window.locks[0].release()")  # as the browser does when the page is hidden
        player.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        player.until("window.locks.length === 2 && window.locks[1].held")
        player.page.click("#go")
        player.until("!window.locks[1].held")
        player.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        player.page.wait_for_timeout(100)
        assert player.page.evaluate("window.locks.length") == 2  # a pause keeps no screen on
        assert player.complaints == []


def test_what_is_announced_to_those_who_hear_the_page(player):
    player.page.evaluate(
        """
        window.said = [];
        const region = document.getElementById("said");
        new MutationObserver(() => window.said.push(region.textContent)).observe(region, {childList: true});
        """
    )
    player.to(23.6)
    player.page.click("#go")
    player.until("window.said.some(text => text.startsWith('10 seconds'))", within_s=20)
    player.page.click("#go")
    player.until("window.said.includes('Paused')")
    said = player.page.evaluate("window.said.filter(Boolean)")
    assert said == [
        "Rest. Next: Press, left side. One knee on the mat. Equipment: long loop band",
        "Press, left side, 16 seconds left",
        "10 seconds left",
        "Paused",
    ]


def test_what_is_called_is_seen(player, quay):
    line = next(one for one in quay.placed if one.text == "Breathe out.")
    player.to((line.start_frame + 1) / RATE_HZ)
    assert player.text("called") == "Breathe out."
    player.to((line.start_frame + line.frames) / RATE_HZ + 1.1)
    assert player.text("called") == ""


def test_the_speed_stays_one(player):
    player.page.evaluate("document.getElementById('sound').playbackRate = 1.5")
    player.until("document.getElementById('sound').playbackRate === 1")


def test_the_whole_session_as_a_list(player, quay):
    player.page.click("#all summary")
    cells = "rows => rows.map(row => [...row.children].map(cell => cell.textContent))"
    rows = player.page.eval_on_selector_all("#all li", cells)
    assert len(rows) == len(scenes_of(quay))
    assert rows[1] == ["0:04", "Squat, slow", "0:08"]
    player.to(30)
    assert player.page.inner_text("#all [aria-current]").split("\n")[1].startswith("Press")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [PHONE, WIDE], ids=["phone", "wide"])
def test_axe_finds_nothing(browser, page_file, viewport, scheme):
    """axe-core with its rules for WCAG 2.1 A and AA and its best practices; in every state of the page."""
    axe = Axe()
    with opened(browser, page_file, viewport=viewport, color_scheme=scheme) as player:

        def violations() -> list[str]:
            found = axe.run(player.page).response["violations"]
            return [f"{one['id']}: {node['html']}" for one in found for node in one["nodes"]]

        assert violations() == []
        player.accept()
        player.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        for seconds in (2, 6, 33):
            player.to(seconds)
            assert violations() == []
        player.page.click("#go")
        assert violations() == []
        player.to(1e6)
        player.until("document.body.dataset.state === 'ended'")
        assert violations() == []


def test_digits_are_read_from_three_metres(player):
    """NUREG-0700: 0.004 of the distance at least, 0.006 preferred: 12 mm and 18 mm from three metres.

    A phone whose page is 390 px wide is about 65 mm wide (from memory): six pixels are a millimetre.
    """
    digit_height = """() => {
        const style = getComputedStyle(document.getElementById("digits"));
        const pen = document.createElement("canvas").getContext("2d");
        pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
        const size = pen.measureText(document.getElementById("digits").textContent);
        return size.actualBoundingBoxAscent;
    }"""
    player.to(10)
    assert player.page.evaluate(digit_height) / 6 >= 18
    player.page.evaluate("document.getElementById('digits').dataset.length = 4")
    assert player.page.evaluate(digit_height) / 6 >= 12


_WORK = (0, 114, 178)
_UPPER = 0.43  # of the strip's height: the foot of the upper half, below all names


def _edges_of_work(player: Opened, canvas: str, share: float) -> list[float]:
    """Where, along one line of a picture, the blue of work begins and ends, in pixels of the page."""
    row = player.page.evaluate(
        """([id, share]) => {
            const canvas = document.getElementById(id);
            const copy = document.createElement("canvas");
            [copy.width, copy.height] = [canvas.width, 1];
            const pen = copy.getContext("2d", { willReadFrequently: true });
            pen.drawImage(canvas, 0, -Math.round(canvas.height * share));
            return [...pen.getImageData(0, 0, canvas.width, 1).data];
        }""",
        [canvas, share],
    )
    is_work = [tuple(row[at : at + 3]) == _WORK for at in range(0, len(row), 4)]
    return [x for x in range(1, len(is_work)) if is_work[x] != is_work[x - 1]]


def test_the_whole_session_is_drawn_to_scale(player, quay):
    width = player.page.evaluate("document.getElementById('whole').width")
    player.to(0)
    # In the upper half lie the left sides and what has none.
    found = _edges_of_work(player, "whole", 0.3)
    upper = [scene for scene in scenes_of(quay) if scene.kind == "work" and scene.side != "right"]
    begins = [scene.start_frame / quay.frames * width for scene in upper if scene.first == scene.index]
    assert len(found) >= 2 * len(begins)
    for begin in begins:
        assert min(abs(x - begin) for x in found) <= 1.5


def test_the_strip_is_to_scale_and_slides_under_a_line_that_stands_still(player, quay):
    work = next(scene for scene in scenes_of(quay) if scene.move == "Press" and scene.side == "left")
    player.to(work.start_frame / RATE_HZ - 4)
    begin, end, *_ = _edges_of_work(player, "strip", _UPPER)
    pixels_per_second = (end + 2 - begin) / (work.frames / RATE_HZ)
    player.to(work.start_frame / RATE_HZ)
    line = player.page.evaluate("parseFloat(getComputedStyle(document.getElementById('strip')).textIndent)")
    (moved_end,) = [x for x in _edges_of_work(player, "strip", _UPPER) if x > line + 10][:1]
    assert moved_end + 2 - line == pytest.approx(work.frames / RATE_HZ * pixels_per_second, abs=1.5)
    assert begin - line == pytest.approx(4 * pixels_per_second, abs=1.5)


def _strip(player: Opened) -> str:
    return str(player.page.evaluate("document.getElementById('strip').toDataURL()"))


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_nothing_slides_for_those_who_asked_for_less_motion(browser, page_file, motion):
    """With reduced motion the blocks stand still within a scene; only what has passed fills up."""
    with opened(browser, page_file, reduced_motion=motion) as player:
        player.accept()
        player.to(26)
        before = _edges_of_work(player, "strip", _UPPER)
        player.to(28)
        after = _edges_of_work(player, "strip", _UPPER)
        assert (before[-1] == after[-1]) == (motion == "reduce")
        picture = _strip(player)
        player.to(32)
        assert _strip(player) != picture


@pytest.mark.parametrize("viewport", [PHONE, WIDE], ids=["phone", "wide"])
def test_everything_needed_is_in_sight_without_scrolling(browser, tmp_path, viewport):
    arrangement = likely(next(path for path in SAMPLES if path.stem == "quay-circuit"))
    with opened(browser, write_player(tmp_path, arrangement), viewport=viewport) as player:
        player.accept()
        for seconds in (5, 45, 442, 460, 490, 525, 1195):
            player.to(seconds)
            assert player.page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
            foot = player.page.evaluate("document.querySelector('footer').getBoundingClientRect().top")
            for name in (
                "strip",
                "whole",
                "digits",
                "what",
                "how",
                "now-options",
                "next-what",
                "next-options",
            ):
                box = player.page.locator(f"#{name}").bounding_box()
                assert box is None or box["y"] + box["height"] <= foot + 1, (name, seconds)


@pytest.mark.parametrize("viewport", [SMALL, PHONE, WIDE], ids=["small", "phone", "wide"])
def test_untidy_texts_are_shown_as_text(browser, tmp_path, viewport):
    arrangement = likely_of(untidy_plan())
    with opened(browser, write_player(tmp_path, arrangement), viewport=viewport) as player:
        assert player.page.inner_text("h1") == UNTIDY_TEXTS[0]
        assert player.page.title() == UNTIDY_TEXTS[0]
        player.accept()
        shown = set()
        for scene in scenes_of(arrangement):
            player.to((scene.start_frame + scene.end_frame) / 2 / 48_000)
            shown |= {player.text("what"), player.text("next-what")}
            assert player.page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
            assert player.page.locator("#digits").bounding_box()["height"] > 90
        assert {" ".join(text.split()) for text in UNTIDY_TEXTS} <= shown
        assert player.page.evaluate("document.scripts.length") == 2
        assert player.complaints == []


_WATCH = """
window.seen = [];
setInterval(() => {
  const texts = ["digits", "what", "stage", "side"].map((id) => document.getElementById(id).textContent);
  window.seen.push([document.getElementById("sound").currentTime, ...texts]);
}, 20);
"""


def _furthest_off(arrangement: Arrangement, seen: list[Any]) -> float:
    """How far in seconds the sound was from a time at which what was seen would have been right."""
    worst = 0.0
    for seconds, digits, *texts in seen:
        ways = [abs(step) / 1000 for step in range(0, 500, 5)]

        def is_right(at: float, digits: str = digits, texts: list[str] = texts) -> bool:
            frame = min(max(0, round(at * arrangement.rate_hz)), arrangement.frames - 1)
            scene = _scene_at(arrangement, frame / arrangement.rate_hz)
            side = f"{scene.side} side" if scene.side else ""
            return digits == _shown_for(scene, frame / arrangement.rate_hz, arrangement.rate_hz) and (
                scene.kind != "work" or texts == [scene.move, scene.stage or "", side]
            )

        off = (way for way in ways if is_right(seconds - way) or is_right(seconds + way))
        worst = max(worst, next(off, 9.9))
    return worst


def test_two_minutes_of_audio_time_and_shown_seconds_never_part(browser, page_file, quay):
    """At most 100 ms between the sound's own time and what is shown, looked at about fifty times a second.

    A look that comes late itself is left out: then the machine gave the browser no time, and the page none.
    """
    with opened(browser, page_file) as player:
        player.accept()
        assert quay.frames / RATE_HZ > 121
        player.page.evaluate(_WATCH)
        player.page.click("#go")
        player.until("document.getElementById('sound').currentTime >= 120", within_s=300)
        seen = [row for row in player.page.evaluate("window.seen") if row[0] > 0]
        in_time = [after for before, after in pairwise(seen) if after[0] - before[0] < 0.06]
        assert len(in_time) > 2_000
        assert _furthest_off(quay, in_time) <= 0.1
        assert {row[1] for row in in_time} >= {str(left) for left in range(1, 17)}
        assert player.complaints == []


_PICTURES = """
window.spent = [];
const ask = window.requestAnimationFrame.bind(window);
window.requestAnimationFrame = (task) => ask((time) => {
  const before = performance.now();
  task(time);
  window.spent.push(performance.now() - before);
});
"""


def test_three_hours_open_at_once_and_scroll_smoothly(browser, tmp_path):
    """The issue's own figures: a usable page within a second, and sixty pictures a second need 16 ms each.

    The best of three openings and the middle of all pictures are taken: a busy machine is not the page's.
    """
    arrangement = likely_of(json.dumps(json.loads(three_hours_of_ten_thousand_scenes())))
    page = write_player(tmp_path, arrangement)
    painted = "performance.getEntriesByName('first-contentful-paint').map(entry => entry.startTime)[0]"
    times = []
    for _ in range(3):
        with opened(browser, page, viewport=WIDE, before=_PICTURES) as player:
            player.until(f"{painted} > 0")
            usable = "performance.getEntriesByType('navigation')[0].domInteractive"
            times.append(max(player.page.evaluate(painted), player.page.evaluate(usable)))
            player.accept()
            player.to(3600)
            player.page.evaluate("window.spent = []")
            player.page.click("#go")
            player.until("document.getElementById('sound').currentTime >= 3603")
            spent = sorted(player.page.evaluate("window.spent"))
            assert spent[len(spent) // 2] < 16
            assert len(spent) >= 30
    assert min(times) < 1000
