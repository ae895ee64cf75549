// The trace and the strips: everything is drawn against the one line in the middle.
'use strict';

const SVG = 'http://www.w3.org/2000/svg';
const TEN_MINUTES = 600000;

const draw = (tag, attributes, text) => {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  if (text !== undefined) element.textContent = text;
  return element;
};

// From one direction to another, -180 to 180, starboard plus.
const turn = (from, to) => ((to - from + 540) % 360 + 360) % 360 - 180;

const side = (degrees) => {
  const whole = Math.round(Math.abs(degrees));
  if (whole === 0) return 'on the line';
  return `${whole} to ${degrees > 0 ? 'starboard' : 'port'}`;
};

// The mean of directions, on the circle.
const mean = (directions) => {
  const sum = (f) => directions.reduce((total, d) => total + f(d * Math.PI / 180), 0);
  return (Math.atan2(sum(Math.sin), sum(Math.cos)) * 180 / Math.PI + 360) % 360;
};

// What the line stands for where no heading is ordered: her mean heading of the last minute.
const ownLine = (points, now) => {
  const last = points.filter((p) => p.heading !== null && now - p.at <= 60000).map((p) => p.heading);
  return last.length ? mean(last) : null;
};

// Where each second of the trace lies from the line; null where it is not known.
const departures = (points, line) => points.map((p) => {
  if (p.order !== null) return p.off;
  return p.heading === null || line === null ? null : turn(line, p.heading);
});

// Half the width of the trace in degrees: as little as holds what she did.
const scaleFor = (offs, limit) => {
  const widest = offs.reduce((most, off) => off === null ? most : Math.max(most, Math.abs(off)), (limit || 15) * 1.2);
  return [20, 30, 45, 60, 90, 180].find((half) => widest <= half) || 180;
};

// Runs of seconds that follow each other without a gap.
const runs = (points, values) => {
  const found = [];
  let open = null;
  points.forEach((p, place) => {
    const value = values[place];
    const gap = open && p.at - open[open.length - 1].at > 5000;
    if (value === null || gap) open = null;
    if (value === null) return;
    if (!open) found.push(open = []);
    open.push({ at: p.at, value });
  });
  return found;
};

const drawTrace = (svg, { points, marks, now, limit, ordered, doubted }) => {
  const { width, height } = svg.getBoundingClientRect();
  if (width < 50 || height < 50) return null;
  const top = 26;
  const middle = width / 2;
  const line = ownLine(points, now);
  const offs = departures(points, line);
  const half = scaleFor(offs, ordered ? limit : 0);
  const x = (off) => middle + Math.max(-1, Math.min(1, off / half)) * (middle - 6);
  const y = (at) => top + Math.min(1, (now - at) / TEN_MINUTES) * (height - top);
  const parts = [];
  const add = (...all) => parts.push(draw(...all));

  if (ordered && limit) add('rect', { class: 'band', x: x(-limit), y: top, width: x(limit) - x(-limit), height });
  for (let minutes = 2; minutes < 10; minutes += 2) {
    const level = y(now - minutes * 60000);
    add('line', { class: 'scale', x1: 0, x2: width, y1: level, y2: level });
  }
  // Where there is nothing to draw, that is drawn.
  const shown = points.filter((p, place) => offs[place] !== null);
  const begin = Math.max(now - TEN_MINUTES, points.length ? points[0].at : now);
  let from = begin;
  for (const at of [...shown.map((p) => p.at), now]) {
    if (at - from > 6000) add('rect', { class: 'lost', x: 0, width, y: y(at), height: y(from) - y(at) });
    from = Math.max(from, at);
  }
  const steps = (run) => run.map((p) => `${x(p.value).toFixed(1)} ${y(p.at).toFixed(1)}`).join('L');
  const made = runs(points, offs);
  for (const run of made) {
    add('path', { class: 'wake', d: `M${middle} ${y(run[0].at)}L${steps(run)}L${middle} ${y(run[run.length - 1].at)}Z` });
  }
  if (ordered && limit) {
    for (const edge of [-limit, limit]) add('line', { class: 'limit', x1: x(edge), x2: x(edge), y1: top, y2: height });
  }
  const track = points.map((p, place) => offs[place] === null || p.crab === null ? null : offs[place] + p.crab);
  for (const run of runs(points, track)) add('path', { class: 'track', d: `M${steps(run)}` });
  for (const run of made) add('path', { class: 'made', d: `M${steps(run)}` });
  add('line', { class: 'lubber', x1: middle, x2: middle, y1: 0, y2: height });

  let free = top + 14;
  for (const mark of [...marks].reverse()) {
    const raised = mark.alert && mark.state === 'active-unacknowledged' && !mark.repeated && mark.priority !== 'caution';
    const ordering = mark.notice === 'order';
    if (!raised && !ordering || now - mark.since_start_ms > TEN_MINUTES) continue;
    const level = y(mark.since_start_ms);
    add('line', { class: `event ${raised ? mark.priority : 'order'}`, x1: 0, x2: width, y1: level, y2: level });
    if (level < free) continue;
    add('text', { class: 'halo', x: 6, y: level - 4 }, raised ? `${mark.priority}: ${mark.alert}` : 'ordered anew');
    free = level + 18;
  }
  for (let minutes = 2; minutes < 10; minutes += 2) {
    add('text', { class: 'halo', x: width - 6, y: y(now - minutes * 60000) - 4, 'text-anchor': 'end' }, `${minutes} min ago`);
  }
  const step = half / (half === 20 || half === 30 ? 2 : 3);
  for (let off = -half + step; off < half; off += step) {
    if (Math.abs(off) < .1) continue;
    const room = Math.min(x(off), width - x(off)) > 95;
    add('line', { class: 'scale', x1: x(off), x2: x(off), y1: top - 6, y2: top });
    if (room) add('text', { class: 'halo', x: x(off), y: 15, 'text-anchor': 'middle' }, `${Math.abs(Math.round(off))}`);
  }
  add('text', { class: 'halo', x: 6, y: 15 }, 'port');
  add('text', { class: 'halo', x: width - 6, y: 15, 'text-anchor': 'end' }, 'starboard');
  if (track.some((value) => value !== null)) add('text', { class: 'halo', x: 6, y: height - 6 }, 'dashed: her track');
  if (doubted) add('text', { class: 'halo unsure', x: 6, y: height - 26 }, 'heading DOUBTED');
  const last = offs.length ? offs[offs.length - 1] : null;
  if (last !== null) {
    const at = x(last);
    add('path', { class: 'bow', d: `M${at} ${top - 14}q11 10 9 28h-18q-2-18 9-28z` });
  }
  svg.replaceChildren(...parts);
  return { offs, line };
};

