// Wires the page: sliders ask the engine, its answer fills figures and charts.
//
// A part of the page is {update(view)}: it is told of every new answer. `view` holds page, site (the variant's
// data without its traffic), variant, settings, outcome and rows. Parts are listed in `parts` below.

import { drawCharts } from "./charts.mjs";
import { startEngine } from "./client.mjs";
import { buildControls, changed, make } from "./controls.mjs";
import { duration, plain } from "./numbers.mjs";
import { settingsWords, wirePins } from "./pins.mjs";
import { wirePlayback } from "./playback.mjs";
import { wireQuick } from "./quick.mjs";
import { figureRows, figureText, sentences } from "./rows.mjs";
import { settingsText } from "./toml.mjs";

const CURVE_POINTS = 24;
const CURVE_AT_ONCE = 2;
const CURVE_WAIT_MS = 150;
const SPEAK_WAIT_MS = 700;
const CLOSE = 1e-9;

const byId = (id) => document.getElementById(id);
const page = JSON.parse(byId("page-data").textContent);
const state = { variant: 0, settings: page.settings.map((own) => ({ ...own })), focus: 0 };
let own = null; // the answer for the settings as they stand in the file
let latest = null; // the view that is shown
let idle = Promise.resolve();
let playback = null;

/** Prices as they stand in the boxes. */
function readMoney() {
  const number = (id) => (byId(id).value === "" || !byId(id).checkValidity() ? null : Number(byId(id).value));
  return { per_kwh: number("price"), g_per_kwh: number("carbon") };
}

/** What the parts are told. */
function makeView(choice, outcome) {
  const site = page.variants[choice.variant];
  return { page, site, ...choice, outcome, rows: figureRows(page, site, outcome, readMoney()) };
}

/** Say whether two views are of the same site and settings. */
function sameChoice(one, other) {
  return JSON.stringify([one.variant, one.settings]) === JSON.stringify([other.variant, other.settings]);
}

/** Rows of the table of figures: now, and as the file has it. */
function showFigures(view) {
  const before = own === null ? view : makeView(own, own.outcome);
  const isOwn = sameChoice(view, before);
  let group = "";
  byId("figures").querySelector("tbody").replaceChildren(...view.rows.flatMap((row) => {
    const lines = [];
    if (row.group !== group) {
      group = row.group;
      const head = make("tr");
      head.append(make("th", { class: "group", colspan: "3", scope: "colgroup" }, group));
      lines.push(head);
    }
    const line = make("tr", { "data-key": row.key, ...(row.values === null ? { class: "screen-only" } : {}) });
    const label = make("th", { scope: "row" }, row.label);
    if (row.hint !== "") label.append(make("span", { class: "hint" }, row.hint));
    const other = before.rows.find((it) => it.key === row.key);
    line.append(label, make("td", { class: row.values === null ? "number note" : "number" }, figureText(page, row)),
      make("td", { class: "number faint" }, isOwn || row.values === null ? "" : figureText(page, other)));
    return [...lines, line];
  }));
  byId("before-head").classList.toggle("out-of-sight", isOwn);
}

let speaking = 0;

/** The plain sentences; a screen reader hears them once the sliders rest. */
function showSentences(view) {
  const said = sentences(page, view.site, view.outcome);
  byId("sentence").textContent = said[0];
  byId("sentence-more").textContent = said.slice(1).join(" ");
  clearTimeout(speaking);
  speaking = setTimeout(() => {
    byId("spoken").textContent = said.join(" ");
  }, SPEAK_WAIT_MS);
}

/** Settings as text to copy, and as a table on paper. */
function showSettings(view) {
  const { name, daylight_words: daylight } = view.site;
  byId("toml").value = settingsText(view.settings);
  byId("daylight").textContent = daylight;
  byId("paper-settings").replaceChildren(
    ...[...(page.variants.length > 1 ? [name] : []), ...settingsWords(view.settings), ...(daylight === "" ? [] : [daylight])]
      .map((words) => make("li", {}, words)),
  );
}

/** Where a view stands in the trade-off. */
function place(view, label) {
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const { total, knows } = view.outcome;
  const y = knows ? mean(total.dim_truck_s) / page.days / 60
    : mean(total.switch_ups) / (page.variants[view.variant].zones.length * page.run_h);
  return { x: mean(total.energy_kwh) / page.days, y, label };
}

