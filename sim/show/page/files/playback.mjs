// Plays an hour back: time and distance of a few aisles, the plan beside it, under the settings of the sliders.
//
// Nothing moves before somebody presses a button. Light has one scale, from slate to lamp white, in both pictures.

import { make } from "./controls.mjs";
import { isDimAt, lastUpTo, levelAt, placeAt } from "./motion.mjs";

const RAMP = [[65, 76, 88], [142, 153, 164], [217, 213, 198], [255, 248, 227]]; // level 0 to 1, as in the report
const TRUCK = "#0f3d66";
const DIM = "#bd1f01";
const EDGE = "#ffffff";
const INK_ON_LIGHT = "#1f2a35";
const TRACK_STEP_S = 4;
const GLOW_WAIT_MS = 120;
const VEIL = 0.85;
const STRIP_PX = 64;
const GAP_PX = 16;
const LEFT_PX = 44;
const FOOT_PX = 20;
const byPlay = (id) => document.getElementById(`play-${id}`);

/** Colour of a level. */
export function rampColour(level) {
  const at = Math.min(Math.max(level, 0), 1) * (RAMP.length - 1);
  const first = Math.min(Math.floor(at), RAMP.length - 2);
  const mixed = RAMP[first].map((one, part) => Math.round(one + (RAMP[first + 1][part] - one) * (at - first)));
  return `rgb(${mixed.join(" ")})`;
}

/** Wall clock at a second of the run; in the simulation every day has 86,400 s. */
export function clockText(startIso, seconds) {
  const moment = new Date(Date.parse(`${startIso}:00Z`) + Math.floor(seconds) * 1000);
  const day = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"][moment.getUTCDay()];
  return `${day} ${moment.toISOString().slice(11, 19)}`;
}

/** A canvas's brush, as wide as the page lets it be; lengths are CSS pixels. */
function brushOf(canvas, height) {
  const width = canvas.clientWidth;
  const ratio = globalThis.devicePixelRatio || 1;
  canvas.style.height = `${height}px`;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const brush = canvas.getContext("2d");
  brush.setTransform(ratio, 0, 0, ratio, 0, 0);
  brush.font = "12px system-ui, sans-serif";
  return { brush, width, height };
}

/** Colours of the page as it is shown now. */
function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(name).trim();
  return { ink: of("--ink"), muted: of("--muted"), paper: of("--paper") };
}

/** The zone of an aisle that a place lies in. */
function zoneAt(boxes, aisle, place) {
  const own = boxes.filter((box) => box.aisle === aisle);
  return (own.find((box) => place < box.far) ?? own[own.length - 1]).zone;
}

/** The line of one visit: instants, places, and whether its light was too low. */
function trackOf(scene, visit) {
  const { hour, boxes, glow } = scene;
  const from = Math.max(hour.enter[visit], hour.start_s);
  const to = Math.min(hour.leave[visit], hour.end_s);
  const times = [];
  for (let time = from; time < to; time += TRACK_STEP_S) times.push(time);
  for (let move = hour.firstMove[visit]; move < hour.firstMove[visit + 1]; move++) {
    if (hour.moves[0][move] > from && hour.moves[0][move] < to) times.push(hour.moves[0][move]);
  }
  times.push(to);
  times.sort((one, other) => one - other);
  return times.map((time) => {
    const place = placeAt(hour, visit, time);
    return { time, place, isDim: isDimAt(glow[zoneAt(boxes, hour.aisle[visit], place)], time) };
  });
}

