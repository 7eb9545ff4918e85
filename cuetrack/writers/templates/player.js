/* The member's page. The sound is the only clock: whenever something is shown, the playing sound is asked
   where it is, and what is shown follows from whole frames. */
(() => {
  const $ = (id) => document.getElementById(id);
  const sound = $("sound");

  const read = (raw) => {
    const text = (number) => (number === null ? null : raw.texts[number]);
    const summed = (steps) => { let sum = 0; return steps.map((step) => (sum += step)); };
    const states = raw.states.map(([kind, part, rounds, move, stage, side, setup, equipment, easier, harder]) => ({
      kind, part: text(part), rounds, move: text(move), stage: text(stage), side: text(side), setup: text(setup),
      equipment: equipment.map(text), easier: text(easier), harder: text(harder),
    }));
    const ends = summed(raw.scenes.frames);
    // No more of a text than a block of the strip can show.
    const short = (text) => [...(text || "")].slice(0, 80).join("");
    const scenes = ends.map((end, i) => {
      const [state, round, ahead] = [states[raw.scenes.state[i]], raw.scenes.round[i], raw.scenes.ahead[i]];
      return {
        ...state, index: i, start: end - raw.scenes.frames[i], end, round,
        first: i - raw.scenes.since[i], following: ahead ? i + ahead : null,
        roundText: fill(raw.words.round, round, state.rounds),
        shortMove: short(state.move), shortStage: short(state.stage), shortPart: short(state.part),
      };
    });
    const spoken = { starts: summed(raw.spoken.after), lengths: raw.spoken.frames, texts: raw.spoken.text.map(text) };
    return { ...raw, rate: raw.rate_hz, scenes, spoken, tones: summed(raw.tones), clockText };
  };
  const fill = (template, ...values) => template.replace(/\{\}/g, () => values.shift());
  const clockText = (seconds) => {
    const [hours, minutes, rest] = [seconds / 3600, (seconds / 60) % 60, seconds % 60].map(Math.floor);
    const two = (number) => String(number).padStart(2, "0");
    return hours ? `${hours}:${two(minutes)}:${two(rest)}` : `${minutes}:${two(rest)}`;
  };

  const session = read(JSON.parse($("session").textContent));
  const { words, scenes, rate, frames, spoken } = session;
  const score = makeScore($("strip"), $("whole"), session, words);

  // ---- The place: where the sound is, or will be as soon as it can be played. It outlives the page.
  const kept = (() => {
    try { return JSON.parse(localStorage.getItem(session.key)) || {}; } catch { return {}; }
  })();
  let accepted = kept.accepted === true;
  const isPlace = Number.isInteger(kept.frame) && kept.frame > 0 && kept.frame < frames;
  let waiting = isPlace ? kept.frame : 0;
  let keptSecond = null;
  const keep = () => {
    try {
      localStorage.setItem(session.key, JSON.stringify({ accepted, frame: ended() ? 0 : frameNow() }));
    } catch { /* no storage here: a page opened as a file may have none */ }
  };
  const ended = () => waiting === null && (sound.ended || Math.round(sound.currentTime * rate) >= frames);
  const frameNow = () => (waiting !== null ? waiting : Math.min(frames, Math.round(sound.currentTime * rate)));
  const goTo = (frame) => {
    const wanted = Math.max(0, Math.min(frames, frame));
    if (sound.readyState) sound.currentTime = wanted / rate; else waiting = wanted;
    shown.scene = null;
    show();
    keep();
    tellPosition();
  };

  // ---- What is shown.
  const shown = { scene: null, digits: null, second: null, spoken: null, state: null, isTold: true };
  const put = (id, text) => { $(id).textContent = text || ""; };
  const putSide = (id, side) => {
    put(id, side && words[side]);
    if (side) $(id).dataset.side = side; else delete $(id).dataset.side;
  };
  const putText = (id, text) => {
    put(id, text);
    const sizes = [[110, "longest"], [34, "long"], [14, "middle"], [0, "usual"]];
    $(id).dataset.size = sizes.find(([length]) => text.length > length)[1];
  };
  const nameOf = (scene) => (scene.kind === "work" ? scene.move : words[scene.kind]);
  const sideOf = (scene) => scene.side && words[scene.side];
  const partOf = (scene) => [scene.part, scene.rounds > 1 && scene.roundText].filter(Boolean).join(" · ");
  const putOptions = (id, scene, keys) => {
    $(id).replaceChildren(...keys.filter((key) => scene[key] && scene[key].length).map((key) => {
      const row = document.createElement("div");
      const [term, value] = [document.createElement("dt"), document.createElement("dd")];
      term.textContent = words[key];
      value.textContent = key === "equipment" ? scene[key].join(", ") : scene[key];
      value.dir = "auto";
      row.append(term, value);
      return row;
    }));
  };

  const showScene = (scene) => {
    const isWork = scene.kind === "work";
    document.body.dataset.kind = scene.kind;
    put("now-part", partOf(scene));
    putText("what", nameOf(scene));
    putSide("side", scene.side);
    put("stage", isWork ? scene.stage : scene.kind === "change" ? scene.move : null);
    putOptions("now-options", scene, isWork ? ["easier", "harder"] : []);
    const next = scene.following === null ? null : scenes[scene.following];
    put("next-part", next && partOf(next) !== partOf(scene) ? partOf(next) : "");
    putText("next-what", next ? next.move : words.end);
    putSide("next-side", next && next.side);
    put("next-stage", next && next.stage);
    putOptions("next-options", next || {}, isWork ? ["setup", "equipment"] : ["setup", "equipment", "easier", "harder"]);
    markRow(scene);
    tellSystem(scene);
  };

  const showLeft = (seconds) => {
    const digits = seconds < 60 ? String(seconds) : clockText(seconds);
    if (digits === shown.digits) return;
    shown.digits = digits;
    put("digits", digits);
    $("digits").dataset.length = digits.length;
    put("unit", seconds < 60 ? words["seconds-left"] : words["minutes-left"]);
  };

  // What is being said stays for a moment after its last word, so that it can be read.
  const showSpoken = (frame) => {
    const i = spoken.starts.length && spoken.starts[0] <= frame ? score.indexAt(frame, spoken.starts) : null;
    const text = i !== null && frame < spoken.starts[i] + spoken.lengths[i] + rate ? spoken.texts[i] || "" : "";
    if (text === shown.spoken) return;
    shown.spoken = text;
    put("called", text);
  };

  const show = () => score.draw(showTexts());
  const showTexts = () => {
    const frame = frameNow();
    showState(frame);
    const index = score.indexAt(Math.min(frame, frames - 1));
    const scene = scenes[index];
    const seconds = Math.ceil((scene.end - frame) / rate);
    const isOver = shown.state === "ended";
    if (index !== shown.scene) {
      shown.scene = index;
      showScene(scene);
      if (isOver) showEnd(); else announce(scene, seconds);
      shown.isTold = seconds <= 14;
      $("place").setAttribute("aria-valuetext", `${clockText(Math.floor(frame / rate))}, ${nameOf(scene)}`);
    }
    showLeft(seconds);
    showSpoken(frame);
    if (!shown.isTold && seconds <= 10 && shown.state === "playing") {
      shown.isTold = true;
      say(`${seconds} ${words["seconds-left"]}`);
    }
    const second = Math.floor(frame / rate);
    if (second !== shown.second) {
      shown.second = second;
      put("clock", fill(words["player-of"], clockText(second), clockText(Math.floor(frames / rate))));
      $("place").value = frame;
    }
    return frame;
  };

  const showEnd = () => {
    putText("what", words.end);
    for (const id of ["now-part", "stage", "called"]) put(id, "");
    putSide("side", null);
    $("now-options").replaceChildren();
    say(words.end);
  };

  const showState = (frame) => {
    const state = !accepted ? "before" : ended() ? "ended" : !sound.paused ? "playing" : "held";
    const word = {
      before: "player-accept", ended: "player-again", playing: "player-pause",
      held: frame > 0 ? "player-continue" : "player-start",
    }[state];
    if (words[word] !== $("go-word").textContent) put("go-word", words[word]);
    if (state === shown.state) return;
    const before = shown.state;
    shown.state = state;
    document.body.dataset.state = state;
    if (before === "before" || state === "ended" || before === "ended") shown.scene = null;
    if (before === "before") score.renew();
  };

  // ---- What is said to those who hear the page instead of seeing it.
  const say = (text) => { $("said").textContent = text; };
  const announce = (scene, seconds) => {
    if (shown.state !== "playing") return;
    const next = scene.kind !== "work" && scene.following !== null ? scenes[scene.following] : null;
    const left = seconds < 60 ? `${seconds} ${words["seconds-left"]}` : `${clockText(seconds)} ${words["minutes-left"]}`;
    const sentences = [
      [nameOf(scene), scene.kind === "change" ? scene.move : scene.stage, sideOf(scene), seconds > 1 && left],
      next ? [`${words.next}: ${next.move}`, next.stage, sideOf(next)] : [],
      next && next.setup ? [next.setup.replace(/\.$/, "")] : [],
      next && next.equipment.length ? [`${words.equipment}: ${next.equipment.join(", ")}`] : [],
    ];
    say(sentences.map((parts) => parts.filter(Boolean).join(", ")).filter(Boolean).join(". "));
  };

  // ---- Following the sound: with every picture that is drawn, and on its own ticks where none is. The texts do
  // not wait for a picture that is late. What wakes the page never tells it the time: the sound does.
  setInterval(() => { if (!sound.paused) showTexts(); }, 40);
  let drawing = 0;
  const follow = () => {
    drawing = 0;
    show();
    if (!sound.paused) wake();
  };
  const wake = () => { if (!drawing) drawing = requestAnimationFrame(follow); };
  const onTime = () => {
    if (document.hidden) show(); else wake();
    const second = Math.floor(frameNow() / rate);
    if (second !== keptSecond) { keptSecond = second; keep(); }
  };

  // ---- Doing.
  const trouble = (text) => { $("trouble").hidden = !text; put("trouble", text); };
  const start = async () => {
    if (!accepted) { accepted = true; keep(); show(); }
    if (ended()) goTo(0);
    if (sound.error) sound.load();
    try {
      await sound.play();
    } catch (problem) {
      if (problem.name === "NotSupportedError") onProblem();
    }
    show();
  };
  const hold = () => sound.pause();
  const startOrHold = () => (sound.paused ? start() : hold());
  const firstOf = (frame) => scenes[scenes[score.indexAt(Math.min(frame, frames - 1))].first];
  const back = () => {
    const frame = frameNow();
    const here = firstOf(frame);
    // Just after its start, the one before is meant.
    const isAtStart = frame - here.start < 1.5 * rate && here.start > 0;
    goTo(isAtStart ? firstOf(here.start - 1).start : here.start);
  };
  const skip = () => {
    const here = firstOf(frameNow());
    let i = here.index;
    while (i < scenes.length && scenes[i].first === here.index) i++;
    goTo(i < scenes.length ? scenes[i].start : frames);
  };

  const onProblem = () => {
    sound.pause(); // a sound that cannot be played would count as playing
    trouble(session.sound === null ? words["player-bad-sound"] : fill(words["player-no-sound"], session.sound));
    show();
  };
  const onKnown = () => {
    trouble("");
    if (waiting !== null) { const frame = waiting; waiting = null; if (frame) sound.currentTime = frame / rate; }
    // A lossy file may end a little later than its session, never by a second.
    if (Number.isFinite(sound.duration) && Math.abs(sound.duration - frames / rate) > 1) {
      const lengths = [sound.duration, frames / rate].map((seconds) => clockText(Math.floor(seconds)));
      trouble(fill(words["player-other-sound"], ...lengths));
    }
    tellPosition();
    wake();
  };

  // ---- The screen stays on while the sound plays.
  let [lock, isAsking] = [null, false];
  const stayAwake = async () => {
    if (!navigator.wakeLock || document.hidden || sound.paused || lock || isAsking) return;
    isAsking = true;
    try {
      const got = await navigator.wakeLock.request("screen");
      lock = got;
      got.addEventListener("release", () => { if (lock === got) lock = null; });
      if (sound.paused) maySleep();
    } catch { /* refused, for example at a low battery: the session goes on */ }
    isAsking = false;
  };
  const maySleep = () => { if (lock) lock.release(); lock = null; };

  // ---- Media keys, headset buttons, the lock screen.
  const media = navigator.mediaSession;
  const tellSystem = (scene) => {
    if (!media || !window.MediaMetadata) return;
    const how = [nameOf(scene), scene.kind === "change" ? scene.move : scene.stage, sideOf(scene)];
    media.metadata = new MediaMetadata({
      title: how.filter(Boolean).join(", "), artist: partOf(scene), album: session.title,
    });
  };
  const tellPosition = () => {
    if (!media || !media.setPositionState) return;
    const duration = frames / rate;
    media.setPositionState({ duration, position: Math.min(duration, frameNow() / rate), playbackRate: 1 });
  };
  const listenToKeys = () => {
    const actions = {
      play: start, pause: hold, previoustrack: back, nexttrack: skip,
      seekto: ({ seekTime }) => goTo(Math.round(seekTime * rate)),
    };
    for (const [action, handler] of Object.entries(actions)) {
      // Nothing moves before the cautions have been accepted, and only the button on the page does that.
      const guarded = (detail) => { if (accepted) handler(detail); };
      try { if (media) media.setActionHandler(action, guarded); } catch { /* not known here */ }
    }
    const keys = { " ": startOrHold, ArrowLeft: back, ArrowRight: skip, Home: () => goTo(0) };
    document.addEventListener("keydown", (event) => {
      const does = keys[event.key];
      const isTheirs = event.ctrlKey || event.altKey || event.metaKey || event.shiftKey || event.defaultPrevented;
      if (!accepted || !does || isTheirs || event.repeat) return;
      // A button takes the space bar itself, and the bar of the whole session all keys but that one.
      const target = event.target.closest("button, summary, input");
      if (target && (event.key === " ") !== target.matches("input")) return;
      event.preventDefault();
      does();
    });
  };

  // ---- The whole session as a list, made when it is opened first.
  const listRows = () => {
    if (!$("all").open || $("all").querySelector("li")) return;
    $("all").querySelector("ol").append(...scenes.map((scene) => {
      const row = document.createElement("li");
      const texts = [
        clockText(Math.floor(scene.start / rate)),
        [nameOf(scene), scene.stage, sideOf(scene)].filter(Boolean).join(", "),
        clockText(Math.ceil((scene.end - scene.start) / rate)),
      ];
      row.append(...texts.map((text, column) => {
        const cell = document.createElement("span");
        cell.textContent = text;
        if (column === 1) cell.dir = "auto";
        return cell;
      }));
      return row;
    }));
    if (shown.scene !== null) markRow(scenes[shown.scene]);
  };
  const markRow = (scene) => {
    const rows = $("all").querySelectorAll("li");
    if (!rows.length) return;
    $("all").querySelectorAll("[aria-current]").forEach((row) => row.removeAttribute("aria-current"));
    rows[scene.index].setAttribute("aria-current", "step");
  };

  // ---- The sound inside the page becomes a file in memory; one beside it is already on its way.
  const openInside = () => {
    const holder = $("sound-inside");
    if (!holder) return;
    const bytes = Uint8Array.from(atob(holder.textContent), (letter) => letter.charCodeAt(0));
    sound.src = URL.createObjectURL(new Blob([bytes], { type: holder.type.split(";")[0] }));
    holder.remove();
  };

  $("go").addEventListener("click", startOrHold);
  $("back").addEventListener("click", back);
  $("skip").addEventListener("click", skip);
  $("all").addEventListener("toggle", listRows);
  $("place").addEventListener("input", () => goTo(Number($("place").value)));
  sound.addEventListener("loadedmetadata", onKnown);
  sound.addEventListener("error", onProblem);
  sound.addEventListener("timeupdate", onTime);
  sound.addEventListener("ratechange", () => { if (sound.playbackRate !== 1) sound.playbackRate = 1; });
  sound.addEventListener("play", () => { shown.scene = null; stayAwake(); });
  sound.addEventListener("pause", () => { maySleep(); keep(); if (!ended() && !sound.error) say(words["player-held"]); });
  for (const event of ["play", "playing", "pause", "seeked", "ended"]) {
    sound.addEventListener(event, () => { if (document.hidden) show(); else wake(); tellPosition(); });
  }
  sound.addEventListener("ended", keep);
  document.addEventListener("visibilitychange", () => { keep(); wake(); stayAwake(); });
  const redraw = () => { score.renew(); show(); };
  new ResizeObserver(redraw).observe($("strip"));
  for (const query of ["(prefers-color-scheme: dark)", "(prefers-reduced-motion: reduce)"]) {
    matchMedia(query).addEventListener("change", redraw);
  }
  listenToKeys();
  score.renew();
  show();
  // An error may have come before anybody listened.
  if (sound.error || sound.networkState === HTMLMediaElement.NETWORK_NO_SOURCE && session.sound) onProblem();
  if (sound.readyState) onKnown();
  document.addEventListener("DOMContentLoaded", openInside);
})();
