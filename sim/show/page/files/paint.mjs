// What both pictures of the playback are painted with: one scale of light, trucks, the page's own colours.

const RAMP = [[65, 76, 88], [142, 153, 164], [217, 213, 198], [255, 248, 227]]; // level 0 to 1, as in the report
export const TRUCK = "#0f3d66";
export const DIM = "#bd1f01";
export const EDGE = "#ffffff";
export const FOOT_PX = 20;

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
export function brushOf(canvas, height) {
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
export function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(name).trim();
  return { ink: of("--ink"), muted: of("--muted"), paper: of("--paper") };
}

/** The zone of an aisle that a place lies in. */
export function zoneAt(boxes, aisle, place) {
  const own = boxes.filter((box) => box.aisle === aisle);
  return (own.find((box) => place < box.far) ?? own[own.length - 1]).zone;
}

/** A truck: round, a diamond where its light is too low, a ring where no light is simulated. */
export function drawTruck(brush, across, along, light) {
  brush.beginPath();
  if (light === "dim") {
    brush.moveTo(across, along - 6);
    for (const [right, down] of [[6, 0], [0, 6], [-6, 0]]) brush.lineTo(across + right, along + down);
    brush.closePath();
  } else brush.arc(across, along, light === "unknown" ? 3.5 : 4.5, 0, 2 * Math.PI);
  brush.fillStyle = { dim: DIM, lit: TRUCK, unknown: EDGE }[light];
  brush.strokeStyle = light === "unknown" ? TRUCK : EDGE;
  brush.lineWidth = 1.5;
  brush.fill();
  brush.stroke();
}
