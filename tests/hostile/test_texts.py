"""Plans whose text or numbers are made to keep the reader busy, to fill the memory, or to run something."""

from __future__ import annotations

import json

import pytest

from tests.hostile.stranger import NEW_FILES, PARTS, PLAN, Stranger

LAUGH = "a: &a [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{before}'] * 10)}]\n"
    for before, name in zip("abcdefg", "bcdefgh", strict=True)
)
MERGES = "a: &a {k: v}\n" + "".join(
    f"{name}: &{name} {{<<: [{', '.join([f'*{before}'] * 9)}]}}\n"
    for before, name in zip("abcdefg", "bcdefgh", strict=True)
)
# A text that is no plan, whatever follows; and what is said of it.
TEXTS = {
    "aliases that multiply": (LAUGH, "more than 20"),
    "merges that multiply": (MERGES, "plan.yaml"),
    "an alias of a long text": (f"a: &a {'x' * 60_000}\nb: [{', '.join(['*a'] * 400)}]", "1000000"),
    "an alias in itself": ("a: &a [*a]", "a"),
    "a merge of itself": ("a: &a {<<: *a}", "a"),
    "an alias of nothing": ("a: *nobody", "nobody"),
    "lists in lists": ("a: " + "[" * 5_000 + "]" * 5_000, "too many levels"),
    "lists that never end": ("a: " + "[" * 100_000, "plan.yaml"),
    "mappings in mappings": ("a: " + "{b: " * 5_000 + "x" + "}" * 5_000, "too many levels"),
    "indents in indents": ("\n".join(" " * n + "a:" for n in range(600)), "too many levels"),
    "dashes in dashes": ("- " * 5_000 + "x", "too many levels"),
    "questions in questions": ("? " * 5_000 + "x", "plan.yaml"),
    "anchors in thousands": ("\n".join(f"a{n}: &a{n} x" for n in range(15_000)), "plan.yaml"),
    "keys in thousands": ("\n".join(f"a{n}: x" for n in range(30_000)), "plan.yaml"),
    "one key in thousands": ("session: Quay\n" * 18_000, "session"),
    "items in thousands": ("parts: [" + "1," * 100_000 + "]", "plan.yaml"),
    "a text of 250 KB": ("session: " + "x" * 250_000, "session"),
    "a text over the limit": ("session: " + "x" * 300_000, "256 KiB"),
    "a folded text of blank lines": ("session: >\n" + "\n" * 200_000 + "  x", "plan.yaml"),
    "a key of 100 KB": ("x" * 100_000 + ": 1", "plan.yaml"),
    "quotes that do not end": ('session: "' + "x\n" * 50_000, "plan.yaml"),
    "escapes": ('session: "' + "\\u0041" * 40_000 + '"', "session"),
    "comments only": ("# quay\n" * 30_000, "plan.yaml"),
    "nothing": ("", "plan.yaml"),
    "blanks": (" " * 200_000, "plan.yaml"),
    "documents": ("--- a\n" * 20_000, "plan.yaml"),
    "directives": ("%YAML 1.2\n" * 20_000 + "--- a", "plan.yaml"),
    "another YAML": ("%YAML 9.9\n---\nsession: Quay\n", "plan.yaml"),
    "a tag of Python": ("session: !!python/object/apply:os.system ['touch ran']", "tag"),
    "a new object of Python": ("session: !!python/object/new:os.system ['touch ran']", "tag"),
    "a name of Python": ("session: !!python/name:os.system x", "tag"),
    "a module of Python": ("session: !!python/module:antigravity ''", "tag"),
    "a tag of Python on a mapping": ("!!python/object:os.environ {session: Quay}", "tag"),
    "a tag of Python on a key": ("!!python/name:os.system session: Quay", "tag"),
    "a tag of Ruby": ("session: !ruby/object:Gem::Installer {i: x}", "tag"),
    "a tag of Java": ("session: !!javax.script.ScriptEngineManager [x]", "tag"),
    "a tag to include": ("session: !include ../own/notes.txt", "tag"),
    "a tag of a variable": ("session: !env HOME", "tag"),
    "a tag by a directive": ("%TAG !p! tag:yaml.org,2002:python/\n---\nsession: !p!name:os.system x", "tag"),
    "binary": ("session: !!binary aGFsbG8=", "tag"),
    "a set": ("session: !!set {a, b}", "tag"),
    "a key that is a list": ("[a, b]: x", "plan.yaml"),
    "a key that is a mapping": ("{a: b}: x", "plan.yaml"),
    "a template": ("session: Quay\nparts: {{ config }}", "plan.yaml"),
    "JSON of great depth": ('{"session": ' + '{"a":' * 3_000 + "1" + "}" * 3_001, "too many levels"),
}


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize("command", ["check", "fmt"])
def test_a_text_is_refused_at_once(stranger: Stranger, name: str, command: str) -> None:
    text, naming = TEXTS[name]
    plan = stranger.home / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    stranger.refused(command, plan, naming=naming)
    assert not list(stranger.own.parent.rglob("ran"))