/** Draw the time-distance picture with nothing hidden. */
function drawStrips(canvas, scene) {
  const { hour, boxes, glow, aisles, lengths, startIso } = scene;
  const paint = colours();
  const { brush, width, height } = brushOf(canvas, hour.shown.length * (STRIP_PX + GAP_PX) + FOOT_PX);
  const x = (time) => LEFT_PX + ((time - hour.start_s) / (hour.end_s - hour.start_s)) * (width - LEFT_PX - 4);
  hour.shown.forEach((aisle, row) => {
    const top = row * (STRIP_PX + GAP_PX) + GAP_PX;
    const y = (place) => top + STRIP_PX * (1 - place / lengths[aisle]);
    for (const box of boxes.filter((one) => one.aisle === aisle)) {
      const light = glow[box.zone];
      light.start.forEach((start, piece) => {
        const from = x(Math.max(start, hour.start_s));
        const to = x(Math.min(light.end[piece], hour.end_s));
        if (light.one[piece] === light.other[piece]) brush.fillStyle = rampColour(light.one[piece]);
        else {
          const fade = brush.createLinearGradient(x(start), 0, x(light.end[piece]), 0);
          fade.addColorStop(0, rampColour(light.one[piece]));
          fade.addColorStop(1, rampColour(light.other[piece]));
          brush.fillStyle = fade;
        }
        brush.fillRect(from, y(box.far), to - from + 0.3, y(box.near) - y(box.far) - (box.near > 0 ? 1 : 0));
      });
      brush.fillStyle = paint.ink;
      hour.from[box.zone].forEach((from, one) => {
        const begin = x(Math.max(from, hour.start_s));
        const until = x(Math.min(hour.to[box.zone][one], hour.end_s));
        brush.fillRect(begin, top - 5, Math.max(until - begin, 0.8), 3);
      });
    }
    hour.enter.forEach((_, visit) => {
      if (hour.aisle[visit] === aisle) drawTrack(brush, trackOf(scene, visit), x, y);
    });
    brush.fillStyle = paint.ink;
    brush.textAlign = "right";
    brush.fillText(aisles[aisle], LEFT_PX - 6, top + STRIP_PX / 2, LEFT_PX - 8);
    brush.fillStyle = paint.muted;
    brush.fillText(`${Math.round(lengths[aisle])} m`, LEFT_PX - 6, top + 10, LEFT_PX - 8);
  });
  brush.fillStyle = paint.ink;
  for (let quarter = 0; quarter <= 4; quarter++) {
    const time = hour.start_s + (quarter / 4) * (hour.end_s - hour.start_s);
    brush.textAlign = ["left", "center", "center", "center", "right"][quarter];
    brush.fillText(clockText(startIso, time).slice(4, 9), x(time), height - 4);
  }
  return { image: canvas, x, width, height };
}

/** A truck's line with a pale edge, heavy where its light was too low. */
function drawTrack(brush, points, x, y) {
  const line = (from, to, colour, wide) => {
    brush.strokeStyle = colour;
    brush.lineWidth = wide;
    brush.beginPath();
    points.slice(from, to + 1).forEach((it) => brush.lineTo(x(it.time), y(it.place)));
    brush.stroke();
  };
  brush.lineJoin = "round";
  line(0, points.length, EDGE, 3);
  line(0, points.length, TRUCK, 1.4);
  for (let from = 0; from < points.length; from++) {
    if (!points[from].isDim) continue;
    let to = from;
    while (to + 1 < points.length && points[to + 1].isDim) to++;
    line(from, Math.max(to, Math.min(from + 1, points.length - 1)), DIM, 3);
    from = to;
  }
}