/** Return `soon(name, draw)`: draws one chart in a frame, so that none waits for the others; the latest counts. */
function inTurn() {
  const queue = new Map();
  let frame = 0;
  const step = () => {
    const [[name, draw]] = queue;
    queue.delete(name);
    draw();
    frame = queue.size > 0 ? requestAnimationFrame(step) : 0;
  };
  return (name, draw) => {
    queue.set(name, draw);
    if (frame === 0) frame = requestAnimationFrame(step);
  };
}

/** The charts as a part. */
function chartPart(charts, ask, pins) {
  const soon = inTurn();
  let curveOf = "";
  let waiting = 0;
  let turn = 0;
  const timeouts = (name) => {
    const { least_timeout_s: least, timeout_s: given } = page.settings[name];
    const most = Math.max(1800, Math.ceil(given / 300) * 300);
    return Array.from({ length: CURVE_POINTS }, (_, step) => Math.round(least * (most / least) ** (step / (CURVE_POINTS - 1))));
  };
  const drawCurve = async (view, mine) => {
    const points = [];
    const all = timeouts(view.focus);
    for (let first = 0; first < all.length; first += CURVE_AT_ONCE) {
      const choices = all.slice(first, first + CURVE_AT_ONCE).map((timeout) => view.settings.map((set, at) => (
        at === view.focus ? { ...set, timeout_s: timeout } : set)));
      const { outcomes } = await ask({ kind: "evaluate", variant: view.variant, choices });
      if (mine !== turn) return;
      outcomes.forEach((outcome) => points.push(place({ ...view, outcome }, "")));
    }
    charts.setCurve(points);
    setMarks(latest); // the timeout may have moved on along this curve
    const words = view.outcome.knows ? "dim truck-time" : "switching";
    byId("chart-tradeoff").setAttribute("aria-label",
      `Energy against ${words}, along the timeout of ${page.settings[view.focus].name}: from `
      + `${plain(Math.round(points[0].x * 10) / 10)} kWh a day at ${duration(all[0])} to `
      + `${plain(Math.round(points[points.length - 1].x * 10) / 10)} kWh a day at ${duration(all[all.length - 1])}.`);
  };
  const setMarks = (view) => {
    const isOwn = sameChoice(view, own);
    const timeout = duration(view.settings[view.focus].timeout_s);
    charts.setMarks("now", [place(view, `${isOwn ? "as in the file" : "now"}, ${timeout}`)]);
    charts.setMarks("own", isOwn ? [] : [place(own, "as in the file")]);
    charts.setMarks("pins", pins.list().map((pin) => place(pin, pin.name)));
  };
  return {
    update(view) {
      const { site, outcome } = view;
      const aisles = site.shown_aisles;
      const names = aisles.map((aisle) => site.aisles[aisle]);
      const daily = (column, scale) => aisles.map((aisle) => (column[aisle] * scale) / page.days);
      soon("tradeoff", () => setMarks(view));
      soon("energy", () => charts.setBars("energy", names, daily(outcome.aisles.energy_kwh, 1), daily(site.aisle_always_on_kwh, 1)));
      if (charts.hasDim) soon("dim", () => charts.setBars("dim", names, daily(outcome.aisles.dim_truck_s, 1 / 60), names.map(() => 0)));
      byId("curve-name").textContent = page.settings[view.focus].name;
      const key = JSON.stringify([view.variant, view.focus,
        view.settings.map((set, at) => (at === view.focus ? { ...set, timeout_s: 0 } : set))]);
      if (key === curveOf) return;
      curveOf = key;
      turn += 1;
      const mine = turn;
      clearTimeout(waiting);
      waiting = setTimeout(() => drawCurve(view, mine), CURVE_WAIT_MS);
    },
  };
}

/** Compare the page's own figures with those that the program found, at the program's settings. */
async function checkItself(ask) {
  let worst = 0;
  for (const [variant, site] of page.variants.entries()) {
    const { outcomes: [outcome] } = await ask({ kind: "evaluate", variant, choices: [site.settings] });
    site.runs.forEach((run, replication) => {
      for (const [name, found] of Object.entries(run.found)) {
        const off = Math.abs(outcome.total[name][replication] - found);
        worst = Math.max(worst, off > 1e-6 ? off / Math.abs(found) : 0);
      }
    });
  }
  byId("checked").textContent = worst <= CLOSE
    ? "Checked when this page opened: for the settings in the file it finds the program's own figures, to nine digits."
    : "This browser computes other figures than the program. Do not use this page here.";
  byId("checked").className = worst <= CLOSE ? "note" : "warning";
}

