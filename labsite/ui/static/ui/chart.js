// Pictures: data and layout come from the server, colours from the tokens, detail on zoom.
const DETAIL_WAIT_MS = 250;
const PAPER_WIDTH = 660; // px at 96 to the inch: A4 upright less its margins
const AXIS = { gridcolor: "token:line", linecolor: "token:edge", zerolinecolor: "token:line", tickfont: { size: 13 } };

function resolved(value, style) {
  if (typeof value === "string") return value.startsWith("token:") ? style.getPropertyValue(`--${value.slice(6)}`).trim() : value;
  if (Array.isArray(value)) return typeof value[0] === "number" ? value : value.map((item) => resolved(item, style));
  if (value && typeof value === "object") return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, resolved(item, style)]));
  return value;
}

function dressed(figure, style, axes) {
  const layout = {
    paper_bgcolor: "rgba(0,0,0,0)",
    plot_bgcolor: "rgba(0,0,0,0)",
    font: { family: style.getPropertyValue("--font"), size: 14, color: "token:ink-2" },
    margin: { l: 64, r: 12, t: 12, b: 48 },
    showlegend: false,
    hovermode: "x unified",
    hoverlabel: { bgcolor: "token:sheet", bordercolor: "token:edge", font: { color: "token:ink" } },
    modebar: { bgcolor: "rgba(0,0,0,0)", color: "token:ink-2", activecolor: "token:accent" },
    ...figure.layout,
  };
  for (const name of Object.keys(layout).filter((key) => /^[xy]axis\d*$/.test(key))) {
    layout[name] = { ...AXIS, ...layout[name], ...axes[name] };
    if (layout[name].title) layout[name].title = { font: { size: 14 }, ...layout[name].title };
  }
  // Plotly wants the place of a note on a logarithmic axis as a power of ten (of a shape as the value itself).
  layout.annotations = layout.annotations?.map((note) =>
    /^y\d*$/.test(note.yref ?? "") && layout[`yaxis${note.yref.slice(1)}`]?.type === "log" ? { ...note, y: Math.log10(note.y) } : note,
  );
  return { data: resolved(figure.data, style), layout: resolved(layout, style) };
}

class Chart {
  constructor(place) {
    this.place = place;
    this.words = place.querySelector("[data-chart-words]");
    this.canvas = document.createElement("div");
    this.canvas.className = "chart-canvas";
    this.axes = {}; // what the reader has changed: zoom and scale
    this.asked = 0;
    this.wire();
    this.load();
  }

  wire() {
    document.addEventListener("withstand:theme", () => this.draw());
    addEventListener("beforeprint", () => this.turnTo(PAPER_WIDTH));
    addEventListener("afterprint", () => this.turnTo(undefined));
    this.button = this.place.closest("[data-picture]")?.querySelector("[data-chart-log]");
    this.button?.addEventListener("click", () => this.turn());
  }

  turnTo(width) {
    this.width = width;
    this.draw();
  }

  turn() {
    const type = this.button.getAttribute("aria-pressed") === "true" ? "linear" : "log";
    this.button.setAttribute("aria-pressed", String(type === "log"));
    this.axes.yaxis2 = { type, autorange: true, ...(type === "log" && { dtick: 1 }) };
    this.draw();
  }

  async load(range) {
    const asked = ++this.asked;
    const address = new URL(this.place.dataset.chartSrc, location.href);
    if (range) {
      address.searchParams.set("from", range[0]);
      address.searchParams.set("to", range[1]);
    }
    try {
      const answer = await fetch(address, { headers: { Accept: "application/json" }, credentials: "same-origin" });
      if (!answer.ok) throw new Error(`the site answered ${answer.status}`);
      const figure = await answer.json();
      if (asked !== this.asked) return; // a later zoom has overtaken this answer
      this.figure = figure;
      await this.draw();
    } catch (reason) {
      this.say(`The picture could not be drawn (${reason.message}). The record itself is safe; load the page again.`);
    }
  }

  say(text) {
    if (!this.words.isConnected) this.place.append(this.words);
    this.words.textContent = text;
    this.words.hidden = !text;
  }

  async draw() {
    if (!this.figure) return;
    if (!window.Plotly) throw new Error("the drawing library did not load");
    const first = !this.canvas.isConnected;
    if (first) this.place.append(this.canvas);
    const { data, layout } = dressed(this.figure, getComputedStyle(document.documentElement), this.axes);
    layout.height = layout.height ?? Math.max(380, Math.min(520, this.place.clientWidth * 0.6));
    if (this.width) layout.width = this.width;
    if (this.place.clientWidth < 500) layout.margin = { ...layout.margin, l: 52, r: 4 };
    const options = { responsive: true, displaylogo: false, modeBarButtons: [["zoom2d", "pan2d", "resetScale2d", "toImage"]] };
    await window.Plotly.react(this.canvas, data, layout, options);
    this.say("");
    if (this.button) this.button.hidden = false;
    if (first) this.canvas.on("plotly_relayout", (change) => this.zoomed(change));
  }

  zoomed(change) {
    const range = change["xaxis.range"] ?? (change["xaxis.range[0]"] !== undefined && [change["xaxis.range[0]"], change["xaxis.range[1]"]]);
    if (!range && !change["xaxis.autorange"]) return;
    this.axes.xaxis = range ? { range, autorange: false } : { autorange: true };
    clearTimeout(this.wait);
    this.wait = setTimeout(() => this.load(range || undefined), DETAIL_WAIT_MS);
  }
}

function begin(root) {
  for (const place of root.querySelectorAll("[data-chart]:not([data-chart-begun])")) {
    place.dataset.chartBegun = "";
    place.chart = new Chart(place);
  }
}

// Deferred scripts run in order, so the drawing library stands before this module does.
begin(document);
document.addEventListener("htmx:load", (event) => begin(event.target));
