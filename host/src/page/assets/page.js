// Listens to the watch, says when it is not heard, and speaks to it.

const OLD_AFTER = 3000;
const DEAD_AFTER = 8000;

// A browser may keep nothing for us; then the choice lasts as long as the page.
const keep = (name, value) => { try { localStorage.setItem(`lubber-${name}`, value); } catch { /* as said */ } };
const kept = (name) => { try { return localStorage.getItem(`lubber-${name}`); } catch { return null; } };

// The key comes in the fragment, which no browser sends, and does not stay where others can read it.
const keyIn = (text) => { const found = /(?:^|#)([a-z2-7]{32})$/.exec(text.trim()); return found && found[1]; };
let key = keyIn(location.hash) || kept('key');
if (location.hash) {
  if (keyIn(location.hash)) keep('key', key);
  history.replaceState(null, '', location.pathname);
}

let latest = null;
let latestLimit = null;
let trace = { run: null, points: [], marks: [], count: 0 };
// When the latest snapshot was made, by this page's clock, as far as can be told.
let madeAt = null;
let heardAt = null;
let least = null;
let trouble = 'opening';
let reading = null;
let wake = () => {};

const hear = (line) => {
  const now = performance.now();
  if (line.whole || trace.run !== line.run) {
    if (trace.run !== line.run) least = null;
    trace = { run: line.run, points: [], marks: [], count: trace.count };
  }
  // What came late on the way is as old as that.
  const taken = now - line.sent_ms;
  least = least === null ? taken : Math.min(least, taken);
  madeAt = now - line.age_ms - (taken - least);
  heardAt = now;
  for (const [at, heading, off, crab, order] of line.points) trace.points.push({ at, heading, off, crab, order });
  trace.marks.push(...line.marks);
  trace.count += line.marks.length + (line.whole ? 1 : 0);
  latest = line.now;
  latestLimit = latest.limit_deg;
  const oldest = latest.since_start_ms - TEN_MINUTES;
  trace.points = trace.points.filter((p) => p.at >= oldest);
  trace.marks = trace.marks.filter((m) => m.since_start_ms >= oldest).slice(-64);
  call(latest.alerts);
  paint();
};

// A new alert is called out, and nothing that is half done stays in its way.
let called = new Set();
const call = (alerts) => {
  const standing = alerts.filter((a) => a.state === 'active-unacknowledged' || a.state === 'active');
  const names = new Set(standing.map((a) => `${nameOf(a)} ${a.priority} ${a.occurrence}`));
  const fresh = standing.filter((a) => !called.has(`${nameOf(a)} ${a.priority} ${a.occurrence}`));
  called = names;
  if (!fresh.length) return;
  put('call', fresh.map((a) => `${priorityWord(a.priority)}: ${nameOf(a)}. ${a.text}.`).join(' '));
  if (by('sure').open) {
    by('sure').close();
    tell('A new alert came: nothing was changed.');
  }
};

const paint = () => {
  const { status, alerts } = latest;
  const ordered = status.order.steering === 'heading';
  const words = counted(alerts);
  const name = latest.boat || 'lubber';
  document.title = words.length ? `${words.join(', ')} - ${name}` : name;
  put('boat', name);
  const clock = clockWords(latest.at, latest.since_start_ms);
  put('clock', latest.pace ? `REPLAY x ${latest.pace}, ${clock}` : clock);
  by('clock').classList.toggle('replay', Boolean(latest.pace));
  paintAlerts(alerts);
  paintSteering(status);
  const doubted = Boolean(status.heading && status.heading.doubted);
  const drawn = drawTrace(by('trace'), { ...trace, now: latest.since_start_ms, limit: latestLimit, ordered, doubted });
  if (drawn) {
    const heard = `${doubted ? 'The heading is doubted. ' : ''}${traceWords(drawn.offs, ordered)}`;
    if (by('trace').getAttribute('aria-label') !== heard) by('trace').setAttribute('aria-label', heard);
  }
  paintGround(status);
  paintWitnesses(status);
  paintUnjudged(status.judging);
  paintSources(status, latest.health || []);
  paintMarks(trace.marks, trace.count);
  room();
  judgeAge();
};

// Nothing lies hidden for good under what is pressed.
const room = () => {
  const fixed = getComputedStyle(by('hands')).position === 'fixed';
  document.body.style.paddingBottom = fixed ? `${by('hands').offsetHeight + 8}px` : '0';
};

const REASONS = {
  'opening': ['No data yet', 'This page has not yet heard the watch.', ''],
  'silent': ['OLD DATA', 'The watch is connected and says nothing: it may hang.',
    'Go by the compass and your own eyes. See whether lubber still runs.'],
  'gone': ['NO CONNECTION', 'The connection to the watch is gone.',
    'Go by the compass and your own eyes. See whether lubber runs, and whether this device is on the boat\u2019s network.'],
  'ended': ['THE WATCH HAS ENDED', 'Nobody keeps watch now.', 'Start it again, or keep watch yourself.'],
  'key': ['A KEY IS NEEDED', 'Open the link that lubber showed when the key was made, or put the key in here.',
    'The key is lost? A new one is made with: lubber watch --page-new-key'],
  'wrong': ['THE KEY DOES NOT FIT', 'The watch refuses the key of this page: a newer one was made.',
    'Open the newest link, or put its key in here.'],
  'full': ['NO ROOM', 'Too many devices look at this watch already.', 'Close the page on another one.'],
};

const judgeAge = () => {
  const now = performance.now();
  const age = madeAt === null ? null : now - madeAt;
  const old = age === null || age > OLD_AFTER;
  const why = latest && latest.ended ? 'ended' : trouble || 'silent';
  const gone = old || why === 'ended' || why === 'key' || why === 'wrong';
  const root = document.documentElement;
  if (gone !== root.classList.contains('gone')) {
    root.classList.toggle('gone', gone);
    for (const part of document.querySelectorAll("header, main, footer")) part.inert = gone;
    if (gone && by('sure').open) by('sure').close();
  }
  if (!gone) return;
  const [what, reason, remedy] = REASONS[why];
  put('gone-what', what);
  put('gone-why', reason);
  put('gone-do', remedy);
  put('gone-age', age === null ? '' : `for ${lasting(age)}`);
  put('gone-last', latest ? lastWords(latest) : '');
  by('key-form').hidden = why !== 'key' && why !== 'wrong';
  document.title = `${what} - lubber`;
};

const lastWords = ({ status, alerts, at, since_start_ms: since }) => {
  const heading = status.heading && !status.heading.stale;
  const reference = heading && ['compass', 'magnetic', 'true'].find((r) => status.heading[`${r}_deg`] !== null);
  const doubted = heading && status.heading.doubted ? ', DOUBTED' : '';
  const had = heading ? `heading ${three(status.heading[`${reference}_deg`])} ${reference}${doubted}` : 'no heading';
  const order = status.order.steering === 'heading' ? `, ordered ${three(status.order.deg)} ${status.order.reference}` : '';
  return `Last heard at ${clockWords(at, since)}: ${had}${order}, ${counted(alerts).join(', ') || 'no alert'}.`;
};

const pause = (ms) => new Promise((done) => {
  const timer = setTimeout(done, ms);
  wake = () => { clearTimeout(timer); done(); };
});

const lines = async (body) => {
  const reader = body.getReader();
  const decoder = new TextDecoder();
  let rest = '';
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const parts = (rest + decoder.decode(value, { stream: true })).split('\n');
    rest = parts.pop();
    for (const part of parts) hear(JSON.parse(part));
  }
};

const follow = async () => {
  for (let wait = 500; ; wait = Math.min(wait * 1.6, 5000)) {
    if (!key) trouble = 'key';
    else {
      reading = new AbortController();
      try {
        const headers = { Authorization: `Bearer ${key}` };
        const answer = await fetch('stream', { headers, signal: reading.signal, cache: 'no-store', credentials: 'omit' });
        if (answer.status === 401) trouble = 'wrong';
        else if (answer.status === 503) trouble = 'full';
        else if (answer.ok) {
          trouble = null;
          heardAt = performance.now();
          wait = 500;
          await lines(answer.body);
          trouble = 'gone';
        } else trouble = 'gone';
      } catch { trouble = 'gone'; }
    }
    judgeAge();
    // A key that does not fit is not shown again and again.
    await pause(trouble === 'key' || trouble === 'wrong' ? 3600000 : wait);
  }
};

// Speaking to the watch.
let telling = 0;
const tell = (text) => {
  put('told', text);
  room();
  clearTimeout(telling);
  telling = setTimeout(() => { put('told', ''); room(); }, 12000);
};

const say = async (request) => {
  tell('Saying it to the watch ...');
  const stop = new AbortController();
  const late = setTimeout(() => stop.abort(), 6000);
  try {
    const headers = { 'Authorization': `Bearer ${key}`, 'Content-Type': 'application/json' };
    const body = JSON.stringify(request);
    const answer = await fetch('say', { method: 'POST', headers, body, signal: stop.signal, credentials: 'omit' });
    const text = await answer.text();
    const reply = answer.headers.get('content-type') === 'application/json' ? JSON.parse(text) : { done: false, text };
    const words = reply.text.trim();
    tell(reply.done ? `${words[0].toUpperCase()}${words.slice(1)}` : `NOT DONE: ${words}`);
  } catch {
    tell('NOT KNOWN whether it was done: no answer came from the watch. Look how it stands.');
  } finally {
    clearTimeout(late);
  }
};

const OFF = 'OFF-HEADING IS NOT WATCHED until a heading is ordered again. Every other alert is.';
const SURE = {
  here: ['Steer here?', () => `The order becomes the heading she has now, ${by('heading').textContent.replace('?', ', which is DOUBTED')}.`, 'Yes, steer here'],
  wind: ['Steered by the wind?', () => OFF, 'Yes, by the wind'],
  hand: ['Steered by hand?', () => OFF, 'Yes, by hand'],
  cancel: ['Cancel the order?', () => 'The order is then what the pilot sends, or else the mean of the first steady minute.',
    'Yes, cancel it'],
};
let asking = 0;
const ask = (order) => {
  const sure = by('sure');
  if (sure.open || document.documentElement.classList.contains('gone')) return;
  const [what, why, yes] = SURE[order];
  put('sure-what', what);
  put('sure-why', why());
  put('yes', yes);
  by('yes').onclick = () => { sure.close(); say({ verb: 'steer', order }); };
  sure.showModal();
  by('no').focus();
  clearTimeout(asking);
  asking = setTimeout(() => { if (sure.open) { sure.close(); tell('Not confirmed: nothing was changed.'); } }, 20000);
};

const night = (on) => {
  document.documentElement.classList.toggle('night', on);
  for (const id of ['night', 'night-too']) by(id).setAttribute('aria-pressed', String(on));
  keep('night', on ? 'yes' : 'no');
};
const turnNight = () => night(!document.documentElement.classList.contains('night'));

by('night').onclick = turnNight;
by('night-too').onclick = turnNight;
by('acknowledge').onclick = () => say({ verb: 'acknowledge' });
by('silence').onclick = () => say({ verb: 'silence' });
by('no').onclick = () => by('sure').close();
by('again').onclick = () => wake();
by('answers').hidden = true;
by('past').hidden = true;
by('plain').hidden = ['127.0.0.1', 'localhost', '[::1]'].includes(location.hostname);
for (const button of document.querySelectorAll('[data-order]')) button.onclick = () => ask(button.dataset.order);
by('key-form').onsubmit = (event) => {
  event.preventDefault();
  const given = keyIn(by('key').value);
  if (!given) { put('gone-why', 'That is no key: 32 letters and digits, or a link that ends in them, were expected.'); return; }
  key = given;
  keep('key', key);
  by('key').value = '';
  trouble = 'opening';
  wake();
};
by('keys').checked = kept('keys') !== 'no';
by('keys').onchange = () => keep('keys', by('keys').checked ? 'yes' : 'no');

const KEYS = { a: () => by('acknowledge').click(), s: () => by('silence').click(), n: turnNight,
  c: () => ask('here'), w: () => ask('wind'), h: () => ask('hand'), x: () => ask('cancel') };
document.addEventListener('keydown', (event) => {
  const typing = event.target instanceof HTMLInputElement && event.target.type === 'text';
  if (typing || event.ctrlKey || event.altKey || event.metaKey || event.repeat || !by('keys').checked) return;
  const typed = event.key.toLowerCase();
  const meaning = KEYS[typed];
  const busy = by('sure').open || document.documentElement.classList.contains('gone');
  if (!meaning || (busy && typed !== 'n')) return;
  event.preventDefault();
  if (typed === 'a' && by('answers').hidden) tell('Nothing waits to be acknowledged.');
  else if (typed === 's' && by('answers').hidden) tell('Nothing sounds.');
  else meaning();
});

setInterval(() => {
  judgeAge();
  // A connection over which nothing comes is no connection.
  if (trouble === null && heardAt !== null && performance.now() - heardAt > DEAD_AFTER && reading) reading.abort();
}, 500);
// A page that is left gives its connection back: a browser has few for each address.
addEventListener('pagehide', () => { if (reading) reading.abort(); });
for (const name of ['online', 'pageshow', 'focus']) addEventListener(name, () => wake());
document.addEventListener('visibilitychange', () => { if (!document.hidden) { judgeAge(); wake(); } });
addEventListener('resize', () => { if (latest) paint(); });

night(kept('night') === 'yes');
judgeAge();
follow();
