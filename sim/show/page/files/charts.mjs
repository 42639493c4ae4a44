// The charts: fills Bokeh's models and gives them the page's colours. Bokeh is the global that stands before us.

const LIGHT = { ink: "#1f2a35", muted: "#55616d", grid: "#dde2e7", bar: "#f0b93c", whole: "#98a4b0", curve: "#3f90da",
  now: "#bd1f01", pins: "#1f2a35", own: "#55616d", dim: "#5b6875", paper: "#ffffff" };
const DARK = { ink: "#e3e7eb", muted: "#a3aeb9", grid: "#2b343d", bar: "#f0b93c", whole: "#5b6875", curve: "#6fb1ec",
  now: "#ff8a70", pins: "#e3e7eb", own: "#a3aeb9", dim: "#98a4b0", paper: "#161b20" };

const PAPER_WAIT_MS = 200;

/** Draw the charts; return functions that set what they show. */
export async function drawCharts(items) {
  const plots = {};
  globalThis.Bokeh.logger.set_level("off"); // the console is for faults
  for (const [name, item] of Object.entries(items)) {
    const views = await globalThis.Bokeh.embed.embed_item(item);
    const [view] = views.roots ?? [views];
    plots[name] = view.model;
  }
  const query = globalThis.matchMedia("(prefers-color-scheme: dark)");
  const paintAll = (colours) => Object.entries(plots).forEach(([name, plot]) => paintPlot(plot, colours, name));
  const paint = () => paintAll(query.matches ? DARK : LIGHT);
  paint();
  query.addEventListener("change", paint);
  globalThis.addEventListener("beforeprint", () => paintAll(LIGHT)); // paper is white
  globalThis.addEventListener("afterprint", paint);
  const source = (plot, name) => plots[plot].renderers.map((one) => one.data_source).find((one) => one.name === name);
  // the curve falls to the right: beside it, there is room above to the right and below to the left
  const below = { own: [22, 36], pins: [16, 16], now: [-8, 20] }; // [px] of labels to the right, to the left
  // beyond a place labels stand to the left of their mark; those of pins on the other side
  let turns = { now: Infinity, own: Infinity, pins: Infinity };
  const isLeft = (name, point) => (point.x > turns[name]) !== (name === "pins");
  return {
    setCurve(points) {
      const least = Math.min(...points.map((it) => it.x));
      const most = Math.max(...points.map((it) => it.x));
      turns = { now: (least + most) / 2, own: (3 * least + most) / 4, pins: (least + most) / 2 };
      source("tradeoff", "tradeoff-curve").data = { x: points.map((it) => it.x), y: points.map((it) => it.y) };
    },
    setMarks(name, points) {
      source("tradeoff", `tradeoff-${name}`).data = {
        x: points.map((it) => it.x), y: points.map((it) => it.y), label: points.map((it) => it.label),
        align: points.map((it) => (isLeft(name, it) ? "right" : "left")),
        aside: points.map((it) => (isLeft(name, it) ? -9 : 9)),
        below: points.map((it) => below[name][isLeft(name, it) ? 1 : 0]),
      };
    },
    setBars(name, aisles, value, whole) {
      source(`aisle-${name}`, `bars-${name}`).data = { aisle: aisles, value, whole };
    },
    /** Give the charts a paper's colours, and time to be drawn in them. */
    async getReadyForPaper() {
      paintAll(LIGHT);
      await new Promise((resolve) => { setTimeout(resolve, PAPER_WAIT_MS); });
    },
    hasDim: "aisle-dim" in plots,
  };
}

/** Give a plot its colours. */
function paintPlot(plot, colours, name) {
  const axes = [...plot.below, ...plot.left];
  for (const axis of axes) {
    axis.setv({
      axis_label_text_color: colours.muted, major_label_text_color: colours.ink, axis_line_color: colours.muted,
      major_tick_line_color: colours.muted,
    });
  }
  for (const grid of plot.center) grid.setv({ grid_line_color: grid.dimension === 0 && name !== "tradeoff" ? null : colours.grid });
  for (const one of plot.renderers) {
    const colour = {
      curve: colours.curve, "curve-dots": colours.curve, own: colours.own, pins: colours.pins, now: colours.now,
      whole: colours.whole, value: name === "aisle-dim" ? colours.dim : colours.bar,
      "own-label": colours.muted, "pins-label": colours.ink, "now-label": colours.ink,
    }[one.name];
    const glyph = one.glyph;
    if (one.name.endsWith("-label")) glyph.setv({ text_color: { value: colour } });
    else if (one.name === "curve") glyph.setv({ line_color: { value: colour } });
    else if (one.name === "whole") glyph.setv({ line_color: { value: colour }, fill_color: { value: null } });
    else if (one.name === "value") glyph.setv({ fill_color: { value: colour } });
    else if (one.name === "own") glyph.setv({ line_color: { value: colour }, fill_color: { value: colours.paper } });
    else glyph.setv({ fill_color: { value: colour }, line_color: { value: one.name === "curve-dots" ? colour : colours.paper } });
  }
}