@pytest.mark.parametrize(
    "data",
    [
        b"\xff\xfes\0e\0s\0s\0i\0o\0n\0",
        b"session: \xc0\xaf\xc0\xae",
        b"session: \xed\xa0\x80",
        b"session: \xf8\x88\x80\x80\x80",
        b"session: Quay\0parts",
        b"\0" * 100_000,
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
        b"PK\x03\x04" + bytes(range(256)),
        b"\x1b[2J\x1b]0;owned\x07session: Quay",
        b"session: \xe2\x80\xae yauq",
        b"\xef\xbb\xbf" * 1000,
    ],
    ids=[
        *("UTF-16", "overlong", "half a pair", "five bytes", "NUL", "only NUL", "picture", "archive"),
        *("escapes of a terminal", "backwards", "marks"),
    ],
)
@pytest.mark.parametrize("command", ["check", "series", "fmt"])
def test_bytes_that_are_no_text(stranger: Stranger, data: bytes, command: str) -> None:
    plan = stranger.home / "plan.yaml"
    plan.write_bytes(data)
    outcome = stranger.refused(command, plan, naming="plan.yaml")
    assert not set("\0\x1b\a\u202e") & set(outcome)


# Where a number stands in a plan.
PLACES = {
    "work": PLAN + "parts: [{part: Main, steps: [{move: March, work: NUMBER s}]}]",
    "rounds": PLAN + "parts: [{part: Main, rounds: NUMBER, steps: [{move: March, work: 2s}]}]",
    "repetitions": PLAN + "parts: [{part: Main, steps: [{move: March, work: NUMBER reps, tempo: 1-0-1-0}]}]",
    "counts": PLAN + "parts: [{part: Main, steps: [{move: March, work: NUMBER counts, tempo: 60 bpm}]}]",
    "tempo": PLAN + "parts: [{part: Main, steps: [{move: March, work: 2s, tempo: NUMBER bpm}]}]",
    "lifting tempo": PLAN + "parts: [{part: Main, steps: [{move: March, work: 2s, tempo: NUMBER-0-1-0}]}]",
    "interval": PLAN + "parts: [{part: Main, steps: [{move: March, work: 2s, every: NUMBER s}]}]",
    "cue": PLAN
    + "parts: [{part: Main, steps: [{move: March, work: 2s, cues: [{at: NUMBER s, tone: soft}]}]}]",
    "percent": PLAN
    + "parts: [{part: Main, steps: [{move: March, work: 2s, cues: [{at: NUMBER%, tone: soft}]}]}]",
    "length": PLAN + "length: NUMBER s\nparts: [{part: Main, steps: [{move: March, work: 2s..3s}]}]",
    "gain": PLAN + "bed: {pulse: 120 bpm, gain: NUMBER dB}\n" + PARTS,
    "pulse": PLAN + "bed: {pulse: NUMBER bpm}\n" + PARTS,
    "start of a file": PLAN + "bed: {file: beds/tide.wav, start: NUMBER s}\n" + PARTS,
    "loudness": PLAN + "loudness: NUMBER LUFS\n" + PARTS,
    "count": PLAN + "calls: {start: {count: NUMBER}}\n" + PARTS,
}
NUMBERS = {
    "many digits": "9" * 450,
    "a digit more than Python takes": "1" * 4_400,
    "an exponent": "1e999999999",
    "a negative exponent": "1e-999999999",
    "a long fraction": "1/" + "3" * 400,
    "a fraction of nothing": "1/0",
    "endless": ".inf",
    "no number": ".nan",
    "hexadecimal": "0xffffffffffffffff",
    "underscores": "1_000_000_000",
    "negative": "-99999999",
    "digits of other scripts": "٣",
    "a power": "9**9**9**9",
}


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("place", PLACES)
def test_a_number_beyond_reason(stranger: Stranger, place: str, number: str) -> None:
    plan = stranger.home / "plan.yaml"
    lines = [
        line
        for line in PLACES[place].splitlines()
        if not (place == "count" and line.startswith("calls: {ann"))
    ]
    plan.write_text("\n".join(lines).replace("NUMBER", NUMBERS[number]), encoding="utf-8")
    outcome = stranger.run("check", plan)
    assert outcome.code == 1, outcome.said
    assert "plan.yaml:" in outcome.said


