"""Sheet, index and captions in a real browser: no request leaves, axe finds nothing, all is read."""

from __future__ import annotations

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

from cuetrack.writers.captions import captions_of, webvtt
from cuetrack.writers.index_page import index_page
from cuetrack.writers.sheet import sheet_html, sheet_of
from tests.browser.opened import write_silence
from tests.helpers.likely import SAMPLES, likely, likely_of, untidy_plan


def _pages(folder: Path) -> list[Path]:
    arrangement = likely_of(untidy_plan())
    groups = {"files-sound": ["50% <b>.mp3"], "files-coach": ["quay.sheet.html"]}
    texts = {"sheet.html": sheet_html(sheet_of(arrangement)), "index.html": index_page(arrangement, groups)}
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return [folder / name for name in texts]


def test_sheet_and_index_are_whole_accessible_and_keep_to_themselves(browser, tmp_path):
    for path in _pages(tmp_path):
        page = browser.new_page()
        requests, complaints = [], []
        page.on("request", lambda request, found=requests: found.append(request.url))
        page.on("console", lambda message, found=complaints: found.append(message.text))
        page.goto(path.as_uri())
        assert [url for url in requests if not url.startswith(("file:", "data:"))] == []
        assert complaints == []
        # The policy let the style in: without it the heading would have a margin.
        assert page.evaluate("getComputedStyle(document.querySelector('h1')).marginTop") == "0px"
        violations = Axe().run(page).response["violations"]
        assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in violations] == []
        page.close()


@pytest.mark.parametrize("plan", [SAMPLES[0], None], ids=["sample", "untidy texts"])
def test_the_browser_s_own_track_has_every_caption(browser, tmp_path, plan):
    arrangement = likely_of(untidy_plan()) if plan is None else likely(plan)
    captions = captions_of(arrangement)
    (tmp_path / "quay.vtt").write_text(webvtt(captions, arrangement.rate_hz), encoding="utf-8")
    write_silence(tmp_path / "quay.wav", 1)
    page_text = '<video src="quay.wav"><track default kind="captions" src="quay.vtt" srclang="en"></video>'
    (tmp_path / "page.html").write_text(page_text, encoding="utf-8")
    # From a file a browser loads no track; the route stands for a server.
    page = browser.new_page()
    kinds = {"html": "text/html", "vtt": "text/vtt", "wav": "audio/wav"}

    def serve(route):
        name = route.request.url.rsplit("/", 1)[1]
        route.fulfill(path=tmp_path / name, content_type=kinds[name.rsplit(".", 1)[1]])

    page.route("http://quay.invalid/**", serve)
    page.goto("http://quay.invalid/page.html")
    page.wait_for_function("document.querySelector('track').readyState === 2")
    read = page.evaluate(
        "[...document.querySelector('track').track.cues].map(c => "
        "[c.startTime, c.endTime, c.getCueAsHTML().textContent])"
    )
    page.close()
    assert len(read) == len(captions) > 3
    for (start, end, text), caption in zip(read, captions, strict=True):
        assert start == pytest.approx(caption.start_frame / arrangement.rate_hz, abs=0.0006)
        assert end == pytest.approx(caption.end_frame / arrangement.rate_hz, abs=0.0006)
        assert text.split("\n") == list(caption.lines)
