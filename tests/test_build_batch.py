"""A batch as a caller of the library has it: what is made, kept and failed, and why."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from cuetrack import build, build_batch
from cuetrack.batch.manifest import MANIFEST_FILE
from cuetrack.build_batch import Asked, Batch, Outcome
from cuetrack.errors import ExitCode, UsageError, WriteError
from tests.helpers.many_plans import QUICK, write_plans

SERIES = """series: Winter
numbered: off
sessions:
  - {date: 2026-11-30, plan: set-01.yaml}
  - {date: 2026-12-03, plan: set-01.yaml, length: 0:16}
  - {date: 2026-12-05, plan: nowhere.yaml}
  - {date: 2026-12-06, plan: ../mine.yaml}
  - {date: 2026-12-07, plan: /mine.yaml}
"""


def results(outcomes: list[Outcome]) -> dict[str, str]:
    return {outcome.work.track: outcome.result for outcome in outcomes}


@pytest.fixture
def plans(tmp_path: Path) -> Path:
    write_plans(tmp_path / "plans", 3)
    return tmp_path / "plans"


def test_every_plan_becomes_the_track_that_render_makes(plans: Path, tmp_path: Path) -> None:
    outcomes = Batch(plans, tmp_path / "tracks", Asked()).run()
    assert results(outcomes) == {f"set-0{number}.wav": "made" for number in (1, 2, 3)}
    build.render(plans / "set-02.yaml", tmp_path / "alone.wav")
    assert (tmp_path / "tracks" / "set-02.wav").read_bytes() == (tmp_path / "alone.wav").read_bytes()
    names = {path.name for path in (tmp_path / "tracks").iterdir() if not path.name.startswith(".")}
    tracks = {f"set-0{number}{ending}" for number in (1, 2, 3) for ending in (".wav", ".timeline.json")}
    assert names == {*tracks, MANIFEST_FILE}


def test_links_are_refused_in_a_dry_run_too(plans: Path, tmp_path: Path) -> None:
    (tmp_path / "mine.jsonl").write_text("{}", encoding="utf-8")
    (plans / "tracks").mkdir()
    (plans / "tracks" / MANIFEST_FILE).symlink_to(tmp_path / "mine.jsonl")
    with pytest.raises(WriteError, match="out of its folder"):
        Batch(plans, plans / "tracks", Asked()).planned(only_changed=True)


def test_processes_make_no_difference(plans: Path, tmp_path: Path) -> None:
    for processes in (1, 2):
        Batch(plans, tmp_path / str(processes), Asked(endings=(".flac",))).run(processes=processes)
    for path in (tmp_path / "1").glob("set*"):
        assert path.read_bytes() == (tmp_path / "2" / path.name).read_bytes()


def test_versions_have_names_of_their_own(plans: Path, tmp_path: Path) -> None:
    asked = Asked(levels=("easier", "harder"), mixes=("class", "film"), endings=(".wav", ".flac"))
    outcomes = Batch(plans, tmp_path / "tracks", asked).run(processes=2)
    assert len(outcomes) == 3 * 2 * 2
    for ending in ("wav", "flac"):
        for level in ("easier", "harder"):
            for mix in ("class", "film"):
                track = tmp_path / "tracks" / ending / f"set-01.{level}.{mix}.{ending}"
                told = json.loads(track.with_suffix(".timeline.json").read_text("utf-8"))
                assert (told["level"], told["mix"]) == (level, mix)
                assert soundfile.info(track).frames == told["frames"]


def test_a_bad_plan_stops_no_other_and_is_told(plans: Path, tmp_path: Path) -> None:
    (plans / "set-02.yaml").write_text(QUICK.format(number=2, rounds=1).replace("work", "wrok"), "utf-8")
    (plans / "set-04.yaml").write_bytes(b"\xff\xfe\x00")
    (plans / "set-05.yaml").symlink_to(tmp_path / "elsewhere.yaml")
    shutil.copy(plans / "set-01.yaml", tmp_path / "elsewhere.yaml")
    outcomes = Batch(plans, tmp_path / "tracks", Asked()).run()
    assert results(outcomes) == {
        "set-01.wav": "made",
        "set-02.wav": "failed",
        "set-03.wav": "made",
        "set-04.wav": "failed",
        "set-05.wav": "failed",
    }
    assert "wrok" in str(outcomes[1].diagnostics[0])
    assert "set-02.yaml:10" in str(outcomes[1].diagnostics[0])
    assert "UTF-8" in str(outcomes[3].diagnostics[0])
    assert "outside" in str(outcomes[4].diagnostics[0])
    assert {outcome.exit_code for outcome in outcomes} == {ExitCode.DONE, ExitCode.ERRORS}
    outside = Batch(plans, tmp_path / "tracks", Asked(allow_outside=True)).run(only_changed=True)
    assert results(outside)["set-05.wav"] == "made"


def test_a_fault_of_ours_costs_one_track(
    plans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = build_batch.render

    def faulty(plan: Path, *rest: object, **more: object) -> object:
        if plan.stem == "set-02":
            raise RuntimeError("oars")
        return real(plan, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(build_batch, "render", faulty)
    outcomes = Batch(plans, tmp_path / "tracks", Asked()).run()
    assert [outcome.result for outcome in outcomes] == ["made", "failed", "made"]
    assert "fault in cuetrack itself (RuntimeError: oars)" in str(outcomes[1].diagnostics[0])


def test_days_of_a_series_are_its_plans_on_those_days(plans: Path, tmp_path: Path) -> None:
    series = plans / "winter.yaml"
    series.write_text(SERIES, encoding="utf-8")
    outcomes = Batch(series, tmp_path / "tracks", Asked()).run()
    assert results(outcomes) == {
        "winter-day-1.wav": "made",
        "winter-day-2.wav": "made",
        "winter-day-3.wav": "failed",
        "winter-day-4.wav": "failed",
        "winter-day-5.wav": "failed",
    }
    assert "than promised" in str(outcomes[1].diagnostics[0])  # whose length is that of the day
    assert "winter.yaml:6" in str(outcomes[2].diagnostics[0])
    assert "nowhere.yaml" in str(outcomes[2].diagnostics[0])
    assert all("outside" in str(outcome.diagnostics[0]) for outcome in outcomes[3:])
    assert (
        results(Batch(series, tmp_path / "tracks", Asked()).run(only_changed=True))["winter-day-1.wav"]
        == "kept"
    )


# What is stale


def whole(plans: Path, tracks: Path, **asked: object) -> Batch:
    return Batch(plans, tracks, Asked(**asked))  # type: ignore[arg-type]


def touch_later(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


CHANGES: dict[str, tuple[Callable[[Path, Path], object], str]] = {
    "nothing": (lambda plans, tracks: None, ""),
    "a plan": (
        lambda plans, tracks: touch_later(plans / "set-01.yaml", QUICK.format(number=9, rounds=1)),
        "../plans/set-01.yaml has changed",
    ),
    "a plan's time only": (lambda plans, tracks: os.utime(plans / "set-01.yaml", (1, 1)), ""),
    "a track is gone": (lambda plans, tracks: (tracks / "set-01.wav").unlink(), "set-01.wav is gone"),
    "a timeline is gone": (
        lambda plans, tracks: (tracks / "set-01.timeline.json").unlink(),
        "set-01.timeline.json is gone",
    ),
    "a track is cut": (
        lambda plans, tracks: os.truncate(tracks / "set-01.wav", 100),
        "set-01.wav was changed since",
    ),
    "a manifest is gone": (lambda plans, tracks: (tracks / MANIFEST_FILE).unlink(), "it is new"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_only_what_is_stale_is_made_again(change: str, plans: Path, tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"
    whole(plans, tracks).run()
    act, why = CHANGES[change]
    act(plans, tracks)
    planned = whole(plans, tracks).planned(only_changed=True)
    assert planned[0].why == (why or None)
    others = "it is new" if change == "a manifest is gone" else None
    assert [one.why for one in planned[1:]] == [others, others]
    again = whole(plans, tracks).run(only_changed=True)
    assert [outcome.result for outcome in again] == [
        "made" if why else "kept",
        *["made" if others else "kept"] * 2,
    ]
    assert [one.why for one in whole(plans, tracks).planned(only_changed=True)] == [None] * 3


def test_a_house_style_that_appears_changes_and_goes_makes_all_stale(plans: Path, tmp_path: Path) -> None:
    tracks, house = tmp_path / "tracks", plans / "house.yaml"
    whole(plans, tracks).run()
    for text, why in (("coach: Rowan", "is new"), ("coach: Wren", "has changed"), ("", "is gone")):
        if text:
            house.write_text(text, encoding="utf-8")
        else:
            house.unlink()
        found = {one.why for one in whole(plans, tracks).planned(only_changed=True)}
        assert found == {f"../plans/house.yaml {why}"}
        whole(plans, tracks).run(only_changed=True)


def test_a_bed_that_changes_makes_its_plan_stale(plans: Path, tmp_path: Path) -> None:
    import numpy as np

    noise = np.random.default_rng(1).uniform(-0.1, 0.1, 48_000)
    soundfile.write(plans / "tide.wav", noise, 48_000)
    plan = plans / "set-02.yaml"
    plan.write_text(plan.read_text("utf-8") + "bed: {file: tide.wav}\n", encoding="utf-8")
    tracks = tmp_path / "tracks"
    assert set(results(whole(plans, tracks).run()).values()) == {"made"}
    soundfile.write(plans / "tide.wav", noise / 2, 48_000)
    found = [one.why for one in whole(plans, tracks).planned(only_changed=True)]
    assert found == [None, "../plans/tide.wav has changed", None]


def test_a_voice_a_version_or_another_wish_makes_stale(
    plans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tracks = tmp_path / "tracks"
    whole(plans, tracks).run()
    other = whole(plans, tracks, quality="best").planned(only_changed=True)
    assert {one.why for one in other} == {"it is asked for otherwise"}
    with monkeypatch.context() as patch:
        patch.setattr(build_batch, "_versions", lambda: "cuetrack 99")
        assert {one.why for one in whole(plans, tracks).planned(only_changed=True)} == {
            "another version made it"
        }
    with monkeypatch.context() as patch:
        patch.setattr(build_batch, "_state_of", lambda *call: "another")
        assert {one.why for one in whole(plans, tracks).planned(only_changed=True)} == {
            "the voice has changed"
        }
    assert {one.why for one in whole(plans, tracks).planned(only_changed=True)} == {None}


def test_plans_and_tracks_may_move_together(plans: Path, tmp_path: Path) -> None:
    whole(plans, tmp_path / "tracks").run()
    moved = tmp_path / "moved"
    moved.mkdir()
    for name in ("plans", "tracks"):
        (tmp_path / name).rename(moved / name)
    planned = whole(moved / "plans", moved / "tracks").planned(only_changed=True)
    assert {one.why for one in planned} == {None}


def test_an_input_that_changes_while_its_track_is_made_is_stale(
    plans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = build_batch.render

    def edited(plan: Path, *rest: object, **more: object) -> object:
        rendered = real(plan, *rest, **more)  # type: ignore[arg-type]
        plan.write_text(plan.read_text("utf-8").replace("4s", "5s"), encoding="utf-8")
        return rendered

    monkeypatch.setattr(build_batch, "render", edited)
    whole(plans, tmp_path / "tracks").run()
    planned = whole(plans, tmp_path / "tracks").planned(only_changed=True)
    assert planned[0].why == "../plans/set-01.yaml has changed"


@pytest.mark.parametrize("name", ["/dev/zero", "../../secret.txt", "../pipe", "a" * 5000, "\0"])
def test_a_manifest_of_a_stranger_has_nothing_read_that_lies_elsewhere_or_never_ends(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plans, tracks = tmp_path / "plans", tmp_path / "plans" / "tracks"
    write_plans(plans, 1)
    if hasattr(os, "mkfifo"):
        os.mkfifo(plans / "pipe")
    (tmp_path / "secret.txt").write_text("oars", encoding="utf-8")
    whole(plans, tracks).run()
    manifest = tracks / MANIFEST_FILE
    lines = [json.loads(line) for line in manifest.read_text("utf-8").splitlines()]
    for line in lines:
        if "inputs" in line:
            line["inputs"] = {name: "0"}
    manifest.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    read = list[Path]()
    real = Path.open
    monkeypatch.setattr(
        Path, "open", lambda path, *rest, **more: (read.append(path), real(path, *rest, **more))[1]
    )
    (planned,) = whole(plans, tracks).planned(only_changed=True)
    assert planned.why is not None
    assert not [path for path in read if "secret" in path.name or path.name in {"zero", "pipe"}]


# Interrupted


def test_the_same_call_goes_on_where_an_interrupt_stopped_it(plans: Path, tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"

    def stop(outcome: Outcome, done: int, of: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    whole(plans, tracks).run()  # one that came to its end is made again when it is called again
    with pytest.raises(KeyboardInterrupt):
        whole(plans, tracks).run(tell=stop)
    again = whole(plans, tracks).run()
    assert [outcome.result for outcome in again] == ["kept", "kept", "made"]
    assert [outcome.result for outcome in whole(plans, tracks).run()] == ["made"] * 3
    with pytest.raises(KeyboardInterrupt):
        whole(plans, tracks).run(tell=stop)
    other = whole(plans, tracks, quality="best").run()
    assert [outcome.result for outcome in other] == ["made"] * 3


def test_what_killed_processes_left_is_removed_and_what_lives_is_not(plans: Path, tmp_path: Path) -> None:
    from cuetrack.writers import atomic

    tracks = tmp_path / "tracks"
    (tracks / "below").mkdir(parents=True)
    machine = atomic._machine()
    dead = [
        tracks / f".set-01.wav.{machine}-{2**22 + 5}-0123abcd.part",
        tracks / "below" / f".a.{machine}-4194399-0123abcd.part",
    ]
    kept = [
        tracks / f".set-01.wav.{machine}-{os.getpid()}-0123abcd.part",
        tracks / f".set-01.wav.00000000-{2**22 + 5}-0123abcd.part",  # of another machine, and new
        tracks / ".mine.part",
    ]
    for path in (*dead, *kept):
        path.write_bytes(b"half")
    whole(plans, tracks).run()
    assert not any(path.exists() for path in dead)
    assert all(path.exists() for path in kept)
    os.utime(kept[1], (1, 1))  # for half a century nobody wrote to it
    whole(plans, tracks).run()
    assert [path.exists() for path in kept] == [True, False, True]


# What cannot be


def test_two_tracks_of_one_name_are_refused_before_anything_is_made(plans: Path, tmp_path: Path) -> None:
    (plans / "SET-01.yml").write_text((plans / "set-01.yaml").read_text("utf-8"), encoding="utf-8")
    with pytest.raises(UsageError, match=r"SET-01\.yml.*set-01\.yaml.*called"):
        Batch(plans, tmp_path / "tracks", Asked())
    assert not (tmp_path / "tracks").exists()


def test_a_plan_with_a_name_that_is_no_text_stops_no_other(plans: Path, tmp_path: Path) -> None:
    """Such names come out of old archives: bytes of Latin-1 where the system has UTF-8."""
    plan = Path(os.fsdecode(os.fsencode(plans) + b"/k\xe4lte.yaml"))
    try:
        plan.write_bytes((plans / "set-01.yaml").read_bytes())
    except OSError:
        pytest.skip("no such names can be made here")
    outcomes = Batch(plans, tmp_path / "tracks", Asked()).run()
    assert [outcome.result for outcome in outcomes] == ["failed", "made", "made", "made"]
    assert "has a name that is no text in UTF-8" in outcomes[0].diagnostics[0].message


@pytest.mark.parametrize(("place", "said"), [("empty", "no plan in"), ("nowhere", "nothing at")])
def test_a_place_without_plans_is_told(place: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(UsageError, match=said):
        Batch(tmp_path / place, tmp_path / "tracks", Asked())


def test_a_rate_that_a_format_has_not_is_refused_at_once(plans: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="MP3 is not written at 96000 Hz"):
        Batch(plans, tmp_path / "tracks", Asked(endings=(".wav", ".mp3"), rate_hz=96_000))


def test_tracks_have_to_go_into_a_folder(plans: Path, tmp_path: Path) -> None:
    (tmp_path / "tracks").write_text("", encoding="utf-8")
    with pytest.raises(WriteError):
        Batch(plans, tmp_path / "tracks", Asked()).run()


def test_a_strangers_links_and_paths_are_not_read_to_choose_a_voice(
    plans: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = tmp_path / "mine.yaml"
    mine.write_text("language: de\n" + (plans / "set-01.yaml").read_text("utf-8"), encoding="utf-8")
    (plans / "link.yaml").symlink_to(mine)
    series = plans / "winter.yaml"
    series.write_text(SERIES, encoding="utf-8")
    read = list[Path]()
    real = build_batch.read_in_house
    monkeypatch.setattr(
        build_batch,
        "read_in_house",
        lambda plan, **more: (read.append(plan.resolve()), real(plan, **more))[1],
    )
    for place in (plans, series):
        Batch(place, tmp_path / "tracks", Asked(voices=("clear", "system")))
    assert read
    assert mine not in read
    assert all(plan.is_relative_to(plans) for plan in read)


def test_of_several_voices_those_speak_that_know_the_language(tmp_path: Path) -> None:
    (plan,) = write_plans(tmp_path / "plans", 1)
    text = plan.read_text("utf-8")
    (plan.parent / "de.yaml").write_text(f"language: de\n{text}", encoding="utf-8")
    whole = Batch(plan.parent, tmp_path / "tracks", Asked(voices=("clear", "system")))
    found = sorted(work.track for work in whole.works)
    assert found == ["de.system.wav", "set-01.clear.wav", "set-01.system.wav"]


@pytest.mark.parametrize(
    "name",
    [
        "tracks",
        "tracks/set-01.wav",
        "tracks/set-01.timeline.json",
        "tracks/.cuetrack-batch.lock",
        "tracks/cuetrack-batch.jsonl",
        "tracks/below",
    ],
)
def test_links_among_a_strangers_plans_lead_no_track_out(name: str, plans: Path, tmp_path: Path) -> None:
    write_plans(plans / "below", 1)
    mine = tmp_path / "mine"
    if name in {"tracks", "tracks/below"}:
        mine.mkdir()
        before = b""
    else:
        mine.write_bytes(before := b"precious")
    link = plans / name
    link.parent.mkdir(exist_ok=True)
    link.symlink_to(mine)
    try:
        outcomes = Batch(plans, plans / "tracks", Asked()).run()
    except WriteError as error:
        told = str(error)
    else:
        told = "".join(str(found) for outcome in outcomes for found in outcome.diagnostics)
    assert "out of its folder" in told
    assert (list(mine.iterdir()) == []) if mine.is_dir() else (mine.read_bytes() == before)
