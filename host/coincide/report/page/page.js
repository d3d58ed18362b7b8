// The raw edges of a chosen pair, drawn as vectors: choose a pair, zoom with + and - or the wheel, drag or use
// the arrow keys to move. Works from disk: the data lies in this page, nothing is fetched.
(function () {
  "use strict";
  var data = JSON.parse(document.getElementById("edge-data").textContent);
  var holder = document.getElementById("edges");
  if (!holder || !data.pairs.length) { return; }
  var NS = "http://www.w3.org/2000/svg";
  var LEFT = 116, RIGHT = 14, LANE = 30, TOP = 34, BOTTOM = 40;
  var select = document.getElementById("pair-choice");
  var readout = document.getElementById("pair-readout");
  var list = document.querySelector("#edge-list tbody");
  var any = document.getElementById("any-pair"), unpacked = null;
  var view = { pair: null, from: 0, to: 1, whole: [0, 1] };

  function node(name, attributes, text) {
    var made = document.createElementNS(NS, name);
    for (var key in attributes) { made.setAttribute(key, attributes[key]); }
    if (text !== undefined) { made.textContent = text; }
    return made;
  }
  function lanesOf(pair) {
    var seen = {};
    pair.c.forEach(function (c) { seen[c] = true; });
    return Object.keys(seen).map(Number).sort(function (p, q) { return p - q; });
  }
  function firstLevel(pair, channel) {
    return 1 - pair.l[pair.c.indexOf(channel)];
  }
  function spanOf(pair) {
    var answers = pair.t.filter(function (_, i) { return data.channels[pair.c[i]].indexOf("half") !== 0; });
    var ends = pair.t.filter(function (_, i) { return !/^(half|full)/.test(data.channels[pair.c[i]]); });
    var begin = Math.min.apply(null, answers.length ? answers : pair.t);
    var end = Math.max.apply(null, ends.length ? ends : pair.t);
    var margin = 0.06 * Math.max(end - begin, 1);
    return [begin - margin, end + margin];
  }
  function tickStep(span, width) {
    var raw = span / Math.max(Math.min(7, Math.floor((width - LEFT) / 70)), 2), power = Math.pow(10, Math.floor(Math.log10(raw)));
    return [1, 2, 5, 10].map(function (m) { return m * power; }).find(function (s) { return s >= raw; });
  }
  function draw() {
    var pair = view.pair, lanes = lanesOf(pair), height = TOP + lanes.length * LANE + BOTTOM;
    // Drawn at the width there is, so that letters keep their size on a phone.
    var WIDTH = Math.max(holder.clientWidth, 280);
    var scale = (WIDTH - LEFT - RIGHT) / (view.to - view.from);
    function x(t) { return LEFT + (Math.min(Math.max(t, view.from), view.to) - view.from) * scale; }
    var svg = node("svg", { viewBox: "0 0 " + WIDTH + " " + height, "aria-hidden": "true" });
    var step = tickStep(view.to - view.from, WIDTH);
    for (var at = Math.ceil(view.from / step) * step; at <= view.to; at += step) {
      svg.appendChild(node("line", { x1: x(at), x2: x(at), y1: TOP, y2: height - BOTTOM, stroke: "var(--grid)" }));
      svg.appendChild(node("text", { x: x(at), y: height - BOTTOM + 18, "text-anchor": "middle" },
        String(Math.round(at * 1e6) / 1e6)));
    }
    svg.appendChild(node("text", { x: (WIDTH + LEFT) / 2, y: height - 4, "text-anchor": "middle" },
      "time, ms"));
    lanes.forEach(function (channel, row) {
      var name = data.channels[channel], base = TOP + (row + 1) * LANE - 6, high = LANE - 12;
      var colour = /_a/.test(name) ? "var(--a)" : /_b/.test(name) ? "var(--b)" : "var(--faint)";
      var path = "", level = null, area = "";
      // Edges outside the view set the level; they are no edges at the rim of the drawing.
      for (var i = 0; i < pair.t.length && pair.t[i] <= view.to; i += 1) {
        if (pair.c[i] !== channel) { continue; }
        if (pair.t[i] < view.from) { level = pair.l[i]; continue; }
        if (level === null) { level = 1 - pair.l[i]; }
        if (!path) { path = "M" + LEFT + " " + (base - high * level); }
        level = pair.l[i];
        path += "H" + x(pair.t[i]) + "V" + (base - high * level);
      }
      if (!path) { path = "M" + LEFT + " " + (base - high * (level === null ? firstLevel(pair, channel) : level)); }
      path += "H" + (WIDTH - RIGHT);
      area = path + "V" + base + "H" + LEFT + "Z";
      svg.appendChild(node("path", { d: area, fill: colour, "fill-opacity": "0.18" }));
      svg.appendChild(node("path", { d: path, fill: "none", stroke: colour, "stroke-width": "1.6" }));
      svg.appendChild(node("text", { x: LEFT - 8, y: base - 3, "text-anchor": "end" }, data.labels[name] || name));
    });
    [["a", "mid A"], ["b", "mid B"]].forEach(function (which, index) {
      var mid = pair.mid[index], other = pair.mid[1 - index];
      if (mid === null || mid < view.from || mid > view.to) { return; }
      svg.appendChild(node("line", { x1: x(mid), x2: x(mid), y1: TOP - 8, y2: height - BOTTOM,
        stroke: "var(--" + which[0] + ")", "stroke-dasharray": "6 4", "stroke-width": "1.4" }));
      svg.appendChild(node("text", { x: x(mid), y: TOP - 14, "text-anchor": other === null || Math.abs(x(mid) - x(other)) > 44 ? "middle" : mid < other ? "end" : "start" },
        which[1]));
    });
    holder.replaceChildren(svg);
    readout.textContent = describe(pair);
  }
  function describe(pair) {
    if (pair.mid[0] === null || pair.mid[1] === null) { return "Pair " + pair.n + ": skew not measured."; }
    return "Pair " + pair.n + ": skew " + (pair.mid[1] - pair.mid[0]).toFixed(3) + " ms.";
  }
  // Every pair, as packed.py laid it: read once, when first asked for.
  function unpack() {
    if (unpacked) { return Promise.resolve(unpacked); }
    var text = atob(data.packed.data), raw = new Uint8Array(text.length);
    for (var i = 0; i < text.length; i += 1) { raw[i] = text.charCodeAt(i); }
    var stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Response(stream).arrayBuffer().then(function (buffer) {
      unpacked = laidOut(new Uint8Array(buffer), data.packed.pairs, data.packed.edges);
      return unpacked;
    });
  }
  function signed(value) { return value % 2 ? -(value + 1) / 2 : value / 2; }
  function laidOut(bytes, pairs, edges) {
    var at = 0;
    function words(count) {
      var out = new Uint32Array(count);
      for (var plane = 0; plane < 4; plane += 1, at += count) {
        for (var i = 0; i < count; i += 1) { out[i] += bytes[at + i] * Math.pow(256, plane); }
      }
      return out;
    }
    var number = words(pairs), counts = words(pairs), codes = bytes.subarray(at, at + edges), row = {};
    at += edges;
    var gaps = words(edges), mids = [words(pairs), words(pairs)];
    var begin = new Uint32Array(pairs + 1), longest = 0, last = 0;
    for (var p = 0; p < pairs; p += 1) {
      begin[p + 1] = begin[p] + counts[p];
      longest = Math.max(longest, counts[p]);
      last += signed(number[p]);
      row[last] = p;
    }
    var code = new Uint8Array(edges), gap = new Float64Array(edges), next = 0;
    for (var k = 0; k < longest; k += 1) {
      for (p = 0; p < pairs; p += 1) {
        if (k < counts[p]) { code[begin[p] + k] = codes[next]; gap[begin[p] + k] = signed(gaps[next]); next += 1; }
      }
    }
    return { row: row, begin: begin, code: code, gap: gap, mids: mids };
  }
  function unpackedPair(all, number) {
    var p = all.row[number], pair = { n: number, c: [], l: [], t: [], mid: [] }, time = 0;
    for (var i = all.begin[p]; i < all.begin[p + 1]; i += 1) {
      time += all.gap[i];
      pair.c.push(all.code[i] >> 1);
      pair.l.push(all.code[i] & 1);
      pair.t.push(time * data.packed.step_ms);
    }
    pair.mid = all.mids.map(function (mid) { return mid[p] ? signed(mid[p] - 1) * data.packed.step_ms : null; });
    return pair;
  }
  function showAny(number) {
    if (data.pairs.some(function (p) { return p.n === number; })) { show(number); return; }
    unpack().then(function (all) {
      if (all.row[number] === undefined) { readout.textContent = "There is no pair " + number + " in this session."; return; }
      show(number, unpackedPair(all, number));
    }).catch(function () {
      readout.textContent = "This browser cannot unpack pair " + number + "; a later one can, and the session file has it.";
    });
  }
  function show(number, given) {
    var pair = view.pair = given || data.pairs.find(function (p) { return p.n === number; }) || data.pairs[0];
    view.whole = spanOf(view.pair);
    view.from = view.whole[0];
    view.to = view.whole[1];
    select.value = String(pair.n);
    document.querySelectorAll("tr[data-pair], figure [data-pair]").forEach(function (one) {
      one.classList.toggle("open", Number(one.dataset.pair) === pair.n);
    });
    list.replaceChildren.apply(list, pair.t.map(function (time, i) {
      var row = document.createElement("tr"), name = data.channels[pair.c[i]];
      [time.toFixed(4), data.labels[name] || name, pair.l[i] ? "closed or lit" : "open or dark"].forEach(function (text, at) {
        var cell = row.appendChild(document.createElement("td"));
        cell.textContent = text;
        if (at === 0) { cell.className = "n"; }
      });
      return row;
    }));
    draw();
  }
  function zoom(factor, about) {
    var centre = about === undefined ? (view.from + view.to) / 2 : about;
    var half = (view.to - view.from) * factor;
    if (half < 0.0005) { return; }
    var share = (centre - view.from) / (view.to - view.from);
    view.from = centre - half * share;
    view.to = view.from + half;
    draw();
  }
  function move(share) {
    var by = (view.to - view.from) * share;
    view.from += by;
    view.to += by;
    draw();
  }
  function step(by) {
    if (data.packed) { any.value = view.pair.n + by; showAny(view.pair.n + by); return; }
    var at = data.pairs.indexOf(view.pair) + by;
    show(data.pairs[Math.min(Math.max(at, 0), data.pairs.length - 1)].n);
  }
  var actions = {
    "in": function () { zoom(0.6); }, out: function () { zoom(1 / 0.6); },
    left: function () { move(-0.2); }, right: function () { move(0.2); },
    whole: function () { show(view.pair.n, view.pair); }, before: function () { step(-1); }, next: function () { step(1); }
  };
  document.querySelectorAll("button[data-do]").forEach(function (button) {
    button.addEventListener("click", function () { actions[button.dataset["do"]](); });
  });
  document.querySelectorAll("button[data-pair], figure [data-pair]").forEach(function (one) {
    one.addEventListener("click", function () {
      show(Number(one.dataset.pair));
      document.getElementById("every-edge").scrollIntoView();
      holder.focus({ preventScroll: true });
    });
  });
  if (any) { any.addEventListener("change", function () { showAny(Number(any.value)); }); }
  select.addEventListener("change", function () { show(Number(select.value)); });
  holder.addEventListener("keydown", function (event) {
    var keys = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", "0": "whole" };
    if (keys[event.key] && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      actions[keys[event.key]]();
    }
  });
  holder.addEventListener("wheel", function (event) {
    if (!event.ctrlKey && !event.metaKey) { return; }
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.25 : 0.8);
  }, { passive: false });
  var grabbed = null;
  holder.addEventListener("pointerdown", function (event) { grabbed = event.clientX; });
  window.addEventListener("pointermove", function (event) {
    if (grabbed === null) { return; }
    move((grabbed - event.clientX) / holder.clientWidth);
    grabbed = event.clientX;
  });
  window.addEventListener("pointerup", function () { grabbed = null; });
  window.addEventListener("resize", draw);
  show(data.pairs[0].n);
})();
