// The quick estimate's form: ten numbers in, three options out.

import { make } from "./controls.mjs";
import { aisleShares, quickEstimate } from "./estimate.mjs";
import { digits, duration, levelText } from "./numbers.mjs";

/** Wire the form up. */
export function wireQuick() {
  const form = document.getElementById("quick-form");
  const body = document.querySelector("#quick-options tbody");
  const words = document.getElementById("quick-words");
  const read = () => {
    const inputs = {};
    for (const box of form.querySelectorAll("input")) {
      const value = Number(box.value);
      const isGood = box.value !== "" && Number.isFinite(value) && box.checkValidity();
      box.setAttribute("aria-invalid", String(!isGood));
      if (!isGood) return null;
      inputs[box.name] = value / (box.dataset.scale ? Number(box.dataset.scale) : 1);
    }
    return inputs;
  };
  const show = () => {
    const inputs = read();
    if (inputs === null) {
      words.textContent = "One of the numbers is missing or out of its range.";
      body.replaceChildren();
      return;
    }
    const options = quickEstimate(inputs);
    const share = (value) => digits(100 * value, 2);
    const between = (low, high, say) => (say(low) === say(high) ? say(low) : `${say(low)} to ${say(high)}`);
    body.replaceChildren(...options.map((option) => {
      const line = make("tr");
      const cells = [
        `${duration(option.timeout_s)}, ${levelText(option.level)}`,
        `${share(option.likely)}\u00a0%`,
        `${between(option.low, option.high, share)}\u00a0%`,
        `${between(option.logged_low, option.logged_high, share)}\u00a0%`,
        `${digits(option.saved_kwh)}\u00a0kWh`,
        digits(option.saved_money),
        option.payback_years === null ? "no cost given"
          : `${digits(option.payback_years, 2)} (${between(option.payback_low, option.payback_high ?? Infinity, (it) => digits(it, 2))})`,
      ];
      line.append(make("th", { scope: "row" }, option.name), ...cells.map((cell) => make("td", {}, cell)));
      return line;
    }));
    const shares = aisleShares(inputs.aisles, Math.max(0.2, inputs.busiest_share));
    const hourly = (place) => digits(inputs.visits_per_h * shares[place], 2);
    const edge = Math.min(inputs.aisles - 1, Math.ceil(inputs.aisles / 5) - 1);
    const middle = Math.floor((inputs.aisles - 1) / 2);
    words.textContent = `Log these aisles for two weeks to halve the range: the busiest (here some ${hourly(0)} visits an hour), `
      + `number ${edge + 1} by traffic (${hourly(edge)}) and number ${middle + 1} (${hourly(middle)}).`;
  };
  form.addEventListener("input", show);
  form.addEventListener("submit", (event) => event.preventDefault());
  show();
}