/** Draw the plan at an instant; return what is on it. */
function drawPlan(canvas, scene, time) {
  const { hour, boxes, glow, aisles } = scene;
  const paint = colours();
  const { brush, width, height } = brushOf(canvas, scene.height);
  const left = Math.min(...boxes.map((box) => box.across - box.width / 2));
  const right = Math.max(...boxes.map((box) => box.across + box.width / 2));
  const low = Math.min(...boxes.map((box) => box.near));
  const high = Math.max(...boxes.map((box) => box.far));
  const x = (across) => 3 + ((across - left) / (right - left)) * (width - 6);
  const y = (along) => 3 + (1 - (along - low) / (high - low)) * (height - FOOT_PX - 6);
  brush.clearRect(0, 0, width, height);
  const seen = [];
  for (const box of boxes) {
    const area = [x(box.across - box.width / 2), y(box.far), (box.width / (right - left)) * (width - 6), y(box.near) - y(box.far)];
    brush.fillStyle = rampColour(levelAt(glow[box.zone], time));
    brush.fillRect(...area);
    brush.strokeStyle = paint.muted;
    brush.lineWidth = 0.6;
    brush.strokeRect(...area);
    const last = lastUpTo(hour.from[box.zone], time);
    if (last >= 0 && time <= hour.to[box.zone][last] + scene.seenFor) seen.push(area);
  }
  for (const area of seen) {
    brush.strokeStyle = paint.ink;
    brush.lineWidth = 2.5;
    brush.strokeRect(...area);
  }
  let trucks = 0;
  let dim = 0;
  hour.enter.forEach((enter, visit) => {
    if (!(enter <= time && time < hour.leave[visit])) return;
    const aisle = hour.aisle[visit];
    const place = placeAt(hour, visit, time);
    const isDim = isDimAt(glow[zoneAt(boxes, aisle, place)], time);
    drawTruck(brush, x(boxes.find((box) => box.aisle === aisle).across), y(place), isDim);
    trucks += 1;
    dim += isDim ? 1 : 0;
  });
  const centres = aisles.map((_, aisle) => boxes.find((box) => box.aisle === aisle).across);
  brush.fillStyle = paint.ink;
  [0, aisles.length - 1].slice(0, aisles.length).forEach((aisle, end) => {
    brush.textAlign = end === 0 ? "left" : "right";
    brush.fillText(aisles[aisle], end === 0 ? Math.max(3, x(centres[aisle]) - 8) : Math.min(width - 3, x(centres[aisle]) + 8), height - 4, width / 2 - 8);
  });
  return { trucks, dim, zones: glow.filter((light) => levelAt(light, time) >= light.occupied[Math.max(0, lastUpTo(light.start, time))] - 1e-9).length };
}

/** A truck: round, or a diamond where its light is too low. */
function drawTruck(brush, across, along, isDim) {
  brush.beginPath();
  if (isDim) {
    brush.moveTo(across, along - 6);
    for (const [right, down] of [[6, 0], [0, 6], [-6, 0]]) brush.lineTo(across + right, along + down);
    brush.closePath();
  } else brush.arc(across, along, 4.5, 0, 2 * Math.PI);
  brush.fillStyle = isDim ? DIM : TRUCK;
  brush.strokeStyle = EDGE;
  brush.lineWidth = 1.5;
  brush.fill();
  brush.stroke();
}

/** The key: the scale of light and the marks, drawn once. */
function drawKey() {
  const bar = byPlay("scale");
  bar.style.background = `linear-gradient(to right, ${[0, 1 / 3, 2 / 3, 1].map(rampColour).join(", ")})`;
  for (const [id, isDim] of [["truck", false], ["dim", true]]) drawTruck(brushOf(byPlay(id), 16).brush, 8, 8, isDim);
}

