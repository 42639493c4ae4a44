// Plays an hour back: time and distance of a few aisles, the plan beside it, under the settings of the sliders.
//
// Nothing moves before somebody presses a button. Light has one scale, from slate to lamp white, in both pictures.

import { make } from "./controls.mjs";
import { levelAt } from "./motion.mjs";
import { FOOT_PX, brushOf, clockText, colours, drawTruck, rampColour } from "./paint.mjs";
import { drawPlan } from "./plan.mjs";
import { drawStrips } from "./strips.mjs";

const GLOW_WAIT_MS = 120;
const VEIL = 0.85;
const byPlay = (id) => document.getElementById(`play-${id}`);

/** The key: the scale of light and the marks, drawn once. */
function drawKey() {
  const bar = byPlay("scale");
  bar.style.background = `linear-gradient(to right, ${[0, 1 / 3, 2 / 3, 1].map(rampColour).join(", ")})`;
  for (const [id, light] of [["truck", "lit"], ["dim", "dim"], ["ring", "unknown"]]) drawTruck(brushOf(byPlay(id), 16).brush, 8, 8, light);
}

/** What the plan does not show. */
function drawnWords(hour, hasAreas) {
  if (hour.open === null) return "Outside the aisles no truck is drawn: the log does not say where it is.";
  return `Parked and charging trucks are not drawn${hasAreas ? ", nor are people on foot in open areas" : ""}.`;
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
    const words = `${clockText(page.start, now)}: ${on.inAisles} ${on.inAisles === 1 ? "truck" : "trucks"} in the aisles`
      + `${scene.hour.open === null ? "" : `, ${on.outside} outside them`}, ${on.dim} in too little light; `
      + `${on.zones} of ${scene.glow.length} zones at their occupied level`;
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
    const { boxes, aisles, lengths_m: lengths, width_m: widthM, depth_m: depthM, doors_m: doors } = site.playback;
    scene = {
      variant, number, hour, glow, aisles, lengths, widthM, depthM, doors, startIso: page.start, seenFor: 1.5, height: 0,
      boxes: boxes.map(([aisle, zone, across, near, far, width]) => ({ aisle, zone, across, near, far, width })),
    };
    if (isOther) {
      pause();
      now = hour.start_s + (hour.end_s - hour.start_s) / 2;
      byPlay("time").max = String(Math.floor(hour.end_s - hour.start_s));
      byPlay("drawn").textContent = drawnWords(hour, boxes.some(([aisle]) => aisle < 0));
      byPlay("ring-key").hidden = hour.open === null;
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
