"""Every key that names a file × every way to write one that lies elsewhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.hostile.stranger import NEW_FILES, PARTS, PLAN, VOICE, Stranger

# A key that names a file: what a plan says with it, the file of the user's that it would read, a command.
KEYS = {
    "bed": ("bed: {{file: {}}}", "tide.wav", "render"),
    "second of a list": ("bed: {{file: [beds/tide.wav, {}]}}", "tide.wav", "render"),
    "artwork": ("artwork: {}", "face.png", "render"),
    "voice file": ("voice: {}", "quay.yaml", "check"),
    "voice model": ("voice: {}", "model.onnx", "check"),
}
# Ways to write it; `FILE` is its name, `OWN` the absolute folder.
OUTSIDE = {
    "climbing": "../own/FILE",
    "climbing far": "../../../../../../../../../../../../etc/passwd.FILE",
    "climbing from a folder": "beds/../../own/FILE",
    "climbing with doubled strokes": "beds//..//..//own//FILE",
    "climbing with dots between": "./beds/./.././../own/FILE",
    "climbing through what is not there": "nowhere/../../own/FILE",
    "absolute": "OWN/FILE",
    "absolute with three strokes": "//OWN/FILE",
    "absolute that comes back and leaves": "HOME/../own/FILE",
    "through the process": "/proc/self/cwd/own/FILE",
}
# What is only a strange name in the folder itself, and not there.
STRANGE = {
    "percent-encoded": "..%2fown%2fFILE",
    "percent-encoded dots": "%2e%2e/own/FILE",
    "percent-encoded twice": "..%252fown%252fFILE",
    "Windows climbing": "..\\\\own\\\\FILE",
    "Windows drive": "C:\\\\own\\\\FILE",
    "UNC": "\\\\\\\\server\\\\share\\\\FILE",
    "wide dots": "\uff0e\uff0e/own/FILE",
    "wide strokes": "..\u2215own\u2215FILE",
    "variable": "$HOME/FILE",
    "braces": "${HOME}/FILE",
    "backquotes": "`cat FILE`/FILE",
    "pattern": "*/FILE",
    "too long": "x" * 300 + "/FILE",
    "very deep": "a/" * 200 + "FILE",
}


def written(way: str, name: str, stranger: Stranger) -> str:
    path = way.replace("FILE", name).replace("OWN", stranger.own.as_posix())
    return '"' + path.replace("HOME", stranger.home.as_posix() if way.startswith("HOME") else "HOME") + '"'


@pytest.mark.parametrize("way", OUTSIDE)
@pytest.mark.parametrize("key", KEYS)
def test_a_file_outside_is_not_read(stranger: Stranger, key: str, way: str) -> None:
    text, name, command = KEYS[key]
    path = written(OUTSIDE[way], name, stranger)
    plan = stranger.plan(text.format(path))
    said = stranger.refused(command, plan, naming="lies outside the plan's folder")
    assert "--allow-outside" in said
    assert "plan.yaml:5:" in said


@pytest.mark.parametrize("way", STRANGE)
@pytest.mark.parametrize("key", KEYS)
def test_a_strange_name_is_a_name_in_the_folder(stranger: Stranger, key: str, way: str) -> None:
    text, name, command = KEYS[key]
    path = written(STRANGE[way], name, stranger)
    plan = stranger.plan(text.format(path))
    outcome = stranger.run(command, plan)
    assert outcome.code in {1, 3}
    assert re.search("there is no (file|voice)|cannot be a file here|lies outside", outcome.said)
    assert "plan.yaml:5:" in outcome.said


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("text", ['"~/{}"', '"~root/{}"', '"~nobody-of-that-name/{}"'])
def test_a_tilde_leads_to_nobodys_home(stranger: Stranger, key: str, text: str) -> None:
    more, name, command = KEYS[key]
    outcome = stranger.run(command, stranger.plan(more.format(text.format(name))))
    assert outcome.code in {1, 3}
    assert re.search("there is no (file|voice)|lies outside", outcome.said)


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("character", ["\\0", "\\r", "\\e[2J", "\\a", "\\u2028", "\\u202e", "\\ud800"])
def test_a_name_with_a_control_character_is_told_without_it(
    stranger: Stranger, key: str, character: str
) -> None:
    text, name, command = KEYS[key]
    outcome = stranger.run(command, stranger.plan(text.format(f'"tide{character}{name}"')))
    assert outcome.code in {1, 3}
    assert not set("\0\r\x1b\a\u2028\u202e") & set(outcome.said)


def test_with_leave_files_outside_are_read(stranger: Stranger) -> None:
    """What is refused above is refused for where it lies, and for nothing else."""
    plan = stranger.plan("bed: {file: ../own/tide.wav}\nvoice: ../own/clips")
    outcome = stranger.run("render", plan, "--allow-outside", may_write=NEW_FILES)
    assert outcome.code == 0, outcome.said


@pytest.mark.parametrize("way", OUTSIDE)
@pytest.mark.parametrize("key", ["folder", "fallback"])
def test_what_a_recorded_voice_leads_to_lies_in_the_folder(stranger: Stranger, key: str, way: str) -> None:
    name = {"folder": "clips", "fallback": "quay.yaml"}[key]
    path = written(OUTSIDE[way], name, stranger)
    lines = VOICE.replace("folder: clips\n", "") if key == "folder" else VOICE
    (stranger.home / "quay.yaml").write_text(f"{lines}{key}: {path}\n", encoding="utf-8")
    plan = stranger.plan("voice: ./quay.yaml")
    said = stranger.refused("check", plan, naming="lies outside the plan's folder")
    assert "quay.yaml:" in said


@pytest.mark.parametrize("way", OUTSIDE)
def test_the_model_of_a_voice_lies_in_the_folder(stranger: Stranger, way: str) -> None:
    path = written(OUTSIDE[way], "model.onnx", stranger)
    lines = VOICE.replace("engine: recorded", "engine: piper").replace("folder: clips", f"model: {path}")
    (stranger.home / "quay.yaml").write_text(lines, encoding="utf-8")
    plan = stranger.plan("voice: ./quay.yaml")
    stranger.refused("check", plan, naming="lies outside the plan's folder")


@pytest.mark.parametrize("package", ["os.path", "this.that", "../own", "a b", ".", "1"])
def test_a_voice_names_a_package_and_no_more(stranger: Stranger, package: str) -> None:
    lines = VOICE.replace("engine: recorded", "engine: piper").replace("folder: clips", "model: row.onnx")
    (stranger.home / "quay.yaml").write_text(f'{lines}package: "{package}"\n', encoding="utf-8")
    stranger.refused("check", stranger.plan("voice: ./quay.yaml"), naming="is no name of a package")


@pytest.mark.parametrize("way", OUTSIDE)
@pytest.mark.parametrize("command", ["series", "check"])
def test_the_plan_of_a_day_lies_in_the_folder(stranger: Stranger, way: str, command: str) -> None:
    (stranger.own / "plan.yaml").write_text(PLAN + PARTS, encoding="utf-8")
    path = written(OUTSIDE[way], "plan.yaml", stranger)
    series = stranger.home / "winter.yaml"
    text = f"series: Winter\nsessions:\n  - {{date: 2026-11-30, plan: {path}}}\n"
    series.write_text(text, encoding="utf-8")
    day = ("--day", "1") if command == "check" else ()
    stranger.refused(command, series, *day, naming="lies outside the plan's folder")


@pytest.mark.parametrize("name", ["../own/quay.yaml", "OWN/quay.yaml", "~/quay.yaml", "../own/clips"])
def test_the_timeline_of_a_stranger_names_no_path(stranger: Stranger, name: str) -> None:
    parts = PARTS.replace("work: 2s", "work: 2s, cues: [{at: 0s, say: Row.}]")
    plan = stranger.plan("voice: ./clips", parts)
    assert stranger.run("render", plan, may_write=NEW_FILES).code == 0
    timeline = stranger.home / "plan.timeline.json"
    values = json.loads(timeline.read_text("utf-8"))
    values["speech"]["voice"] = name.replace("OWN", stranger.own.as_posix())
    timeline.write_text(json.dumps(values), encoding="utf-8")
    outcome = stranger.run("verify", timeline, stranger.home / "plan.wav")
    assert "spoken cues are not compared: there is no voice" in outcome.said


def test_paths_are_meant_from_the_folder_of_the_plan_wherever_one_works(
    stranger: Stranger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(stranger.own)
    plan = stranger.plan("bed: {file: tide.wav}")
    stranger.refused("render", plan, naming="there is no file 'tide.wav'")
    monkeypatch.chdir(stranger.home)
    stranger.refused("render", Path("plan.yaml"), naming="there is no file 'tide.wav'")