/** Wire the playback; return it as a part of the page. */
export function wirePlayback(page, ask) {
  let scene = null;
  let strips = null;
  let view = null;
  let now = 0;
  let playing = 0; // the frame that is asked for, 0 while paused
  let turn = 0;
  let waiting = 0;
  let settled = Promise.resolve();
  const still = document.createElement("canvas");
  const rate = () => Number(byPlay("rate").value);

  const say = (on) => {
    const words = `${clockText(page.start, now)}: ${on.trucks} ${on.trucks === 1 ? "truck" : "trucks"} in the aisles, `
      + `${on.dim} of them in too little light; ${on.zones} of ${scene.glow.length} zones at their occupied level`;
    byPlay("time").setAttribute("aria-valuetext", clockText(page.start, now));
    byPlay("plan").setAttribute("aria-label", `Plan at ${words}`);
    byPlay("words").textContent = `${words}.`;
  };
  const show = () => {
    if (scene === null || strips === null || byPlay("strips").clientWidth === 0) return;
    const { brush, width, height } = brushOf(byPlay("strips"), strips.height);
    brush.drawImage(still, 0, 0, width, height);
    brush.globalAlpha = VEIL;
    brush.fillStyle = colours().paper;
    brush.fillRect(strips.x(now), 0, width - strips.x(now), height - FOOT_PX);
    brush.globalAlpha = 1;
    brush.fillStyle = colours().ink;
    brush.fillRect(strips.x(now) - 0.75, 4, 1.5, height - FOOT_PX - 4);
    byPlay("clock").textContent = clockText(page.start, now);
    byPlay("time").value = String(Math.round(now - scene.hour.start_s));
    say(drawPlan(byPlay("plan"), scene, now));
  };
  const redraw = () => {
    if (scene === null || byPlay("strips").clientWidth === 0) return;
    strips = drawStrips(byPlay("strips"), scene);
    scene.height = strips.height;
    still.width = byPlay("strips").width;
    still.height = byPlay("strips").height;
    still.getContext("2d").drawImage(byPlay("strips"), 0, 0);
    show();
  };
  const pause = () => {
    cancelAnimationFrame(playing);
    playing = 0;
    byPlay("go").textContent = "Play";
  };
  const play = () => {
    if (scene === null) return;
    if (now >= scene.hour.end_s - 1) now = scene.hour.start_s;
    byPlay("go").textContent = "Pause";
    let before = performance.now();
    const step = (at) => {
      now = Math.min(now + (Math.max(0, at - before) / 1000) * rate(), scene.hour.end_s - 0.001);
      before = at;
      show();
      if (now < scene.hour.end_s - 0.01) playing = requestAnimationFrame(step);
      else pause();
    };
    playing = requestAnimationFrame(step);
  };
  /** Ask for the lights of the view, and for the hour where it is another one. */
  const load = async () => {
    turn += 1;
    const mine = turn;
    const { variant, settings, site } = view;
    const number = Math.min(Number(byPlay("hour").value), site.playback.hours.length - 1);
    const isOther = scene === null || scene.variant !== variant || scene.number !== number;
    const hour = isOther ? await ask({ kind: "hour", variant, hour: number }) : scene.hour;
    const glow = await ask({ kind: "glow", variant, settings, from: hour.start_s, to: hour.end_s });
    if (mine !== turn) return;
    const { boxes, aisles, lengths_m: lengths } = site.playback;
    scene = {
      variant, number, hour, glow, aisles, lengths, startIso: page.start, seenFor: 1.5, height: 0,
      boxes: boxes.map(([aisle, zone, across, near, far, width]) => ({ aisle, zone, across, near, far, width })),
    };
    if (isOther) {
      pause();
      now = hour.start_s + (hour.end_s - hour.start_s) / 2;
      byPlay("time").max = String(Math.floor(hour.end_s - hour.start_s));
    }
    redraw();
  };
  const offer = () => {
    const old = byPlay("hour").value;
    byPlay("hour").replaceChildren(...view.site.playback.hours.map((one, at) => make("option", { value: String(at) },
      `${clockText(page.start, one.start_s).slice(0, 9)}, ${one.name}`)));
    byPlay("hour").value = Number(old) < view.site.playback.hours.length && old !== "" ? old : "0";
  };

  drawKey();
  byPlay("go").addEventListener("click", () => (playing === 0 ? play() : pause()));
  byPlay("hour").addEventListener("change", () => { settled = load(); });
  byPlay("time").addEventListener("input", () => {
    pause();
    if (scene === null) return;
    now = Math.min(scene.hour.start_s + Number(byPlay("time").value), scene.hour.end_s - 0.001);
    show();
  });
  new ResizeObserver(redraw).observe(byPlay("home"));
  globalThis.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  return {
    update(next) {
      const isNew = view === null || view.variant !== next.variant;
      const before = view;
      view = next;
      if (isNew) offer();
      else if (before.settings === next.settings) return;
      clearTimeout(waiting);
      settled = new Promise((resolve) => { waiting = setTimeout(() => load().then(resolve), isNew ? 0 : GLOW_WAIT_MS); });
    },
    /** What is shown, for whoever checks the page from outside. */
    async state() {
      await settled;
      return { now, isPlaying: playing !== 0, levels: scene.glow.map((light) => levelAt(light, now)) };
    },
  };
}
