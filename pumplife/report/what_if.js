document.addEventListener("DOMContentLoaded", function () {
"use strict";
// One polynomial in log interval per step of the ladder and price; a cost rate is their sum.
var data = JSON.parse(document.getElementById("what-if-data").textContent);
var section = document.getElementById("what-if");
var form = section.querySelector("form"), scope = document.getElementById("what-if-scope");
var sliders = data.prices.map(function (_, k) { return document.getElementById("what-if-" + k); });
var TERMS = 8, LOOKS = 8, SVG = "http://www.w3.org/2000/svg";
var groups = data.groups.map(open);

function open(group) {
  var bytes = Uint8Array.from(atob(group.terms), function (c) { return c.charCodeAt(0); });
  var view = new DataView(bytes.buffer), all = new Float64Array(bytes.length / 8);
  for (var k = 0; k < all.length; k += 1) { all[k] = view.getFloat64(8 * k, true); }
  group.terms = all;
  group.size = all.length / group.paid.length;
  group.end = group.start + group.step * group.size / TERMS;
  return group;
}
function dot(factors, money) {
  return money.reduce(function (sum, value, k) { return sum + factors[k] * value; }, 0);
}
function mix(group, factors) {
  var out = new Float64Array(group.size);
  group.paid.forEach(function (price, row) {
    for (var k = 0; k < out.length; k += 1) { out[k] += factors[price] * group.terms[row * out.length + k]; }
  });
  return out;
}
function value(terms, step, s) {
  var sum = 0;
  for (var k = TERMS - 1; k >= 0; k -= 1) { sum = sum * s + terms[step * TERMS + k]; }
  return sum;
}
function slope(terms, step, s) {
  var sum = 0;
  for (var k = TERMS - 1; k > 0; k -= 1) { sum = sum * s + k * terms[step * TERMS + k]; }
  return sum;
}
function rateAt(group, terms, interval) {
  var place = (Math.log(interval) - group.start) / group.step;
  var step = Math.min(Math.max(Math.floor(place), 0), terms.length / TERMS - 1);
  return value(terms, step, 2 * (place - step) - 1);
}
// Every local least of the curve: where its slope turns from falling to rising
function leasts(group, terms) {
  var found = [], steps = terms.length / TERMS, before = slope(terms, 0, -1);
  var add = function (step, s) {
    var log = group.start + group.step * (step + 0.5 * (s + 1));
    found.push({interval: Math.exp(log), rate: value(terms, step, s)});
  };
  if (before >= 0) { add(0, -1); }
  for (var step = 0; step < steps; step += 1) {
    for (var look = 0; look <= LOOKS; look += 1) {
      var s = 2 * look / LOOKS - 1, now = slope(terms, step, s);
      if (before < 0 && now >= 0) { add(step, look ? turn(terms, step, s - 2 / LOOKS, s) : s); }
      before = now;
    }
  }
  return found;
}
function turn(terms, step, low, high) {
  for (var k = 0; k < 60; k += 1) {
    var middle = 0.5 * (low + high);
    if (slope(terms, step, middle) < 0) { low = middle; } else { high = middle; }
  }
  return high;
}
function cheapest(ways) {
  return ways.reduce(function (best, way) { return way.rate < best.rate ? way : best; });
}
// As the study decides: least expected cost, within the limits, kept where failures are too few
function decide(group, factors) {
  var terms = mix(group, factors), never = dot(factors, group.never), alone = dot(factors, group.alone);
  var to = {interval: Infinity, rate: never}, limit = group.limit, way = to;
  var held = {interval: limit, rate: dot(factors, group.atLimit)};
  if (limit !== null) {
    way = group.byCost ? cheapest(leasts(group, terms).filter(function (one) { return one.interval < limit; }).concat(held)) : held;
  } else if (group.byCost) {
    var best = cheapest(leasts(group, terms).concat({interval: Infinity, rate: Infinity}));
    way = best.rate <= (1 - data.worth) * never ? best : to;
  }
  var policy = way.interval < Infinity ? "planned kit" : "run to failure";
  if (limit === null && alone < data.clearly * way.rate) {
    way = {interval: Infinity, rate: alone};
    policy = "run to failure, failed part only";
  }
  if (group.few && (group.kept !== null || way.interval < Infinity)) {
    way = group.kept === null ? to : {interval: group.kept, rate: dot(factors, group.atKept)};
    policy = group.kept === null ? "run to failure" : group.policy;
  }
  var rate = ownLimits(group, factors, way), today = dot(factors, group.today);
  return {
    policy: policy, interval: way.interval, least: way.rate, rate: rate, today: today, never: never,
    terms: terms, saving: group.usage * (today - rate), cost: group.usage * rate,
    held: limit !== null && way.interval >= limit
  };
}
function ownLimits(group, factors, way) {
  var sum = 0, rest = 1;
  group.own.forEach(function (limit, k) {
    if (limit < way.interval) { sum += group.ownShare[k] * dot(factors, group.atOwn[k]); rest -= group.ownShare[k]; }
  });
  return sum + (rest === 1 ? way.rate : rest * way.rate);
}
// Within 5 % of the least, around it and not beyond the limit
function nearBest(group, one) {
  var level = data.near * one.least, reach = group.limit === null ? Infinity : group.limit;
  var at = one.interval < Infinity ? Math.log(one.interval) : group.end;
  var low = leave(group, one.terms, level, at, group.start), high = leave(group, one.terms, level, at, group.end);
  return [Math.exp(low === null ? group.start : low), Math.min(high === null ? Infinity : Math.exp(high), reach)];
}
// Where the curve first passes a level on the way from one log interval to another
function leave(group, terms, level, from, to) {
  var above = function (log) { return rateAt(group, terms, Math.exp(log)) > level; };
  for (var k = 1; k <= 200; k += 1) {
    var far = from + (to - from) * k / 200;
    if (above(far)) {
      var near = from + (to - from) * (k - 1) / 200;
      for (var n = 0; n < 40; n += 1) {
        var middle = 0.5 * (near + far);
        if (above(middle)) { far = middle; } else { near = middle; }
      }
      return far;
    }
  }
  return null;
}

function number(it, digits) {
  if (!isFinite(it)) { return "no end"; }
  if (Math.abs(it) < 0.005) { return "0"; }
  var places = digits - 1 - Math.floor(Math.log10(Math.abs(it))), unit = Math.pow(10, places);
  places = Math.min(Math.max(places, 0), 20);
  return (Math.round(it * unit) / unit).toLocaleString("en-GB", {minimumFractionDigits: places, maximumFractionDigits: places}).replace("-", "−");
}
function capital(words) { return words.charAt(0).toUpperCase() + words.slice(1); }
function action(group, one) {
  if (one.interval === Infinity) { return capital(one.policy); }
  var verb = one.policy === "keep today's" ? "Keep " : "Rebuild every ";
  return verb + number(one.interval, 3) + " " + data.units.usage + " (about " + number(one.interval / group.week, 2) + " weeks)";
}
function same(one, other) {
  return one.policy === other.policy && (one.interval === other.interval || Math.abs(one.interval / other.interval - 1) < 1e-6);
}

function element(parent, name, words, look) {
  var made = parent.appendChild(document.createElement(name));
  if (words !== undefined) { made.textContent = words; }
  if (look) { made.className = look; }
  return made;
}
function draw(parent, name, facts, words) {
  var made = parent.appendChild(document.createElementNS(SVG, name));
  Object.keys(facts).forEach(function (key) { made.setAttribute(key, facts[key]); });
  if (words !== undefined) { made.textContent = words; }
  return made;
}
function ticks(most, count) {
  var raw = most / count, base = Math.pow(10, Math.floor(Math.log10(raw))), out = [];
  var step = base * [1, 2, 2.5, 5, 10].find(function (one) { return one * base >= raw; });
  for (var k = 0; k * step <= most; k += 1) { out.push(k * step); }
  return out;
}
function message(group, one) {
  var words = group.title + ": " + action(group, one).charAt(0).toLowerCase() + action(group, one).slice(1);
  if (one.held) { return words + ", where a limit holds it"; }
  if (group.few || one.policy === "run to failure, failed part only") { return words; }
  var band = nearBest(group, one), low = number(band[0], 3) + " ";
  if (one.interval === Infinity) { return words; }
  return words + "; " + (band[1] === Infinity ? "anything from " + low + data.units.usage + " up" : "from " + low + "to " + number(band[1], 3) + " " + data.units.usage) + " costs within 5 % of the best";
}
// The curve at the prices tried, with today's prices behind it
function picture(box, group, one, now) {
  box.textContent = group.redone ? "" : group.title + ": its advice rests on a chance, which takes a new study.";
  if (!group.redone) { return; }
  var figure = element(box, "figure", undefined, "tried"), tried = one !== now;
  element(figure, "p", (tried ? "At the prices tried. " : "") + message(group, one));
  var inside = element(figure, "div", undefined, "scroll");
  var svg = draw(inside, "svg", {viewBox: "0 0 720 380", role: "img", "aria-label": message(group, one)});
  var band = nearBest(group, one), ends = [one.interval, now.interval, band[0], band[1]].filter(isFinite);
  var last = Math.exp(group.end), right = ends.length ? Math.min(last, 3 * Math.max.apply(null, ends)) : last;
  var top = 1.6 * data.factor * Math.max(one.never, one.today, tried ? now.never : 0);
  var x = function (t) { return 70 + 520 * t / right; };
  var y = function (rate) { return 320 - 300 * Math.min(data.factor * rate / top, 1.02); };
  ticks(top, 8).forEach(function (at) {
    var high = 320 - 300 * at / top;
    draw(svg, "line", {x1: 70, x2: 590, y1: high, y2: high, stroke: "var(--rule)"});
    draw(svg, "text", {x: 64, y: high + 4, "text-anchor": "end"}, at.toLocaleString("en-GB"));
  });
  ticks(right, 7).forEach(function (at) { draw(svg, "text", {x: x(at), y: 338, "text-anchor": "middle"}, at.toLocaleString("en-GB")); });
  draw(svg, "text", {x: 330, y: 364, "text-anchor": "middle"}, "Rebuild interval [" + data.units.usage + "]");
  draw(svg, "text", {x: 0, y: 0, transform: "translate(14 170) rotate(-90)", "text-anchor": "middle"}, "Cost rate [" + data.units.currency + " per " + data.units.rate + "]");
  if (!group.few && one.policy !== "run to failure, failed part only") {
    var from = Math.min(band[0], right), to = Math.min(band[1], right);
    draw(svg, "rect", {x: x(from), y: 20, width: x(to) - x(from), height: 300, fill: "var(--ochre)", opacity: 0.28});
    draw(svg, "text", {x: x(0.5 * (from + to)), y: 314, "text-anchor": "middle"}, one.held ? "" : "near-best band");
  }
  if (group.limit !== null) {
    draw(svg, "line", {x1: x(group.limit), x2: x(group.limit), y1: 20, y2: 320, stroke: "var(--wine)", "stroke-width": 2, "stroke-dasharray": "2 4"});
    draw(svg, "text", {x: x(group.limit) + 5, y: 32}, "limit");
  }
  var line = function (it, facts) {
    var path = "", first = Math.exp(group.start);
    for (var k = 0; k <= 160; k += 1) {
      var t = first * Math.pow(right / first, k / 160), rate = rateAt(group, it.terms, t);
      if (data.factor * rate <= 1.02 * top) { path += (path ? "L" : "M") + x(t).toFixed(1) + " " + y(rate).toFixed(1); }
    }
    draw(svg, "path", Object.assign({d: path, fill: "none"}, facts));
    return rateAt(group, it.terms, right);
  };
  var names = [];
  if (tried) { names.push([line(now, {stroke: "var(--sky)", "stroke-width": 2}), "planned, today's prices", "sky"]); }
  names.push([line(one, {stroke: "var(--navy)", "stroke-width": 2.6}), "planned", "navy"]);
  [[one.never, "run to failure", "soft", "7 5"], [one.today, "today's practice", "orange", "9 3 2 3"]].forEach(function (level) {
    draw(svg, "line", {x1: 70, x2: 590, y1: y(level[0]), y2: y(level[0]), stroke: "var(--" + level[2] + ")", "stroke-width": 2, "stroke-dasharray": level[3]});
    names.push(level);
  });
  label(svg, names, y);
  if (tried && now.interval < Infinity) {
    draw(svg, "circle", {cx: x(now.interval), cy: y(rateAt(group, now.terms, now.interval)), r: 5, fill: "var(--sky)", stroke: "var(--paper)"});
  }
  if (one.interval < Infinity) {
    draw(svg, "circle", {cx: x(one.interval), cy: y(one.least), r: 6, fill: "var(--navy)", stroke: "var(--paper)"});
    draw(svg, "text", {x: x(one.interval), y: y(one.least) + 22, "text-anchor": "middle", "font-weight": "bold"}, group.few ? "kept" : "advised");
  }
}
function label(svg, names, y) {
  var least = -Infinity;
  names.map(function (name) { return [y(name[0]), name[1], name[2]]; }).sort(function (a, b) { return a[0] - b[0]; }).forEach(function (name) {
    least = Math.max(name[0], least + 17);
    draw(svg, "rect", {x: 594, y: least - 4, width: 8, height: 8, fill: "var(--" + name[2] + ")"});
    var lines = name[1].split(", ");
    draw(svg, "text", {x: 606, y: least + 4}, lines[0]);
    if (lines[1]) { least += 15; draw(svg, "text", {x: 606, y: least + 4}, lines[1]); }
  });
}

// Curves in the evidence are drawn where they are looked at, and all of them for print
var watch = new IntersectionObserver(function (changes) {
  changes.forEach(function (change) {
    groups.forEach(function (group) {
      if (group.figure === change.target) { group.seen = change.isIntersecting; drawGroup(group); }
    });
  });
}, {rootMargin: "500px"});
var ones = data.prices.map(function () { return 1; });
var rows = groups.map(function (group) {
  var now = decide(group, ones), advised = group.interval === null ? Infinity : group.interval;
  group.now = now;
  group.redone = same(now, {policy: group.policy, interval: advised});
  var row = element(section.querySelector("tbody"), "tr"), first = element(row, "td");
  element(first, "a", group.title).href = "#" + group.anchor;
  element(first, "small", group.kit);
  var cells = [0, 1, 2, 3, 4].map(function (k) { return element(row, "td", undefined, k > 1 ? "n" : ""); });
  ["", "At the prices tried", "Saving now", "Saving then", "Change"].forEach(function (words, k) { if (words) { cells[k].dataset.label = words; } });
  element(cells[0], "strong", action(group, {policy: group.policy, interval: advised}));
  cells[2].textContent = number(group.saving, 3);
  var article = document.getElementById(group.anchor);
  var figure = article ? article.querySelector("figure") : null;
  group.box = figure ? document.createElement("div") : null;
  if (figure) {
    figure.after(group.box);
    watch.observe(figure);
    group.figure = figure;
  }
  return {group: group, row: row, cells: cells};
});
function show(entry, factors) {
  var group = entry.group, tried = factors.some(function (one) { return one !== 1; });
  var one = tried ? decide(group, factors) : group.now, set = entry.row.dataset;
  group.one = one;
  set.interval = one.interval; set.rate = one.rate; set.saving = one.saving; set.cost = one.cost; set.policy = one.policy; set.today = one.today;
  entry.change = group.redone ? one.saving - group.now.saving : 0;
  entry.cells[1].textContent = "";
  element(entry.cells[1], "strong", group.redone ? action(group, one) : "Ask the study");
  var why = !group.redone ? "its advice rests on a chance" : group.few ? "too few failures to advise: kept" : one.held ? "held by a limit" : "";
  if (why) { element(entry.cells[1], "small", why); }
  entry.cells[3].textContent = group.redone ? number(one.saving, 3) : "–";
  entry.cells[4].textContent = group.redone ? (entry.change > 0.005 ? "+" : "") + number(entry.change, 3) : "–";
  entry.moved = group.redone && !same(one, group.now);
  entry.row.classList.toggle("same", !entry.moved && Math.abs(entry.change) < 0.005);
  return tried;
}
function drawGroup(group) {
  if (!group.box) { return; }
  if (group.seen && group.redone && group.one !== group.now) {
    picture(group.box, group, group.one, group.now);
  } else if (group.box.firstChild) {
    group.box.textContent = "";
  }
}
function prices(chosen) {
  sliders.forEach(function (slider, k) {
    var known = groups.filter(function (_, g) { return chosen < 0 || g === chosen; })
      .map(function (group) { return group.figures[data.prices[k]]; }).filter(function (one) { return one !== undefined; });
    var words = slider.value + " %", unit = data.units.currency + (k === 1 || k === 2 ? "/h" : "");
    if (known.length) {
      var low = Math.min.apply(null, known) * slider.value / 100, high = Math.max.apply(null, known) * slider.value / 100;
      words += ": " + number(low, 3) + (high > low ? " to " + number(high, 3) : "") + " " + unit;
    }
    form.querySelector('output[for="what-if-' + k + '"]').textContent = words;
    slider.setAttribute("aria-valuetext", words);
  });
}
function summary(tried) {
  if (!tried) { return "Today's prices: the advice as it stands."; }
  var sum = function (key) { return rows.reduce(function (all, entry) { return all + (entry.group.redone ? entry.group[key].saving : 0); }, 0); };
  var which = Number(scope.value) < 0 ? "" : " for " + groups[Number(scope.value)].title;
  var asked = sliders.map(function (slider, k) { return slider.value === "100" ? "" : data.prices[k] + " " + slider.value + " %"; });
  var decided = rows.filter(function (entry) { return entry.group.redone; }).length;
  var where = decided === rows.length ? "In all" : "In the " + decided + " pump groups that this page can decide";
  var moved = rows.filter(function (entry) { return entry.moved; }).length;
  return "Tried" + which + ": " + asked.filter(Boolean).join(", ") + " of today's. " + (moved === 1 ? "1 pump group" : moved + " pump groups") + " of " + rows.length + " would be worked otherwise. " + where + " the advice would save " + number(sum("one"), 3) + " " + data.units.currency + " a year against today, where it saves " + number(sum("now"), 3) + " at today's prices.";
}
var waiting = 0, frame = 0;
function update() {
  var chosen = Number(scope.value), factors = sliders.map(function (slider) { return slider.value / 100; });
  var tried = rows.map(function (entry) { return show(entry, chosen < 0 || groups[chosen] === entry.group ? factors : ones); }).some(Boolean);
  rows.slice().sort(function (a, b) { return Math.abs(b.change) - Math.abs(a.change); }).forEach(function (entry, k) {
    if (entry.row.parentNode.rows[k] !== entry.row) { entry.row.parentNode.insertBefore(entry.row, entry.row.parentNode.rows[k]); }
    if (k === 0 && chosen < 0) { chosen = groups.indexOf(entry.group); }
  });
  section.classList.toggle("changed", tried);
  prices(Number(scope.value));
  picture(document.getElementById("what-if-curve"), groups[chosen], groups[chosen].one, groups[chosen].now);
  cancelAnimationFrame(frame);
  frame = requestAnimationFrame(function () { groups.forEach(drawGroup); });
  clearTimeout(waiting);
  waiting = setTimeout(function () { document.getElementById("what-if-says").textContent = summary(tried); }, 250);
}
window.addEventListener("beforeprint", function () {
  groups.forEach(function (group) { group.seen = true; drawGroup(group); });
});
form.addEventListener("input", update);
form.addEventListener("submit", function (event) { event.preventDefault(); });
form.addEventListener("reset", function () { setTimeout(update, 0); });
section.hidden = false;
var contents = document.querySelector('nav a[href="#do"]');
if (contents) {
  var item = document.createElement("li");
  element(item, "a", "What if").href = "#what-if";
  contents.parentNode.after(item);
}
form.reset();
update();
});