// The trace in words, for whoever hears it.
const traceWords = (offs, ordered) => {
  const known = offs.filter((off) => off !== null);
  if (!known.length) return 'No heading to trace in the last ten minutes';
  const widest = known.reduce((most, off) => Math.abs(off) > Math.abs(most) ? off : most, 0);
  const of = ordered ? 'the order' : 'her mean heading of the last minute';
  return `The heading against ${of} in the last ten minutes: now ${side(known[known.length - 1])}, furthest ${side(widest)}`;
};

// One value against the line: a bar from the line, or a tick where it lies.
const drawStrip = (strip, { name, words, value, half, step, bar, stale }) => {
  let [text, svg] = strip.children;
  if (!text) {
    text = document.createElement('p');
    text.append(document.createElement('span'), document.createElement('span'));
    svg = draw('svg', { 'aria-hidden': 'true' });
    strip.append(text, svg);
  }
  strip.classList.toggle('stale', Boolean(stale));
  if (text.firstChild.textContent !== name) text.firstChild.textContent = name;
  if (text.lastChild.textContent !== words) text.lastChild.textContent = words;
  const { width } = svg.getBoundingClientRect();
  const middle = width / 2;
  const parts = [draw('line', { class: 'rail', x1: 0, x2: width, y1: 9, y2: 9 })];
  for (let mark = step; mark <= half; mark += step) {
    for (const at of [-mark, mark].map((off) => middle + off / half * middle)) {
      parts.push(draw('line', { class: 'rail', x1: at, x2: at, y1: 5, y2: 13 }));
      const anchor = mark < half ? 'middle' : at > middle ? 'end' : 'start';
      const words = mark < half ? mark : `${mark} ${at > middle ? 'starboard' : 'port'}`;
      // The last one has its side beside it, and nothing may stand under that.
      const room = mark === half || (1 - mark / half) * middle > 108;
      if (room) parts.push(draw('text', { x: at, y: 27, 'text-anchor': anchor }, `${words}`));
    }
  }
  if (value !== null) {
    const at = middle + Math.max(-1, Math.min(1, value / half)) * middle;
    parts.push(bar ? draw('line', { class: 'amount', x1: middle, x2: at, y1: 9, y2: 9 })
      : draw('path', { class: 'tick', d: `M${at - 7} 9l7 -9l7 9l-7 9z`, stroke: 'currentColor', 'stroke-width': 2 }));
  }
  parts.push(draw('line', { class: 'centre', x1: middle, x2: middle, y1: 0, y2: 18 }));
  svg.replaceChildren(...parts);
};
