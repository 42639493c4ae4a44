// The sliders: a fieldset for each set of settings, built from its name as text alone.

import { duration, plain } from "./numbers.mjs";

const LONGEST_TIMEOUT_S = 1800;
const LONGEST_SECOND_S = 14400;

/** An element with attributes and text. */
export function make(tag, attributes = {}, text = null) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (text !== null) element.textContent = text;
  return element;
}

/** What the sliders of one set of settings look like: a key each, in the unit that people read. */
function sliderPlans(own) {
  const longest = Math.max(LONGEST_TIMEOUT_S, Math.ceil(own.timeout_s / 300) * 300);
  const least = own.least_timeout_s;
  return [
    { key: "timeout_s", label: "Timeout", unit: "s", min: least, max: longest, step: 5, scale: 1 },
    { key: "occupied_level", label: "Occupied level", unit: "%", min: 1, max: 100, step: 1, scale: 100 },
    { key: "unoccupied_level", label: "Unoccupied level", unit: "%", min: 0, max: 100, step: 1, scale: 100 },
  ];
}

const SECOND_PLANS = [
  { key: "second_delay_s", label: "Second delay", unit: "s", min: 60, max: LONGEST_SECOND_S, step: 60, scale: 1 },
  { key: "second_level", label: "Second level", unit: "%", min: 0, max: 100, step: 1, scale: 100 },
];

/**
 * Build the controls into an element. `change(place, changes)` is told of every move; the returned function
 * shows settings that were changed elsewhere.
 */
export function buildControls(home, settings, change) {
  const sets = settings.map((own, place) => buildSet(home, own, place, (changes) => change(place, changes)));
  return (current) => sets.forEach((show, place) => show(current[place]));
}

/** One fieldset. */
function buildSet(home, own, place, change) {
  const field = make("fieldset", { class: "settings" });
  const legend = make("legend");
  legend.append(make("strong", {}, own.name), make("span", { class: "note" }, own.note === "" ? "" : ` ${own.note}`));
  field.append(legend);
  const shows = sliderPlans(own).map((plan) => buildSlider(field, `set-${place}-${plan.key}`, plan, change));
  const hint = make("p", { class: "note", id: `set-${place}-hint` });
  field.insertBefore(hint, field.children[2]);
  field.querySelector("input").setAttribute("aria-describedby", hint.id);
  const box = make("input", { type: "checkbox", id: `set-${place}-second` });
  const line = make("p", { class: "check" });
  line.append(box, make("label", { for: box.id }, "A second step down, later"));
  const later = make("div", { class: "later" });
  field.append(line, later);
  const laterShows = SECOND_PLANS.map((plan) => buildSlider(later, `set-${place}-${plan.key}`, plan, change));
  let known = { delay: own.second_delay_s ?? 1800, level: own.second_level };
  box.addEventListener("change", () => {
    change(box.checked
      ? { second_delay_s: known.delay, second_level: known.level ?? Infinity }
      : { second_delay_s: null, second_level: null });
  });
  home.append(field);
  return (current) => {
    shows.forEach((show) => show(current));
    const hasSecond = current.second_delay_s !== null;
    box.checked = hasSecond;
    later.hidden = !hasSecond;
    if (hasSecond) {
      known = { delay: current.second_delay_s, level: current.second_level };
      laterShows.forEach((show) => show(current));
    }
    hint.textContent = own.holds_s.length === 1
      ? `hold ${duration(own.holds_s[0])} + timeout = ${duration(own.holds_s[0] + current.timeout_s)} after the last motion`
      : "the sensors' hold times, which differ by aisle, come on top";
  };
}

/** A slider and a box for the same number. */
function buildSlider(home, id, plan, change) {
  const row = make("div", { class: "slider" });
  const range = make("input", { type: "range", id, min: plan.min, max: plan.max, step: plan.step });
  const box = make("input", {
    type: "number", id: `${id}-box`, min: plan.min, max: plan.max, step: "any", "aria-label": `${plan.label}, typed`,
  });
  row.append(make("label", { for: id }, plan.label), range, box, make("span", { class: "unit", "aria-hidden": "true" }, plan.unit));
  range.addEventListener("input", () => change({ [plan.key]: Number(range.value) / plan.scale }));
  box.addEventListener("change", () => {
    const value = box.value === "" ? NaN : Number(box.value);
    if (Number.isFinite(value)) change({ [plan.key]: Math.min(plan.max, Math.max(plan.min, value)) / plan.scale });
    else change({});
  });
  home.append(row);
  return (current) => {
    const value = current[plan.key] * plan.scale;
    // keep what the slider itself shows where it stands nearest to the value
    if (Math.abs(Number(range.value) - value) > 1e-9) range.value = String(value);
    range.setAttribute("aria-valuetext", `${plain(value)} ${plan.unit === "%" ? "per cent" : "seconds"}`);
    if (document.activeElement !== box || Number(box.value) !== value) box.value = String(Number(value.toFixed(9)));
  };
}

/** Settings after a change, kept in order: occupied >= unoccupied >= second. */
export function changed(own, changes) {
  const next = { ...own, ...changes };
  next.unoccupied_level = Math.min(next.unoccupied_level, next.occupied_level);
  if (next.second_level !== null) next.second_level = Math.min(next.second_level, next.unoccupied_level);
  return next;
}