# Sessions that would come to very many of something.
COUNTS = {
    "a day and a bit": ("[{move: March, work: 20h}, {move: Row, work: 5h}]", 1, "24 h"),
    "a time of 25 h": ("[{move: March, work: 25h}]", 1, "24"),
    "rounds of hours": ("[{move: March, work: 2h}]", 1000, "24 h"),
    "rounds beyond the limit": ("[{move: March, work: 1s}]", 1001, "1000"),
    "phases": ("[" + ", ".join(["{move: M, work: 0.01s}"] * 110) + "]", 1000, "100000 phases"),
    "clicks": ("[{move: March, work: 23h, every: {interval: 0.05s, tone: soft}}]", 1, "interval"),
    "beats": ("[{move: March, work: 20h, tempo: 300 bpm}]", 1, "cues"),
    "repetitions": ("[{move: March, work: 99999 reps, tempo: 1-0-1-0}]", 1, "reps"),
    "counts": ("[{move: March, work: 99999 counts, tempo: 60 bpm}]", 1, "24"),
    "tiny fractions": (
        "[" + ", ".join(f"{{move: M, work: {n}/{n * n + 1} s}}" for n in range(900, 1200)) + "]",
        1,
        "fractions",
    ),
}


@pytest.mark.parametrize("name", COUNTS)
@pytest.mark.parametrize("command", ["check", "render"])
def test_enormous_counts(stranger: Stranger, name: str, command: str) -> None:
    steps, rounds, naming = COUNTS[name]
    plan = stranger.plan(parts=f"parts:\n  - part: Main\n    rounds: {rounds}\n    steps: {steps}\n")
    stranger.refused(command, plan, naming=naming)


def test_a_series_of_too_many_days(stranger: Stranger) -> None:
    stranger.plan()
    days = "".join(
        f"  - {{date: {2000 + n // 12}-{n % 12 + 1:02}-01, plan: plan.yaml}}\n" for n in range(400)
    )
    series = stranger.home / "winter.yaml"
    series.write_text(f"series: Winter\nsessions:\n{days}", encoding="utf-8")
    stranger.refused("series", series, naming="366")


def test_a_series_of_itself(stranger: Stranger) -> None:
    series = stranger.home / "winter.yaml"
    series.write_text(
        "series: Winter\nsessions:\n  - {date: 2026-11-30, plan: winter.yaml}\n", encoding="utf-8"
    )
    stranger.refused("series", series, naming="winter.yaml")


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 50_000, "1" * 5_000, "null", "[]", '"x"', "\0"])
def test_the_settings_of_a_model_that_are_none(stranger: Stranger, text: str) -> None:
    (stranger.home / "row.onnx").write_bytes(b"model")
    (stranger.home / "row.onnx.json").write_text(text, encoding="utf-8")
    stranger.refused("check", stranger.plan("voice: row.onnx"), naming="row.onnx.json", code=3)


@pytest.mark.parametrize("spoken", ["../../own/notes", "en\x1b[2J", "x" * 5_000, "", "/etc/passwd"])
def test_the_settings_of_a_model_name_a_language_and_no_more(stranger: Stranger, spoken: str) -> None:
    (stranger.home / "row.onnx").write_bytes(b"model")
    text = json.dumps({"espeak": {"voice": spoken}})
    (stranger.home / "row.onnx.json").write_text(text, encoding="utf-8")
    said = stranger.refused("check", stranger.plan("voice: row.onnx"), naming="row.onnx.json", code=3)
    assert "\x1b" not in said


@pytest.mark.parametrize(
    "tempo", ["1e999999999", "1e-999999999", "9" * 5_000, "1/0", "-1", "nan", "1/" + "7" * 999]
)
def test_the_tempo_in_a_timeline(stranger: Stranger, tempo: str) -> None:
    parts = PARTS.replace("work: 2s", "work: 2s, cues: [{at: 0s, say: Row.}]")
    assert stranger.run("render", stranger.plan("voice: ./clips", parts), may_write=NEW_FILES).code == 0
    timeline = stranger.home / "plan.timeline.json"
    values = json.loads(timeline.read_text("utf-8"))
    for cue in values["cues"]:
        cue["tempo"] = tempo
    timeline.write_text(json.dumps(values), encoding="utf-8")
    stranger.refused("verify", timeline, stranger.home / "plan.wav", naming="a tempo is")


@pytest.mark.parametrize("what", ["pipe", "endless device", "depth", "digits"])
def test_a_timeline_that_is_none(stranger: Stranger, what: str) -> None:
    import os

    timeline = stranger.home / "plan.timeline.json"
    if what == "pipe":
        if not hasattr(os, "mkfifo"):
            pytest.skip("no named pipes here")
        os.mkfifo(timeline)
    elif what == "endless device":
        stranger.link(timeline.name, "/dev/zero")
    else:
        timeline.write_text("[" * 200_000 if what == "depth" else "9" * 5_000, encoding="utf-8")
    stranger.refused("verify", timeline, stranger.home / "beds" / "tide.wav", naming=timeline.name)
