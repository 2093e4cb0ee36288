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

  function add(id, labels, rows, tell, options, more = () => ({})) {
    const box = document.getElementById(id);
    if (!box) return;
    const out = document.getElementById(id + "-readout");
    const chart = { rows, more, tell: (x, row) => { if (out) out.textContent = tell(chart.graph, x, row); } };
    const quiet = out ? out.textContent : "";
    chart.graph = new Dygraph(box, rows(), {
      labels, labelsUTC: true, legend: "never", dateWindow: range, connectSeparatedPoints: false, xRangePad: 0,
      gridLineColor: style("line"), axisLineColor: style("line"), gridLineWidth: 1, strokeWidth: 1.5, highlightCircleSize: 3,
      axes: { y: { axisLabelWidth: 44 }, x: { axisLabelWidth: 62 } },
      drawCallback: moved,
      highlightCallback: (e, x, points, row) => { chart.tell(x, row); select(chart.graph, x); },
      unhighlightCallback: () => { for (const c of charts) c.quiet(); },
      interactionModel: Dygraph.defaultInteractionModel,
      ...options, ...more(),
    });
    chart.quiet = () => { if (out) out.textContent = quiet; if (chart.graph.getSelection() >= 0) { moving = true; chart.graph.clearSelection(); moving = false; } };
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

  // ---- strings: power against clear sky, verdicts as bands ----
  data.strings.forEach((s, n) => {
    const made = unpack(s.power, 5, 1), clear = unpack(s.clear, 5, 1);
    const runAt = t => s.runs.find(r => r[0] * minute <= t && t < (r[0] + r[1]) * minute);
    add("string-" + n, ["time", "clear sky", "made"], () => thinned([clear, made], 5, 1500),
      (g, x, row) => {
        const run = runAt(x), c = g.getValue(row, 1), m = g.getValue(row, 2);
        return timeWords(x) + ": " + (m === null ? "no telemetry" : "made " + Math.round(m) + " W") + (c === null ? "" : " of " + Math.round(c) + " W clear sky") +
          (run ? "; " + causeWords[run[2]] + (run[3] ? " (" + data.reasons[run[3]] + ")" : "") : "");
      },
      {
        includeZero: true, yRangePad: 4,
        underlayCallback: (ctx, area, g) => {
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
        },
      }, () => ({
        valueRange: [0, Math.max(10, s.top) * 1.06],
        series: {
          // A dashed line needs room: over many days it is drawn through.
          "clear sky": { color: style("sky"), strokeWidth: 1, strokePattern: range[1] - range[0] > 21 * day ? null : [4, 3] },
          "made": { color: style("made"), fillGraph: true, fillAlpha: 0.35 },
        },
      }));
  });

  // ---- bank ----
  if (data.bank) {
    const b = data.bank, degrees = v => data.fahrenheit ? v * 1.8 + 32 : v, unit = data.fahrenheit ? " °F" : " °C";
    const cell = unpack(b.cell, b.step, 0.1).map(degrees), air = unpack(b.air, b.step, 0.1).map(degrees), soc = unpack(b.soc, b.step, 1);
    const level = (ctx, area, g, value, colour, dash, words) => {
      const y = g.toDomYCoord(value);
      if (y < area.y || y > area.y + area.h) return;
      ctx.strokeStyle = ctx.fillStyle = style(colour);
      ctx.setLineDash(dash);
      ctx.beginPath(); ctx.moveTo(area.x, y); ctx.lineTo(area.x + area.w, y); ctx.stroke();
      ctx.setLineDash([]);
      ctx.font = "11px system-ui, sans-serif";
      const at = [area.x + 4, y - 3 < area.y + 9 ? y + 11 : y - 3];
      ctx.lineWidth = 3; ctx.strokeStyle = style("paper");
      ctx.strokeText(words, ...at);
      ctx.fillText(words, ...at);
      ctx.lineWidth = 1;
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
          if (w.lower !== null) level(ctx, area, g, degrees(w.lower), "barred", [], "no charging at or under " + Math.round(degrees(w.lower)) + unit);
          if (w.floor !== null) level(ctx, area, g, degrees(w.floor), "soft", [2, 3], "preferred floor " + Math.round(degrees(w.floor)) + unit);
          if (w.upper !== null) level(ctx, area, g, degrees(w.upper), "barred", [], "no charging at or over " + Math.round(degrees(w.upper)) + unit);
        },
      }, () => ({ series: { "air": { color: style("air"), strokeWidth: 1 }, "coldest cell": { color: style("cell"), strokeWidth: 2 } } }));
    add("charge", ["time", "charge"], () => thinned([soc], b.step, 1500),
      (g, x, row) => { const v = g.getValue(row, 1); return timeWords(x) + (v === null ? "" : ": bank " + Math.round(v) + " %"); },
      {
        valueRange: [0, 104],
        underlayCallback: (ctx, area, g) => { if (data.reserve !== null) level(ctx, area, g, data.reserve * 100, "soft", [2, 3], "reserve"); },
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
    const rows = { alarm: 12, advice: 40, note: 68 }, words = { alarm: "alarms", advice: "advice", note: "notes" };
    const nodes = [];
    for (const k in rows) {
      const label = make("text", { x: 0, y: rows[k] + 4 });
      label.textContent = words[k];
      nodes.push(label, make("line", { x1: left, x2: left + area.w, y1: rows[k], y2: rows[k], stroke: style("line") }));
    }
    for (const h of data.happenings) {
      const t = h.at * minute, end = (h.end || h.at) * minute;
      if (end < range[0] || t > range[1]) continue;
      const x = Math.max(left, at(t)), y = rows[h.kind];
      const title = make("title", {});
      title.textContent = timeWords(t) + ": " + h.text;
      const focus = { tabindex: 0, role: "img", "aria-label": title.textContent };
      if (h.kind === "alarm") nodes.push(make("rect", { x, y: y - 6, height: 12, width: Math.max(4, Math.min(left + area.w, at(end)) - x), rx: 2, fill: style(h.mark), ...focus }, [title]));
      else if (h.kind === "advice") nodes.push(make("path", { d: `M${x} ${y - 7}l6 7l-6 7l-6 -7z`, fill: style(h.mark), ...focus }, [title]));
      else nodes.push(make("circle", { cx: x, cy: y, r: 5, fill: style(h.mark), ...focus }, [title]));
    }
    svg.replaceChildren(...nodes);
    svg.setAttribute("viewBox", `0 0 ${Math.max(1, own.width)} 84`);
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
