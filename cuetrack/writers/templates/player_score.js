"use strict";
/* Draws the session to scale on two canvases: the strip that slides under the now-line, and the whole.
   Only the blocks in sight are drawn, so ten thousand of them cost no more than ten. */
const makeScore = (strip, whole, session, words) => {
  const { scenes, rate, frames, spoken, tones } = session;
  const starts = scenes.map((scene) => scene.start);
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  const pen = strip.getContext("2d");
  const overviewPen = whole.getContext("2d");
  const picture = document.createElement("canvas");
  const look = { patterns: {} };
  let nowX = 0;
  let pixelsPerSecond = 6;

  // The scenes of one move on one side carry one name; those of one round of a part one heading.
  const lastOf = (same) => {
    const last = new Array(scenes.length);
    for (let i = scenes.length - 1; i >= 0; i--) {
      last[i] = i + 1 < scenes.length && same(scenes[i], scenes[i + 1]) ? last[i + 1] : i;
    }
    return last;
  };
  const lastOfRun = lastOf((one, other) => one.first === other.first);
  const lastOfPart = lastOf((one, other) => one.part === other.part && one.round === other.round);

  const restyle = () => {
    const css = getComputedStyle(document.documentElement);
    for (const name of ["blue", "sky", "purple", "yellow", "orange", "paper", "ink", "soft", "rule"]) {
      look[name] = css.getPropertyValue(`--${name}`).trim();
    }
    look.font = css.fontFamily;
    look.fill = {
      work: look.blue, rest: look.sky, change: look.purple, talk: look.yellow, "lead-in": look.orange,
    };
    for (const kind of ["rest", "change", "talk"]) look.patterns[kind] = pattern(kind);
  };

  const pattern = (kind) => {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 12;
    const p = tile.getContext("2d");
    p.fillStyle = p.strokeStyle = "rgb(0 0 0 / .38)";
    p.lineWidth = 1.5;
    p.beginPath();
    if (kind === "talk") p.arc(6, 6, 1.6, 0, 7);
    if (kind === "rest") for (const y of [-12, 0, 12]) { p.moveTo(-1, y + 13); p.lineTo(13, y - 1); }
    if (kind === "change") { p.moveTo(3, 0); p.lineTo(9, 6); p.lineTo(3, 12); }
    if (kind === "talk") p.fill(); else p.stroke();
    return pen.createPattern(tile, "repeat");
  };

  const fit = (canvas) => {
    const ratio = window.devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.getContext("2d").setTransform(ratio, 0, 0, ratio, 0, 0);
    return { width, height, ratio };
  };
  let stripSize = null;
  let wholeSize = null;
  const resize = () => {
    stripSize = fit(strip);
    wholeSize = fit(whole);
    nowX = parseFloat(getComputedStyle(strip).textIndent); // where the style has put the now-line
    pixelsPerSecond = Math.max(6, Math.min(10, stripSize.width / 180));
    drawPicture();
  };

  /* A kind by its shape. Work is as high as the stave, its left side the upper half, its right side the
     lower one; a change leads from one half to the other; a rest is a low band, talk a higher one; the time
     before the first phase opens like a crescendo. */
  const trace = (p, scene, x0, x1, top, bottom) => {
    const middle = (top + bottom) / 2;
    const high = bottom - top;
    p.beginPath();
    if (scene.kind === "work") {
      const from = scene.side === "right" ? middle + 1 : top;
      const to = scene.side === "left" ? middle - 1 : bottom;
      p.rect(x0, from, x1 - x0, to - from);
    } else if (scene.kind === "change") {
      const [a, b] = scene.side === "left" ? [middle + 1, top] : [top, middle + 1];
      const lane = high / 2 - 1;
      p.moveTo(x0, a); p.lineTo(x1, b); p.lineTo(x1, b + lane); p.lineTo(x0, a + lane);
      p.closePath();
    } else if (scene.kind === "lead-in") {
      p.moveTo(x0, middle - 1); p.lineTo(x1, top); p.lineTo(x1, bottom); p.lineTo(x0, middle + 1);
      p.closePath();
    } else {
      const half = high * (scene.kind === "talk" ? 0.27 : 0.15);
      p.rect(x0, middle - half, x1 - x0, half * 2);
    }
  };

  const drawBlock = (p, scene, x0, x1, top, bottom, withPattern) => {
    trace(p, scene, x0, Math.max(x1, x0 + 0.5), top, bottom);
    p.fillStyle = look.fill[scene.kind];
    p.fill();
    const paint = withPattern && look.patterns[scene.kind];
    if (!paint) return;
    paint.setTransform(new DOMMatrix([1, 0, 0, 1, x0, (top + bottom) / 2]));
    p.fillStyle = paint;
    p.fill();
  };

  /* Where a stage ends and the next one begins: a cut below the name that they share. */
  const notch = (scene, x, top, bottom) => {
    const middle = (top + bottom) / 2;
    const [from, to] = [scene.side === "right" ? middle : top, scene.side === "left" ? middle : bottom];
    pen.fillStyle = look.paper;
    pen.fillRect(x - 1.5, from + (to - from) * 0.42, 2, (to - from) * 0.58);
  };

  const indexAt = (frame, sorted = starts) => {
    let [low, high] = [0, sorted.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (sorted[middle] <= frame) low = middle + 1; else high = middle;
    }
    return Math.max(0, low - 1);
  };

  const label = (text, x, y, size, weight, color, right) => {
    pen.font = `${weight} ${size}px ${look.font}`;
    pen.fillStyle = color;
    if (x < right - 14) pen.fillText(text, x, y);
  };

  const drawLabels = (scene, i, xOf, top, bottom, isFirst) => {
    const size = Math.max(12, Math.min(22, (bottom - top) * 0.16));
    const at = (start) => Math.max(xOf(start) + size * 0.45, nowX + size * 0.6);
    const [x0, x1, middle] = [xOf(scene.start), xOf(scene.end), (top + bottom) / 2];
    pen.save();
    pen.beginPath();
    if (scene.kind === "work") {
      const end = xOf(scenes[lastOfRun[i]].end);
      const from = scene.side === "right" ? middle + 1 : top;
      pen.rect(x0, from, end - x0 - 3, bottom - from);
      pen.clip();
      const begins = isFirst || scene.first === i;
      if (begins) label(scene.shortMove, at(scenes[scene.first].start), from + size * 1.35, size, 700, "#fff", end);
      const second = scene.shortStage || (begins && scene.side ? words[scene.side] : "");
      pen.beginPath();
      pen.rect(x0, top, x1 - x0 - 3, bottom - top);
      pen.clip();
      label(second, at(scene.start), from + size * 2.55, size * 0.92, 500, "#fff", x1);
    } else if (scene.kind !== "change") {
      pen.rect(x0, top, x1 - x0 - 3, bottom - top);
      pen.clip();
      const text = words[scene.kind];
      const [x, tall] = [at(scene.start), size * 0.92];
      pen.font = `600 ${tall}px ${look.font}`;
      const room = pen.measureText(text).width;
      // A plain ground under the word: no pattern runs through it.
      if (scene.kind !== "lead-in" && x + room < x1) {
        pen.fillStyle = look.fill[scene.kind];
        pen.fillRect(x - 3, middle - tall * 0.62, room + 6, tall * 1.24);
      }
      if (x + room < x1 || (scene.kind !== "lead-in" && x1 - x0 > 60)) label(text, x, middle + tall * 0.36, tall, 600, "#000", x1);
    }
    pen.restore();
  };

  const drawParts = (from, to, xOf, size, baseline) => {
    for (let i = from; i <= to; i = lastOfPart[i] + 1) {
      const scene = scenes[i];
      const begin = i > from || i === 0 || lastOfPart[i - 1] !== lastOfPart[i];
      const x = xOf(scene.start);
      const end = xOf(scenes[lastOfPart[i]].end);
      if (!scene.part) continue;
      pen.save();
      pen.beginPath();
      pen.rect(x, 0, end - x - 6, baseline + size);
      pen.clip();
      const title = scene.rounds > 1 ? `${scene.shortPart} · ${scene.roundText}` : scene.shortPart;
      label(title, Math.max(x + 6, nowX + 8), baseline, size, 600, look.soft, end);
      pen.restore();
      pen.fillStyle = look.soft;
      if (begin && i > 0) pen.fillRect(x - 1, 2, 1.5, baseline + 4);
    }
  };

  const drawRuler = (first, last, xOf, y, size) => {
    const step = [10, 30, 60, 300].find((seconds) => seconds * pixelsPerSecond >= size * 7);
    pen.fillStyle = look.soft;
    pen.font = `500 ${size}px ${look.font}`;
    for (let second = Math.floor(first / rate / 10) * 10; second * rate <= Math.min(last, frames); second += 10) {
      const x = xOf(second * rate);
      const named = second % step === 0;
      pen.fillRect(x - 0.5, y, 1, named ? 7 : 4);
      if (named && x > nowX + 4) pen.fillText(session.clockText(second), x + 3, y + size);
    }
  };

  const drawSounds = (first, last, xOf, y) => {
    pen.fillStyle = look.ink;
    for (let i = indexAt(first - 60 * rate, spoken.starts); i < spoken.starts.length && spoken.starts[i] < last; i++) {
      const x = xOf(spoken.starts[i]);
      pen.fillRect(x, y - 1.5, Math.max(2, xOf(spoken.starts[i] + spoken.lengths[i]) - x - 1), 3);
    }
    for (let i = indexAt(first, tones); i < tones.length && tones[i] < last; i++) {
      pen.beginPath();
      pen.arc(xOf(tones[i]), y, 3.5, 0, 7);
      pen.fill();
    }
  };

  const drawStrip = (frame) => {
    const { width, height } = stripSize;
    const scene = scenes[indexAt(frame)];
    // With reduced motion the strip moves from scene to scene, and what has passed fills up second by second.
    const origin = still.matches ? scene.start : frame;
    const perFrame = pixelsPerSecond / rate;
    const xOf = (position) => nowX + (position - origin) * perFrame;
    const [first, last] = [origin - nowX / perFrame, origin + (width - nowX) / perFrame];
    const size = Math.max(11, Math.min(18, height * 0.085));
    const [top, bottom] = [size * 1.75, height - size * 2.9];
    pen.clearRect(0, 0, width, height);
    pen.fillStyle = look.rule;
    for (const share of [0.25, 0.75]) pen.fillRect(0, top + (bottom - top) * share, width, 1);
    const [from, to] = [indexAt(first), indexAt(last)];
    for (let i = from; i <= to; i++) {
      const [x0, x1] = [xOf(scenes[i].start), xOf(scenes[i].end)];
      const goesOn = lastOfRun[i] > i;
      drawBlock(pen, scenes[i], x0, x1 - (x1 - x0 > 8 && !goesOn ? 2 : 0), top, bottom, true);
      if (goesOn) notch(scenes[i], x1, top, bottom);
    }
    const current = indexAt(frame);
    for (let i = Math.max(from, current); i <= to; i++) {
      if ((scenes[i].end - scenes[i].start) * perFrame > 20) drawLabels(scenes[i], i, xOf, top, bottom, i === current);
    }
    drawParts(Math.max(from, current), to, xOf, size, size * 1.15);
    drawSounds(first, last, xOf, bottom + size * 0.75);
    drawRuler(first, last, xOf, bottom + size * 1.5, size);
    dim(pen, 0, xOf(frame), top - 1, bottom + 1);
    pen.fillStyle = look.ink;
    if (still.matches) pen.fillRect(xOf(frame) - 1, top, 2, bottom - top);
    pen.fillRect(nowX - 2, 0, 4, height);
    pen.beginPath();
    pen.moveTo(nowX - 8, 0); pen.lineTo(nowX + 8, 0); pen.lineTo(nowX, 10);
    pen.fill();
  };

  const dim = (p, from, to, top, bottom) => {
    p.globalAlpha = 0.62;
    p.fillStyle = look.paper;
    p.fillRect(from, top, Math.max(0, to - from), bottom - top);
    p.globalAlpha = 1;
  };

  const drawPicture = () => {
    const { width, height, ratio } = wholeSize;
    [picture.width, picture.height] = [whole.width, whole.height];
    const p = picture.getContext("2d");
    p.setTransform(ratio, 0, 0, ratio, 0, 0);
    const xOf = (position) => (position / frames) * width;
    p.fillStyle = look.rule;
    p.fillRect(0, height / 2 - 0.5, width, 1);
    for (const scene of scenes) {
      const [x0, x1] = [xOf(scene.start), xOf(scene.end)];
      drawBlock(p, scene, x0, x1 - (x1 - x0 > 3 ? 1 : 0), 3, height - 3, false);
    }
  };

  const drawWhole = (frame) => {
    const { width, height, ratio } = wholeSize;
    const x = Math.min(width - 1.5, Math.max(1.5, (frame / frames) * width));
    overviewPen.clearRect(0, 0, width, height);
    overviewPen.drawImage(picture, 0, 0, picture.width / ratio, picture.height / ratio);
    dim(overviewPen, 0, x, 0, height);
    overviewPen.fillStyle = look.ink;
    overviewPen.fillRect(x - 1.5, 0, 3, height);
    overviewPen.beginPath();
    overviewPen.moveTo(x - 5, 0); overviewPen.lineTo(x + 5, 0); overviewPen.lineTo(x, 6);
    overviewPen.fill();
  };

  return {
    indexAt,
    renew: () => { restyle(); resize(); },
    draw: (frame) => {
      if (!stripSize || !stripSize.width) return;
      drawStrip(frame);
      drawWhole(frame);
    },
  };
};
