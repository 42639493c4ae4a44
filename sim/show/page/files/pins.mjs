// Pinned settings: a list, and two of them side by side with paired differences.

import { make } from "./controls.mjs";
import { duration, levelText } from "./numbers.mjs";
import { differenceText, figureText } from "./rows.mjs";

/** What some settings are, in a few words. */
export function settingsWords(settings) {
  return settings.map((own) => {
    const second = own.second_delay_s === null
      ? "" : `, then ${levelText(own.second_level)} after ${duration(own.second_delay_s)}`;
    const levels = `${levelText(own.occupied_level)} / ${levelText(own.unoccupied_level)}`;
    return `${own.name}: ${duration(own.timeout_s)}, ${levels}${second}`;
  });
}

/**
 * Wire the pins up. `context` has page, use(pin) and rows(pin); the returned object has add(view), list() and
 * update(), for when prices have changed.
 */
export function wirePins(context, changed) {
  const list = document.getElementById("pins");
  const choices = ["pin-one", "pin-other"].map((id) => document.getElementById(id));
  const side = document.getElementById("pins-side");
  const status = document.getElementById("pin-status");
  const pins = [];
  let number = 0;

  const show = () => {
    list.replaceChildren(...pins.map((pin) => {
      const item = make("li");
      const words = [...(context.page.variants.length > 1 ? [context.page.variants[pin.variant].name] : []),
        ...settingsWords(pin.settings)];
      item.append(make("strong", {}, `${pin.name}. `), make("span", {}, words.join("; ")), " ");
      const use = make("button", { type: "button", class: "small", "aria-label": `Use pin ${pin.name}` }, "Use");
      use.addEventListener("click", () => context.use(pin));
      const drop = make("button", { type: "button", class: "small", "aria-label": `Remove pin ${pin.name}` }, "Remove");
      drop.addEventListener("click", () => {
        pins.splice(pins.indexOf(pin), 1);
        show();
        document.getElementById("pin").focus();
      });
      item.append(use, " ", drop);
      return item;
    }));
    choices.forEach((choice, place) => {
      const before = choice.value;
      choice.replaceChildren(...pins.map((pin) => make("option", { value: pin.name }, pin.name)));
      const wanted = pins.some((pin) => pin.name === before) ? before : null;
      if (pins.length > 0) choice.value = wanted ?? pins[Math.max(0, pins.length - 2 + place)].name;
    });
    if (pins.length >= 2 && choices[0].value === choices[1].value) choices[1].value = pins[pins.length - 1].name;
    compare();
    changed();
  };
  const compare = () => {
    side.hidden = pins.length < 2;
    if (side.hidden) return;
    const [one, other] = choices.map((choice) => pins.find((pin) => pin.name === choice.value));
    const body = side.querySelector("tbody");
    side.querySelectorAll("thead th").forEach((cell, place) => {
      cell.textContent = ["Figure", one.name, other.name, `${other.name} less ${one.name}`][place];
    });
    const others = context.rows(other);
    body.replaceChildren(...context.rows(one).flatMap((row) => {
      const same = others.find((it) => it.key === row.key);
      if (same === undefined || row.values === null || same.values === null) return [];
      const line = make("tr");
      line.append(make("th", { scope: "row" }, row.label),
        make("td", { class: "number" }, figureText(context.page, row)),
        make("td", { class: "number" }, figureText(context.page, same)),
        make("td", { class: "number" }, differenceText(context.page, row, same)));
      return [line];
    }));
  };
  choices.forEach((choice) => choice.addEventListener("change", compare));
  return {
    add(view) {
      number += 1;
      pins.push({ ...view, name: String.fromCharCode(64 + ((number - 1) % 26) + 1) });
      show();
      status.textContent = `Pinned as ${pins[pins.length - 1].name}.`;
    },
    list: () => pins,
    update: compare,
  };
}
