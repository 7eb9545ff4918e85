"""Links, devices and pipes where a plan's files should be: none leads out, none hangs."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.hostile.stranger import KEEPSAKE, NEW_FILES, PARTS, PLAN, VOICE, Stranger

OUTSIDE = "lies outside the plan's folder"
# A key that names a file: what a plan says with it, the file of the user's that it would read, a command.
KEYS = {
    "bed": ("bed: {file: LINK}", "tide.wav", "render"),
    "second of a list": ("bed: {file: [beds/tide.wav, LINK]}", "tide.wav", "render"),
    "bed of a step": ("bed: {file: [LINK]}", "tide.wav", "check"),
    "artwork": ("artwork: LINK", "face.png", "render"),
    "voice file": ("voice: ./LINK", "quay.yaml", "check"),
    "voice folder": ("voice: ./LINK", "clips", "check"),
    "voice model": ("voice: ./LINK", "model.onnx", "check"),
}


@pytest.fixture(params=["a link", "a chain", "through a folder", "absolute"])
def link_out(request: pytest.FixtureRequest, stranger: Stranger):
    """A function that makes a link to a file of the user's, and gives its name in the stranger's folder."""

    def made(name: str) -> str:
        own = Path("..") / "own"
        match request.param:
            case "a link":
                stranger.link(name, own / name)
            case "a chain":
                stranger.link("first", own / name)
                stranger.link("second", "first")
                stranger.link(name, "second")
            case "through a folder":
                stranger.link("shelf", own)
                return f"shelf/{name}"
            case _:
                stranger.link(name, stranger.own / name)
        return name

    return made


@pytest.mark.parametrize("key", KEYS)
def test_a_link_out_of_the_folder_is_not_followed(stranger: Stranger, link_out, key: str) -> None:
    text, name, command = KEYS[key]
    if key == "voice folder":
        (stranger.home / "clips" / "row.wav").unlink()
        (stranger.home / "clips").rmdir()
    plan = stranger.plan(text.replace("LINK", link_out(name)))
    assert "--allow-outside" in stranger.refused(command, plan, naming=OUTSIDE)


@pytest.mark.parametrize("command", ["check", "timeline", "review", "render", "sheet", "preview"])
def test_a_house_style_that_is_a_link_out_is_not_read(stranger: Stranger, command: str) -> None:
    stranger.link("house.yaml", "../own/house.yaml")
    plan = stranger.plan()
    more = ("-o", stranger.own.parent / "sheet.csv") if command == "sheet" else ()
    stranger.refused(command, plan, *more, naming=f"'house.yaml' {OUTSIDE}")


def test_a_house_style_that_is_a_link_inside_is_read(stranger: Stranger) -> None:
    (stranger.home / "beds" / "house.yaml").write_text("lexicon: {quay: key}\n", encoding="utf-8")
    stranger.link("house.yaml", "beds/house.yaml")
    assert stranger.run("check", stranger.plan()).code == 0


def test_with_leave_a_house_style_elsewhere_is_read(stranger: Stranger) -> None:
    (stranger.own / "house.yaml").write_text("bed: {pulse: 120 bpm}\n", encoding="utf-8")
    stranger.link("house.yaml", "../own/house.yaml")
    assert stranger.run("check", stranger.plan(), "--allow-outside").code == 0


@pytest.mark.parametrize(
    ("name", "target"),
    [
        ("house.yaml", "house.yaml"),
        ("house.yaml", "nowhere.yaml"),
        ("house.yaml", "/dev/zero"),
        ("house.yaml", "/dev/stdin"),
        ("house.yaml", "../own"),
        ("house.yaml", "."),
    ],
    ids=["loop", "nowhere", "endless device", "terminal", "folder outside", "itself"],
)
def test_a_house_style_that_is_no_file(stranger: Stranger, name: str, target: str) -> None:
    stranger.link(name, target)
    stranger.refused("check", stranger.plan(), naming="house.yaml")


@pytest.mark.parametrize("key", KEYS)
def test_a_loop_of_links(stranger: Stranger, key: str) -> None:
    text, name, command = KEYS[key]
    first = f"loop-{name}"
    stranger.link(first, "round")
    stranger.link("round", first)
    outcome = stranger.run(command, stranger.plan(text.replace("LINK", first)))
    assert outcome.code in {1, 3}
    assert first in outcome.said


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("device", ["/dev/zero", "/dev/random", "/dev/stdin", "/dev/full", "/proc/self/mem"])
def test_a_link_to_a_device(stranger: Stranger, key: str, device: str) -> None:
    if not Path(device).exists():
        pytest.skip(f"no {device} here")
    text, _, command = KEYS[key]
    stranger.link("endless.yaml" if "voice file" in key else "endless.onnx", device)
    name = "endless.yaml" if "voice file" in key else "endless.onnx"
    outcome = stranger.run(command, stranger.plan(text.replace("LINK", name)))
    assert outcome.code == 1
    assert name in outcome.said


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("allowed", [False, True], ids=["within", "with leave"])
def test_a_named_pipe_is_never_waited_for(stranger: Stranger, key: str, allowed: bool) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes here")
    text, _, command = KEYS[key]
    name = "pipe.yaml" if key == "voice file" else "pipe.onnx"
    os.mkfifo(stranger.home / name)
    if key == "voice model":
        os.mkfifo(stranger.home / f"{name}.json")
    plan = stranger.plan(text.replace("LINK", name))
    outcome = stranger.run(command, plan, *(["--allow-outside"] if allowed else []))
    assert outcome.code in {1, 3}
    assert name in outcome.said


@pytest.mark.parametrize("command", ["check", "fmt", "series", "render", "import", "verify", "align"])
@pytest.mark.parametrize("what", ["pipe", "endless device", "folder", "loop"])
def test_a_plan_that_is_no_file(stranger: Stranger, command: str, what: str) -> None:
    name = "plan.csv" if command == "import" else "plan.yaml"
    plan = stranger.home / name
    match what:
        case "pipe":
            if not hasattr(os, "mkfifo"):
                pytest.skip("no named pipes here")
            os.mkfifo(plan)
        case "endless device":
            stranger.link(name, "/dev/zero")
        case "folder":
            plan.mkdir()
        case _:
            stranger.link(name, name)
    more = {"import": ["-o", stranger.home / "made.yaml"]}.get(command, [])
    if command in {"verify", "align"}:
        more = [stranger.home / "beds" / "tide.wav"]
    outcome = stranger.run(command, plan, *more)
    assert outcome.code in {1, 2}
    assert name in outcome.said


@pytest.mark.parametrize("target", ["../own/clips/row.wav", "/dev/zero", "row.wav", "../own", "gone.wav"])
def test_a_clip_that_is_a_link_out(stranger: Stranger, target: str) -> None:
    (stranger.home / "clips" / "row.wav").unlink()
    stranger.link("clips/row.wav", target if target[0] != "." else f"../{target}")
    parts = PARTS.replace("work: 2s", "work: 2s, cues: [{at: 0s, say: Row.}]")
    stranger.refused("render", stranger.plan("voice: ./clips", parts), naming="row.wav")


def test_the_settings_of_a_model_are_no_link_out(stranger: Stranger) -> None:
    (stranger.home / "row.onnx").write_bytes(b"model")
    stranger.link("row.onnx.json", "../own/model.onnx.json")
    stranger.refused("check", stranger.plan("voice: row.onnx"), naming=f"'row.onnx.json' {OUTSIDE}")


def test_the_settings_of_a_voices_model_are_no_link_out(stranger: Stranger) -> None:
    (stranger.home / "row.onnx").write_bytes(b"model")
    stranger.link("row.onnx.json", "../own/model.onnx.json")
    lines = VOICE.replace("engine: recorded", "engine: piper").replace("folder: clips", "model: row.onnx")
    (stranger.home / "quay.yaml").write_text(lines, encoding="utf-8")
    stranger.refused("check", stranger.plan("voice: quay.yaml"), naming=OUTSIDE)


def test_the_fallback_of_a_voice_leads_nowhere_else(stranger: Stranger) -> None:
    """Two steps inside the folder, the third out of it."""
    (stranger.home / "quay.yaml").write_text(f"{VOICE}fallback: ./other.yaml\n", encoding="utf-8")
    lines = VOICE.replace("name: quay", "name: other").replace("engine: recorded", "engine: piper")
    (stranger.home / "other.yaml").write_text(
        lines.replace("folder: clips", "model: ../own/model.onnx"), encoding="utf-8"
    )
    parts = PARTS.replace("work: 2s", "work: 2s, cues: [{at: 0s, say: Not recorded.}]")
    stranger.refused("render", stranger.plan("voice: quay.yaml", parts), naming=OUTSIDE)


@pytest.mark.parametrize("way", ["link", "folder", "chain"])
@pytest.mark.parametrize("called", [False, True], ids=["series", "check --day"])
def test_the_plan_of_a_day_is_no_link_out(stranger: Stranger, way: str, called: bool) -> None:
    (stranger.own / "day.yaml").write_text(PLAN + PARTS.replace("March", KEEPSAKE), encoding="utf-8")
    name = "day.yaml"
    if way == "folder":
        stranger.link("days", "../own")
        name = "days/day.yaml"
    elif way == "chain":
        stranger.link("other.yaml", "../own/day.yaml")
        stranger.link("day.yaml", "other.yaml")
    else:
        stranger.link("day.yaml", "../own/day.yaml")
    series = stranger.home / "winter.yaml"
    series.write_text(
        f"series: Winter\nsessions:\n  - {{date: 2026-11-30, plan: {name}}}\n", encoding="utf-8"
    )
    command = ("check", series, "--day", "1") if called else ("series", series)
    stranger.refused(*command, naming=OUTSIDE)


# What a command writes beside a plan: its name, and how it is asked for.
WRITTEN = {
    "render": ("plan.wav", ["render", "PLAN"]),
    "timeline of a render": ("plan.timeline.json", ["render", "PLAN"]),
    "MP3": ("plan.mp3", ["render", "PLAN", "-o", "HOME/plan.mp3"]),
    "one of several mixes": ("plan.film.wav", ["render", "PLAN", "--mix", "class", "--mix", "film"]),
    "stem": ("plan.bed.wav", ["render", "PLAN", "--stems"]),
    "paper": ("plan.chapters.txt", ["render", "PLAN", "-o", "HOME/plan.wav", "--with", "chapters"]),
    "index": ("plan.index.html", ["render", "PLAN", "-o", "HOME/plan.wav", "--with", "chapters"]),
    "preview": ("plan.preview.wav", ["preview", "PLAN", "--whole"]),
    "sheet": ("plan.csv", ["sheet", "PLAN", "-o", "HOME/plan.csv"]),
    "export": ("plan.csv", ["export", "PLAN", "-o", "HOME/plan.csv", "--replace"]),
    "import": ("made.yaml", ["import", "HOME/table.csv", "-o", "HOME/made.yaml", "--replace"]),
}


@pytest.mark.parametrize("way", ["link", "nowhere yet", "folder"])
@pytest.mark.parametrize("what", WRITTEN)
def test_nothing_is_written_through_a_link_out(stranger: Stranger, what: str, way: str) -> None:
    name, command = WRITTEN[what]
    plan = stranger.plan("bed: {pulse: 120 bpm}")
    (stranger.home / "table.csv").write_text("move,work\nMarch,20s\n", encoding="utf-8")
    home = stranger.home
    if way == "folder":
        if not any("HOME" in word for word in command[2:]):
            pytest.skip("its file stands beside the plan")
        stranger.link("shelf", "../own")
        home = stranger.home / "shelf"
        (stranger.own / "table.csv").write_text("move,work\nMarch,20s\n", encoding="utf-8")
        command = [word.replace("HOME/table", f"{stranger.home}/table") for word in command]
    else:
        target = stranger.own / (name if way == "nowhere yet" else "notes.txt")
        stranger.link(name, target)
    arguments = [word.replace("PLAN", str(plan)).replace("HOME", str(home)) for word in command]
    said = stranger.refused(*arguments, naming="out of its folder")
    assert "--allow-outside" in said
    assert (stranger.own / "notes.txt").read_text("utf-8") == KEEPSAKE


@pytest.mark.parametrize(
    ("name", "command"),
    [
        ("winter-day-1.wav", ["render"]),
        ("winter-day-1.timeline.json", ["render"]),
        ("winter-day-1.preview.wav", ["preview", "--whole"]),
        ("winter-day-1.sheet.pdf", ["sheet"]),
    ],
    ids=["render", "timeline of a render", "preview", "sheet"],
)
def test_nothing_is_written_through_a_link_beside_a_series(
    stranger: Stranger, name: str, command: list[str]
) -> None:
    """The plan of its day lies in a folder further down, where there is no link."""
    (stranger.home / "days").mkdir()
    stranger.plan("bed: {pulse: 120 bpm}", name="days/plan.yaml")
    series = stranger.home / "winter.yaml"
    day = "{date: 2026-11-30, plan: days/plan.yaml}"
    series.write_text(f"series: Winter\nnumbered: off\nsessions: [{day}]\n", encoding="utf-8")
    stranger.link(name, stranger.own / "notes.txt")
    stranger.refused(command[0], series, "--day", "1", *command[1:], naming="out of its folder")
    assert (stranger.own / "notes.txt").read_text("utf-8") == KEEPSAKE


def test_fmt_does_not_rewrite_the_users_plan_through_a_link(stranger: Stranger) -> None:
    (stranger.own / "mine.yaml").write_text(PLAN + PARTS, encoding="utf-8")
    plan = stranger.link("plan.yaml", "../own/mine.yaml")
    stranger.refused("fmt", plan, naming="out of its folder")


def test_a_session_folder_that_is_a_link_out_gets_nothing(stranger: Stranger) -> None:
    stranger.link("plan", "../own")
    stranger.refused("render", stranger.plan(), "--with", "chapters", naming="out of its folder")


def test_a_link_that_stays_in_the_folder_is_followed(stranger: Stranger) -> None:
    link = stranger.link("plan.wav", "beds/made.wav")
    names = frozenset({"plan.wav", "beds/made.wav", "plan.timeline.json"})
    assert stranger.run("render", stranger.plan(), may_write=names).code == 0
    assert link.is_symlink()
    assert (stranger.home / "beds" / "made.wav").is_file()


def test_a_link_of_the_users_own_is_followed_elsewhere(stranger: Stranger, tmp_path: Path) -> None:
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (tmp_path / "latest.wav").symlink_to(shelf / "latest.wav")
    assert stranger.run("render", stranger.plan(), "-o", tmp_path / "latest.wav").code == 0
    assert (shelf / "latest.wav").is_file()


def test_with_leave_a_link_out_is_followed(stranger: Stranger, tmp_path: Path) -> None:
    stranger.link("plan.wav", tmp_path / "made.wav")
    plan = stranger.plan()
    assert stranger.run("render", plan, "--allow-outside", may_write=NEW_FILES).code == 0
    assert (tmp_path / "made.wav").is_file()