/** Copy the settings' text. */
async function copySettings() {
  const box = byId("toml");
  try {
    await navigator.clipboard.writeText(box.value);
    byId("copy-status").textContent = "Copied.";
  } catch {
    box.focus();
    box.select();
    byId("copy-status").textContent = "Selected: press Ctrl+C or Cmd+C.";
  }
}

async function open() {
  const ask = await startEngine(byId("engine").textContent);
  for (const site of page.variants) {
    await ask({ kind: "open", site: { ...site, year: page.year } });
    for (const run of site.runs) run.blocks = run.pieces = run.kinds = null; // the engine has them
  }
  const parts = [];
  const tell = () => latest !== null && parts.forEach((part) => part.update(latest));

  let isRunning = false;
  let isStale = false;
  const compute = async () => {
    do {
      isStale = false;
      const choice = { variant: state.variant, settings: state.settings, focus: state.focus };
      const answer = await ask({ kind: "evaluate", variant: choice.variant, choices: [choice.settings] });
      const began = performance.now();
      if (own === null) own = { ...choice, outcome: answer.outcomes[0] };
      latest = makeView(choice, answer.outcomes[0]);
      tell();
      latest.took_ms = [answer.took_ms, performance.now() - began];
    } while (isStale);
    isRunning = false;
  };
  const refresh = () => {
    isStale = true;
    if (isRunning) return;
    isRunning = true;
    idle = compute();
  };

  const showControls = buildControls(byId("controls"), page.settings, (set, changes) => {
    state.settings = state.settings.map((it, at) => (at === set ? changed(it, changes) : it));
    state.focus = set;
    showControls(state.settings);
    refresh();
  });
  const use = ({ variant, settings }) => {
    state.variant = variant;
    state.settings = settings;
    byId("variant").value = String(variant);
    showControls(state.settings);
    refresh();
  };
  const rows = (pin) => makeView(pin, pin.outcome).rows;
  const pins = wirePins({ page, use, rows }, () => tell());
  byId("variant").replaceChildren(...page.variants.map((site, at) => make("option", { value: String(at) }, site.name)));
  byId("variant-row").hidden = page.variants.length < 2;
  byId("price-row").hidden = Boolean(page.year?.money);
  byId("variant").addEventListener("change", () => use({ variant: Number(byId("variant").value), settings: state.settings }));
  byId("reset").addEventListener("click", () => use({ variant: 0, settings: page.settings.map((it) => ({ ...it })) }));
  byId("pin").addEventListener("click", () => latest !== null && pins.add(latest));
  byId("copy").addEventListener("click", copySettings);
  for (const id of ["price", "carbon"]) {
    byId(id).addEventListener("input", () => {
      if (latest !== null) latest = makeView(latest, latest.outcome);
      tell();
    });
  }
  const charts = await drawCharts(page.charts);
  const print = async () => {
    await charts.getReadyForPaper();
    globalThis.print();
  };
  byId("print").addEventListener("click", print);
  globalThis.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key !== "p") return;
    event.preventDefault();
    print();
  });
  playback = wirePlayback(page, ask);
  parts.push({ update: showFigures }, { update: showSentences }, { update: showSettings }, pins,
    chartPart(charts, ask, pins), playback);
  showControls(state.settings);
  refresh();
  await idle;
  await checkItself(ask);
  document.documentElement.dataset.state = "open";
}

/** Say that the page cannot compute here; the quick estimate still can. */
function giveUp(error) {
  document.documentElement.dataset.state = "failed";
  byId("sentence").textContent = "This browser cannot compute this page; a current one can.";
  byId("sentence-more").textContent = String(error);
}

wireQuick();
// for the console, and for whoever checks the page from outside
globalThis.aislewake = {
  page,
  opened: open().catch(giveUp),
  /** The playback once the sliders rest: its instant [s], whether it runs, the level of each zone. */
  async playback() {
    await idle;
    return playback.state();
  },
  /** The figures that are shown once the sliders rest: totals by replication. */
  async figures() {
    await idle;
    return {
      variant: latest.variant,
      settings: latest.settings,
      total: Object.fromEntries(Object.entries(latest.outcome.total).map(([name, values]) => [name, Array.from(values)])),
      rows: Object.fromEntries(latest.rows.map((row) => [row.key, row.values])),
      took_ms: latest.took_ms,
    };
  },
};
