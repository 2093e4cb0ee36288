// The charts of the review: one time line for all of them, thinned to what the screen can show.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const minute = 60000, day = 1440 * minute;
  const style = name => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const causeWords = ["clear", "cloud", "snow", "film on the glass", "shade", "bank full or held off", "out", "dark", "no telemetry", "unsure"];
  const causeStyle = [null, "cloud", "snow", "soiling", "shade", "curtailed", "outage", null, "no_data", "unexplained"];
  const parts = ["made", "cloud", "snow", "soiling", "shade", "curtailed", "cold", "outage", "no_data", "unexplained"];
  const partWords = ["made", "cloud", "snow", "film", "shade", "bank full", "bank cold", "outage", "no data", "unexplained"];
  const whole = [data.from * minute, data.to * minute];
  let range = whole.slice();
  const charts = [];

  // ---- words ----
  const two = n => String(n).padStart(2, "0");
  const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const dateWords = ms => { const d = new Date(ms); return d.getUTCDate() + " " + months[d.getUTCMonth()] + " " + d.getUTCFullYear(); };
  const timeWords = ms => { const d = new Date(ms); return dateWords(ms) + " " + two(d.getUTCHours()) + ":" + two(d.getUTCMinutes()); };
  const kwh = v => (Math.abs(v) < 1 ? v.toFixed(2) : v.toFixed(1)) + " kWh";

  // ---- series: packed pieces to arrays on a fixed step ----
  function unpack(pieces, step, scale) {
    const n = Math.max(1, Math.ceil((data.to - data.from) / step));
    const out = new Float32Array(n).fill(NaN);
    for (const [at, values] of pieces) for (let i = 0; i < values.length; ++i) if (values[i] !== null) out[at + i] = values[i] * scale;
    return out;
  }
  /// Means over buckets so wide that a window holds about `most` of them.
  function thinned(columns, step, most) {
    const span = (range[1] - range[0]) / minute;
    let width = step;
    for (const w of [5, 10, 15, 30, 60, 120, 180, 360]) if (w >= step) { width = w; if (span / w <= most) break; }
    const per = width / step, n = columns[0].length, rows = [];
    const first = Math.max(0, Math.floor(((range[0] / minute - data.from) / step - per) / per) * per);
    const last = Math.min(n, Math.ceil((range[1] / minute - data.from) / step) + per);
    for (let i = first; i < last; i += per) {
      const row = [new Date((data.from + (i + per / 2) * step) * minute)];
      for (const c of columns) {
        let sum = 0, k = 0;
        for (let j = i; j < i + per && j < n; ++j) if (!Number.isNaN(c[j])) { sum += c[j]; ++k; }
        row.push(k ? sum / k : null);
      }
      rows.push(row);
    }
    // dygraphs wants a row; two empty ones stand for a window without samples.
    if (rows.length < 2) for (const x of range) rows.push([new Date(x), ...columns.map(() => null)]);
    return rows;
  }

  // ---- one time line ----
  let moving = false, refill = 0;
  function show(from, to) {
    const least = 3 * 60 * minute;
    if (to - from < least) { const middle = (from + to) / 2; from = middle - least / 2; to = middle + least / 2; }
    if (to - from >= whole[1] - whole[0]) [from, to] = whole;
    else if (from < whole[0]) { to += whole[0] - from; from = whole[0]; }
    else if (to > whole[1]) { from -= to - whole[1]; to = whole[1]; }
    range = [from, to];
    moving = true;
    for (const c of charts) c.graph.updateOptions({ dateWindow: range, file: c.rows(), ...c.more() });
    moving = false;
    for (const c of charts) c.quiet();
    lane();
    const out = document.getElementById("range");
    const lastDay = dateWords(to - minute);
    if (out) out.textContent = dateWords(from) === lastDay ? lastDay : dateWords(from) + " to " + lastDay;
  }
  function moved(graph, initial) {
    if (initial || moving) return;
    const w = graph.xAxisRange();
    if (Math.abs(w[0] - range[0]) < 1 && Math.abs(w[1] - range[1]) < 1) return;
    clearTimeout(refill);
    refill = setTimeout(() => show(w[0], w[1]), 60);
  }
  function select(graph, x) {
    for (const c of charts) {
      if (c.graph === graph) continue;
      const n = c.graph.numRows();
      let lo = 0, hi = n - 1;
      while (lo < hi) { const mid = (lo + hi) >> 1; if (c.graph.getValue(mid, 0) < x) lo = mid + 1; else hi = mid; }
      if (lo > 0 && x - c.graph.getValue(lo - 1, 0) < c.graph.getValue(lo, 0) - x) --lo;
      moving = true;
      c.graph.setSelection(lo);
      moving = false;
      c.tell(c.graph.getValue(lo, 0), lo);
    }
  }

  // One finger on a chart: sideways it moves the time line, up and down the page, a tap reads; two fingers look closer.
  // dygraphs alone would hold the page still under a finger, and read nothing.
  const mouse = Dygraph.defaultInteractionModel;
  const touched = then => (e, g, context) => {
    if (e.touches.length < 2) e.preventDefault = () => {};
    then(e, g, context);
    context.touchDirections = { x: true, y: false };
    context.sideways = false;
  };
  const fingers = {
    ...mouse,
    touchstart: touched(mouse.touchstart),
    touchend: touched(mouse.touchend),
    touchmove: (e, g, context) => {
      const from = context.initialTouches[0], to = e.touches[0];
      const across = Math.abs(to.pageX - from.pageX), along = Math.abs(to.pageY - from.pageY);
      context.sideways = context.sideways || e.touches.length > 1 || across > Math.max(8, 1.5 * along);
      if (context.sideways) mouse.touchmove(e, g, context);
    },
  };

  function add(id, labels, rows, tell, options, more = () => ({}), caption = null) {
    const box = document.getElementById(id);
    if (!box) return;
    const out = document.getElementById(id + "-readout");
    const chart = { rows, more, tell: (x, row, e) => { if (out) out.textContent = tell(chart.graph, x, row, e); } };
    const said = out ? out.textContent : "";
    const quiet = () => caption ? caption(box) : said;
    chart.graph = new Dygraph(box, rows(), {
      labels, labelsUTC: true, legend: "never", dateWindow: range, connectSeparatedPoints: false, xRangePad: 0,
      gridLineColor: style("line"), axisLineColor: style("line"), gridLineWidth: 1, strokeWidth: 1.5, highlightCircleSize: 3,
      axes: { y: { axisLabelWidth: 44 }, x: { axisLabelWidth: 62 } },
      drawCallback: moved,
      highlightCallback: (e, x, points, row) => { chart.tell(x, row, e); select(chart.graph, x); },
      unhighlightCallback: () => { for (const c of charts) c.quiet(); },
      interactionModel: fingers,
      ...options, ...more(),
    });
    chart.quiet = () => { if (out) out.textContent = quiet(); if (chart.graph.getSelection() >= 0) { moving = true; chart.graph.clearSelection(); moving = false; } };
    // A double click shows the whole period on all charts.
    box.addEventListener("dblclick", () => setTimeout(() => show(...whole), 0));
    charts.push(chart);
    return chart;
  }

  // ---- energy a day, stacked ----
  const dayRows = data.days.map(d => [new Date((d[0] + 720) * minute), ...d.slice(1).map(v => v / 10000)]);
  function stacks(e) {
    if (e.seriesIndex !== 0) return;
    const g = e.dygraph, ctx = e.drawingContext, colours = parts.map(style);
    const wide = Math.max(1, (g.toDomXCoord(day) - g.toDomXCoord(0)) * 0.84), gap = wide > 8 ? 0.5 : 0;
    for (const row of dayRows) {
      const x = g.toDomXCoord(+row[0]);
      if (x < e.plotArea.x - wide || x > e.plotArea.x + e.plotArea.w + wide) continue;
      let up = 0, down = 0;
      for (let i = 0; i < parts.length; ++i) {
        const v = row[i + 1];
        if (!v) continue;
        const from = v > 0 ? up : down, to = from + v;
        if (v > 0) up = to; else down = to;
        const y0 = g.toDomYCoord(from), y1 = g.toDomYCoord(to);
        ctx.fillStyle = colours[i];
        ctx.fillRect(x - wide / 2, Math.min(y0, y1), wide, Math.max(0, Math.abs(y1 - y0) - gap));
      }
    }
  }
  add("energy", ["day", ...partWords], () => dayRows,
    (g, x, row) => {
      const r = dayRows[row];
      if (!r) return "";
      const total = r.slice(1).reduce((a, b) => a + b, 0);
      return dateWords(x) + ": made " + kwh(r[1]) + " of " + kwh(total) +
        partWords.slice(1).map((w, i) => Math.abs(r[i + 2]) >= 0.005 ? "; " + w + " " + kwh(r[i + 2]) : "").join("");
    },
    { plotter: stacks, highlightCircleSize: 0, ylabel: "" },
    () => {
      let top = 0.1, bottom = 0;
      for (const r of dayRows) {
        if (+r[0] < range[0] - day || +r[0] > range[1] + day) continue;
        let up = 0, down = 0;
        for (const v of r.slice(1)) if (v > 0) up += v; else down += v;
        top = Math.max(top, up); bottom = Math.min(bottom, down);
      }
      return { valueRange: [bottom * 1.05, top * 1.06] };
    });

  // ---- strings: power against clear sky, verdicts as bands; over many days one column a day, hour by hour ----
  const carpet = box => (box.clientWidth - 50) / ((range[1] - range[0]) / day) < 24;
  let early = 1440, late = 0;
  for (const s of data.strings) for (const [at, length, cause] of s.runs) {
    if (cause === 7) continue;
    early = Math.min(early, at % 1440);
    late = Math.max(late, Math.min(1440, at % 1440 + length));
  }
  const hours = early < late ? [Math.floor(early / 60), Math.ceil(late / 60)] : [6, 18];
  const byCause = s => {
    const sums = new Map();
    for (const [at, length, cause] of s.runs) {
      const d = Math.floor(at / 1440), of = sums.get(d) || new Array(causeWords.length).fill(0);
      of[cause] += length;
      sums.set(d, of);
    }
    return sums;
  };
  data.strings.forEach((s, n) => {
    const made = unpack(s.power, 5, 1), clear = unpack(s.clear, 5, 1), sums = byCause(s);
    const runAt = t => s.runs.find(r => r[0] * minute <= t && t < (r[0] + r[1]) * minute);
    const box = document.getElementById("string-" + n);
    const watts = (m, c) => (m === null || Number.isNaN(m) ? "no telemetry" : "made " + Math.round(m) + " W") +
      (c === null || Number.isNaN(c) ? "" : " of " + Math.round(c) + " W clear sky");
    const causeOf = run => run ? "; " + causeWords[run[2]] + (run[3] ? " (" + data.reasons[run[3]] + ")" : "") : "";
    const days = () => {
      const rows = [];
      for (let d = Math.floor(range[0] / day); d * day < range[1]; ++d) rows.push([new Date((d + 0.5) * day), hours[0], hours[0]]);
      return rows.length > 1 ? rows : rows.concat([[new Date(range[1]), null, null]]);
    };
    function weave(ctx, area, g) {
      for (const [at, length, cause] of s.runs) {
        const fill = cause === 0 ? "made" : causeStyle[cause];
        if (!fill) continue;
        const from = Math.floor(at / 1440) * day, x0 = g.toDomXCoord(from), x1 = g.toDomXCoord(from + day);
        if (x1 <= area.x || x0 >= area.x + area.w) continue;
        const y0 = g.toDomYCoord((at % 1440) / 60), y1 = g.toDomYCoord((at % 1440 + length) / 60);
        const light = clear[Math.floor((at + length / 2 - data.from) / 5)];
        ctx.fillStyle = style(fill);
        ctx.globalAlpha = 0.3 + 0.7 * Math.sqrt(Math.min(1, (light > 0 ? light : 0) / Math.max(1, s.top)));
        const left = Math.max(area.x, x0);
        ctx.fillRect(left, y1, Math.max(0.6, Math.min(area.x + area.w, x1) - left - (x1 - x0 > 4 ? 0.6 : 0)), y0 - y1);
      }
      ctx.globalAlpha = 1;
    }
    function bands(ctx, area, g) {
      for (const [at, length, cause] of s.runs) {
        if (!causeStyle[cause]) continue;
        const x0 = Math.max(area.x, g.toDomXCoord(at * minute)), x1 = Math.min(area.x + area.w, g.toDomXCoord((at + length) * minute));
        if (x1 <= area.x || x0 >= area.x + area.w) continue;
        ctx.fillStyle = style(causeStyle[cause]);
        ctx.globalAlpha = 0.2;
        ctx.fillRect(x0, area.y, Math.max(0.5, x1 - x0), area.h);
        ctx.globalAlpha = 1;
        ctx.fillRect(x0, area.y + area.h - 6, Math.max(0.5, x1 - x0), 6);
      }
    }
    add("string-" + n, ["time", "clear sky", "made"], () => carpet(box) ? days() : thinned([clear, made], 5, 1500),
      (g, x, row, e) => {
        if (!carpet(box)) return timeWords(x) + ": " + watts(g.getValue(row, 2), g.getValue(row, 1)) + causeOf(runAt(x));
        const d = Math.floor(x / day), of = sums.get(d) || [];
        let text = dateWords(x) + ": " + of.map((m, c) => c !== 7 && m >= 10 ? causeWords[c] + " " + (m / 60).toFixed(1) + " h" : "").filter(t => t).join(", ");
        if (e) {
          const hour = g.toDataYCoord(g.eventToDomCoords(e)[1]), t = Math.floor((d * 1440 + hour * 60) / 5) * 5 * minute;
          const i = (t / minute - data.from) / 5, run = runAt(t);
          if (run && run[2] !== 7) text += ". At " + timeWords(t).slice(-5) + " " + watts(made[i], clear[i]) + causeOf(run);
        }
        return text;
      },
      { includeZero: true, yRangePad: 4, underlayCallback: (ctx, area, g) => (carpet(box) ? weave : bands)(ctx, area, g) },
      () => carpet(box) ? {
        valueRange: hours, plotter: () => {}, highlightCircleSize: 0,
        axes: { y: { axisLabelFormatter: h => Number.isInteger(h) ? two(h) + ":00" : "", ticker: hourTicks } },
      } : {
        valueRange: [0, Math.max(10, s.top) * 1.06], plotter: [Dygraph.Plotters.fillPlotter, Dygraph.Plotters.linePlotter], highlightCircleSize: 3,
        axes: { y: { axisLabelFormatter: w => String(Math.round(w)), ticker: Dygraph.numericTicks } },
        series: {
          "clear sky": { color: style("sky"), strokeWidth: 1, strokePattern: [4, 3] },
          "made": { color: style("made"), fillGraph: true, fillAlpha: 0.35 },
        },
      },
      b => carpet(b) ? "one column a day, hour by hour; colour: the cause, stronger where more sun was to be had" : "W made (filled), clear sky (line); bands: the cause");
  });
  function hourTicks(a, b) {
    const ticks = [], step = b - a > 9 ? 3 : 2;
    for (let h = Math.ceil(a / step) * step; h <= b; h += step) ticks.push({ v: h, label: two(h) + ":00" });
    return ticks;
  }

  // ---- bank ----
  if (data.bank) {
    const b = data.bank, degrees = v => data.fahrenheit ? v * 1.8 + 32 : v, unit = data.fahrenheit ? " °F" : " °C";
    const cell = unpack(b.cell, b.step, 0.1).map(degrees), air = unpack(b.air, b.step, 0.1).map(degrees), soc = unpack(b.soc, b.step, 1);
    // What lies beyond a limit of the charge window is tinted; the words for the lines stand above the chart.
    const level = (ctx, area, g, value, colour, dash, beyond = 0) => {
      const y = g.toDomYCoord(value);
      if (beyond) {
        const edge = Math.min(area.y + area.h, Math.max(area.y, y));
        ctx.fillStyle = style(colour);
        ctx.globalAlpha = 0.07;
        if (beyond < 0) ctx.fillRect(area.x, edge, area.w, area.y + area.h - edge);
        else ctx.fillRect(area.x, area.y, area.w, edge - area.y);
        ctx.globalAlpha = 1;
      }
      if (y < area.y || y > area.y + area.h) return;
      ctx.strokeStyle = style(colour);
      ctx.setLineDash(dash);
      ctx.beginPath(); ctx.moveTo(area.x, y); ctx.lineTo(area.x + area.w, y); ctx.stroke();
      ctx.setLineDash([]);
    };
    const barred = (ctx, area, g) => {
      for (const [at, length] of b.barred) {
        const x0 = Math.max(area.x, g.toDomXCoord(at * minute)), x1 = Math.min(area.x + area.w, g.toDomXCoord((at + length) * minute));
        if (x1 <= x0) continue;
        ctx.fillStyle = style("barred");
        ctx.globalAlpha = 0.14; ctx.fillRect(x0, area.y, x1 - x0, area.h);
        ctx.globalAlpha = 1; ctx.fillRect(x0, area.y + area.h - 6, x1 - x0, 6);
      }
    };
    const isBarred = t => b.barred.some(r => r[0] * minute <= t && t < (r[0] + r[1]) * minute);
    add("temperature", ["time", "air", "coldest cell"], () => thinned([air, cell], b.step, 1500),
      (g, x, row) => {
        const a = g.getValue(row, 1), c = g.getValue(row, 2);
        return timeWords(x) + (c === null ? "" : ": coldest cell " + c.toFixed(1) + unit) + (a === null ? "" : ", air " + a.toFixed(1) + unit) + (isBarred(x) ? "; charging held off" : "");
      },
      {
        yRangePad: 6,
        underlayCallback: (ctx, area, g) => {
          barred(ctx, area, g);
          const w = data.window;
          if (w.lower !== null) level(ctx, area, g, degrees(w.lower), "barred", [], -1);
          if (w.floor !== null) level(ctx, area, g, degrees(w.floor), "soft", [2, 3]);
          if (w.upper !== null) level(ctx, area, g, degrees(w.upper), "barred", [], 1);
        },
      }, () => ({ series: { "air": { color: style("air"), strokeWidth: 1 }, "coldest cell": { color: style("cell"), strokeWidth: 2 } } }));
    add("charge", ["time", "charge"], () => thinned([soc], b.step, 1500),
      (g, x, row) => { const v = g.getValue(row, 1); return timeWords(x) + (v === null ? "" : ": bank " + Math.round(v) + " %"); },
      {
        valueRange: [0, 104],
        underlayCallback: (ctx, area, g) => { if (data.reserve !== null) level(ctx, area, g, data.reserve * 100, "soft", [2, 3]); },
      }, () => ({ series: { "charge": { color: style("soc"), fillGraph: true, fillAlpha: 0.2 } } }));
  }

  // ---- what happened, on the same time line ----
  function lane() {
    const svg = document.getElementById("lane");
    if (!svg || !charts.length) return;
    const area = charts[0].graph.getArea(), box = charts[0].graph.graphDiv.getBoundingClientRect(), own = svg.getBoundingClientRect();
    const left = area.x + box.left - own.left, at = t => left + (t - range[0]) / (range[1] - range[0]) * area.w;
    const make = (tag, attributes, inside) => {
      const e = document.createElementNS("http://www.w3.org/2000/svg", tag);
      for (const k in attributes) e.setAttribute(k, attributes[k]);
      if (inside) inside.forEach(i => e.appendChild(i));
      return e;
    };
    const words = { glass: "glass", strings: "strings", bank: "bank", board: "board", advice: "advice", note: "notes" };
    const lanes = Object.keys(words).filter(k => data.happenings.some(h => h.lane === k)), height = 24;
    const out = document.getElementById("lane-readout"), quiet = "alarms, by what they are about (bars as long as they stood), advice and notes; point at one to read it";
    const say = text => { if (out) out.textContent = text; };
    say(quiet);
    const nodes = [];
    lanes.forEach((k, n) => {
      const y = 12 + n * height, label = make("text", { x: 0, y: y + 4 });
      label.textContent = words[k];
      nodes.push(label, make("line", { x1: left, x2: left + area.w, y1: y, y2: y, stroke: style("line") }));
    });
    for (const h of data.happenings) {
      const t = h.at * minute, end = (h.end || h.at) * minute;
      if (end < range[0] || t > range[1]) continue;
      const x = Math.max(left, at(t)), y = 12 + lanes.indexOf(h.lane) * height, text = timeWords(t) + ": " + h.text;
      const focus = { tabindex: 0, role: "img", "aria-label": text };
      const node = h.end ? make("rect", { x, y: y - 6, height: 12, width: Math.max(4, Math.min(left + area.w, at(end)) - x), rx: 2, fill: style(h.mark), "fill-opacity": 0.85, ...focus })
        : h.lane === "advice" ? make("path", { d: `M${x} ${y - 6}l5 6l-5 6l-5 -6z`, fill: style(h.mark), ...focus })
        : make("circle", { cx: x, cy: y, r: 5, fill: style(h.mark), ...focus });
      for (const e of ["pointerenter", "focus", "click"]) node.addEventListener(e, () => say(text));
      for (const e of ["pointerleave", "blur"]) node.addEventListener(e, () => say(quiet));
      nodes.push(node);
    }
    svg.replaceChildren(...nodes);
    svg.style.height = lanes.length * height + "px";
    svg.setAttribute("viewBox", `0 0 ${Math.max(1, own.width)} ${Math.max(1, lanes.length * height)}`);
  }

  // ---- controls ----
  const spans = { whole: null, month: 30 * day, week: 7 * day, day: day };
  for (const button of document.querySelectorAll("[data-span]")) button.addEventListener("click", () => {
    const span = spans[button.dataset.span];
    if (!span) return show(...whole);
    const end = range[1] >= whole[1] ? whole[1] : (range[0] + range[1]) / 2 + span / 2;
    const from = Math.floor((end - span) / day) * day;
    show(from, from + span);
  });
  for (const button of document.querySelectorAll("[data-go]")) button.addEventListener("click", () => {
    const step = (range[1] - range[0]) * Number(button.dataset.go);
    show(range[0] + step, range[1] + step);
  });
  // Colours, too, follow a change to dark or to paper.
  const redraw = () => {
    moving = true;
    for (const c of charts) c.graph.updateOptions({ gridLineColor: style("line"), axisLineColor: style("line"), ...c.more() });
    moving = false;
    for (const c of charts) c.graph.resize();
    lane();
  };
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  addEventListener("resize", () => { clearTimeout(refill); refill = setTimeout(redraw, 80); });
  addEventListener("beforeprint", () => { for (const d of document.querySelectorAll("details")) d.open = true; redraw(); });
  addEventListener("afterprint", redraw);
  // "#2026-01-05..2026-01-12" opens the page on these days.
  const asked = location.hash.slice(1).split("..").map(d => Date.parse(d + "T00:00:00Z"));
  if (asked.length === 2 && asked[0] <= asked[1]) show(asked[0], asked[1] + day);
  else show(...whole);
  document.documentElement.dataset.charts = charts.length;
})();
