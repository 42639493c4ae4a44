// Numbers and intervals in words, as show/words/amounts does it.

/** Decimal places at which a value has so many significant figures once rounded; negative: tens. */
function decimals(value, figures) {
  const places = figures - 1 - Math.floor(Math.log10(Math.abs(value)));
  return Math.abs(rounded(value, places)) >= 10 ** (figures - places) ? places - 1 : places;
}

/** Round to decimal places, which may be negative. */
function rounded(value, places) {
  return places >= 0 ? Number(value.toFixed(Math.min(places, 100))) : Math.round(value * 10 ** places) / 10 ** places;
}

/** A number with decimal places, thousands set apart by a comma. */
function fixed(value, places) {
  const text = rounded(value, places).toFixed(Math.max(places, 0));
  const [whole, part] = text.split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, ",") + (part === undefined ? "" : `.${part}`);
  return /[1-9]/.test(grouped) ? grouped : grouped.replace("-", "");
}

/** Round to significant figures; 40.0 is 40. */
export function digits(value, figures = 3) {
  if (!Number.isFinite(value)) return "not known";
  if (Number.isInteger(value) && Math.abs(value) < 10 ** figures) return String(value === 0 ? 0 : value);
  return fixed(value, decimals(value, figures));
}

/** A setting as a person wrote it. */
export function plain(value) {
  const text = fixed(value, 6);
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

/** A level as per cent, to a tenth. */
export function levelText(level) {
  return `${plain(Math.round(1000 * level) / 10)}\u00a0%`;
}

/** Mean with the half-width of its interval: {mean, half}. */
export function interval(estimate, unit = "", scale = 1) {
  if (estimate.mean === null || !Number.isFinite(estimate.mean)) return "not known";
  const behind = unit === "" ? "" : `\u00a0${unit}`;
  const mean = estimate.mean * scale;
  if (estimate.half === null || !Number.isFinite(estimate.half)) return digits(mean) + behind;
  const half = Math.abs(estimate.half * scale);
  if (half <= 1e-6 * Math.abs(mean)) return `${digits(mean)}\u00a0±\u00a00${behind}`;
  let places = decimals(half, 2);
  if (mean !== 0) places = Math.min(Math.max(decimals(mean, 3), decimals(half, 1)), places);
  return `${fixed(mean, places)}\u00a0±\u00a0${fixed(half, places)}${behind}`;
}

/** A share as per cent, with its interval. */
export function percentInterval(estimate) {
  return interval(estimate, "%", 100);
}

/** An amount of time with its interval, in the unit that suits it. */
export function timeInterval(estimate) {
  const seconds = Math.abs(estimate.mean ?? 0);
  const [size, unit] = seconds >= 7200 ? [3600, "h"] : seconds >= 120 ? [60, "min"] : [1, "s"];
  return interval(estimate, unit, 1 / size);
}

/** A time span in the unit a person would use. */
export function duration(seconds) {
  for (const [size, unit] of [[86400, "days"], [3600, "h"], [60, "min"]]) {
    if (seconds >= 2 * size || seconds === size) {
      const name = unit === "days" && seconds === size ? "day" : unit;
      if (unit === "min" && Number.isInteger(seconds) && seconds % 6 !== 0) {
        return `${Math.floor(seconds / 60)}\u00a0min ${seconds % 60}\u00a0s`;
      }
      return `${short(seconds / size)}\u00a0${name}`;
    }
  }
  return `${short(seconds)}\u00a0s`;
}

/** Up to three significant figures without trailing noughts. */
function short(value) {
  const text = digits(value);
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

/** Mean and 95 % half-width of independent figures; `quantile` is Student's t, null for one figure. */
export function estimateMean(values, quantile) {
  const count = values.length;
  const mean = values.reduce((sum, value) => sum + value, 0) / count;
  if (Number.isNaN(mean)) return { mean: null, half: null };
  if (quantile === null) return { mean, half: null };
  const variance = values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (count - 1);
  return { mean, half: quantile * Math.sqrt(variance / count) };
}
