// What the watch says, in words and figures.

const by = (id) => document.getElementById(id);

// Only what changed is touched, so that a screen reader is not told the same again.
const put = (id, text) => {
  const element = by(id);
  if (element.textContent !== text) element.textContent = text;
};

const make = (tag, name, text) => {
  const element = document.createElement(tag);
  if (name) element.className = name;
  if (text !== undefined) element.textContent = text;
  return element;
};

const three = (degrees) => degrees === null || degrees === undefined ? '---'
  : String(Math.round(degrees) % 360).padStart(3, '0');

// As every other display says it.
const lasting = (ms) => {
  const s = Math.max(0, Math.floor(ms / 1000));
  if (s < 120) return `${s} s`;
  return s < 7200 ? `${Math.floor(s / 60)} min` : `${Math.floor(s / 3600)} h ${Math.floor(s / 60) % 60} min`;
};

const clockWords = (at, sinceMs) => {
  if (at) return `${at.slice(11, 19)} UTC`;
  const s = Math.floor(sinceMs / 1000);
  return `+${Math.floor(s / 3600)}:${String(Math.floor(s / 60) % 60).padStart(2, '0')}:${String(s % 60).padStart(2, '0')}`;
};

const STATES = {
  'active': 'stands',
  'active-unacknowledged': 'NOT ACKNOWLEDGED',
  'active-silenced': 'silenced for 30 s, NOT ACKNOWLEDGED',
  'active-acknowledged': 'acknowledged, still stands',
  'rectified-unacknowledged': 'over, NOT ACKNOWLEDGED',
};
const CORRECTIONS = { card: 'deviation by the card', wire: "the sensor's own deviation", uncorrected: 'uncorrected, no card and no deviation sent' };
const waits = (alert) => alert.state.endsWith('unacknowledged') || alert.state === 'active-silenced';
const nameOf = (alert) => `${alert.alert} ${alert.instance}${alert.source ? ` on ${alert.source}` : ''}`;
const priorityWord = (priority) => priority === 'caution' ? 'caution' : priority.toUpperCase();

// What stands, by priority; and how many are over that nobody has answered.
const counted = (alerts) => {
  const over = alerts.filter((a) => a.state === 'rectified-unacknowledged').length;
  const count = (priority) => alerts.filter((a) => a.priority === priority && a.state !== 'rectified-unacknowledged').length;
  const words = ['alarm', 'warning', 'caution'].map((priority) => [count(priority), priority]).filter(([n]) => n > 0)
    .map(([n, priority]) => `${n} ${priorityWord(priority)}${n > 1 ? (priority === 'caution' ? 's' : 'S') : ''}`);
  return over ? [...words, `${over} over`] : words;
};

// What contradicts a heading in doubt, in words.
const contraryWords = ({ doubted_by: alert, contradicted_by: witness }) => witness
  ? `${witness.from} ${witness.kind === 'ground' ? 'course' : 'heading'} ${three(witness.true_deg)} true`
  : `${alert} stands`;

let alertsShown = '';
const paintAlerts = (alerts) => {
  const whole = JSON.stringify(alerts);
  if (whole === alertsShown) return;
  alertsShown = whole;
  const words = counted(alerts);
  const stands = alerts.some((alert) => alert.state !== 'rectified-unacknowledged');
  put('standing', (stands ? words : ['No alert stands', ...words]).join(', '));
  by('list').replaceChildren(...alerts.map((alert) => {
    const over = alert.state === 'rectified-unacknowledged';
    const item = make('li', `${alert.priority}${waits(alert) && !over ? ' unanswered' : ''}${over ? ' over' : ''}`);
    item.append(make('b', '', `${priorityWord(alert.priority)} ${nameOf(alert)}`));
    const follows = alert.follows ? `, follows from ${alert.follows}` : '';
    const again = alert.occurrence > 1 ? `, number ${alert.occurrence}` : '';
    item.append(make('span', 'state', `${STATES[alert.state] || alert.state}${again}${follows}`));
    item.append(make('span', '', alert.text));
    return item;
  }));
  const unanswered = alerts.some(waits);
  by('answers').hidden = !unanswered;
  const sounding = alerts.some((a) => a.state === 'active-unacknowledged');
  by('silence').disabled = !sounding;
};

// The order, the heading in its reference, and how one departs from the other.
const paintSteering = (status) => {
  const { heading, order, off_deg: off } = status;
  const ordered = order.steering === 'heading';
  const own = heading && (ordered && heading[`${order.reference}_deg`] !== null ? order.reference
    : ['compass', 'magnetic', 'true'].find((reference) => heading[`${reference}_deg`] !== null));
  const stale = heading && heading.stale;
  const doubted = heading && !stale && heading.doubted;
  const known = heading && !stale ? three(heading[`${own}_deg`]) : '---';
  by('heading').classList.toggle('doubted', Boolean(doubted));
  put('heading', doubted ? `${known}?` : known);
  let about = 'no heading was heard yet';
  if (stale) about = `NO HEADING for ${lasting(heading.age_s * 1000)}; the last was ${three(heading[`${own}_deg`])} ${own}`;
  else if (heading) {
    const others = ['magnetic', 'true'].filter((r) => r !== own && heading[`${r}_deg`] !== null);
    const rest = others.map((r) => `${three(heading[`${r}_deg`])} ${r}`);
    about = [own, ...rest, heading.correction === 'uncorrected' ? 'UNCORRECTED' : ''].filter(Boolean).join(', ');
    if (doubted) about = `DOUBTED: ${contraryWords(heading)}. Sent: ${about}`;
  }
  put('heading-about', about);
  by('heading-about').classList.toggle('loud', !heading || stale || Boolean(doubted));

  const great = by('order');
  great.classList.toggle('words', !ordered);
  const words = { wind: 'by wind', hand: 'by hand', unknown: 'none yet' };
  put('order', ordered ? three(order.deg) : words[order.steering] || order.steering);
  const givers = { 'owner': 'given by the owner', 'first-steady-minute': 'mean of the first steady minute, nobody gave it' };
  const giver = ordered ? givers[order.by] || `sent by ${order.by}` : '';
  put('order-about', ordered ? `${order.reference}, ${giver}${order.held ? '; no longer sent, HELD' : ''}`
    : 'the line is her mean heading of the last minute');

  const departure = by('departure');
  let place = 'middle unknown';
  let text = 'off-heading is NOT WATCHED: there is no heading to compare';
  if (!ordered) text = order.steering === 'unknown' ? 'no heading is ordered: off-heading is NOT WATCHED'
    : 'off-heading is NOT WATCHED';
  else if (off !== null && doubted) text = 'not known: heading doubted';
  else if (off !== null) {
    const whole = Math.round(Math.abs(off));
    place = whole === 0 ? 'middle' : off > 0 ? 'starboard' : 'port';
    text = side(off);
  }
  const wide = ordered && off !== null && !doubted && latestLimit && Math.abs(off) > latestLimit ? ' wide' : '';
  departure.className = place + wide;
  put('departure', text);
};

const paintGround = (status) => {
  const { ground, rudder } = status;
  put('course', ground && ground.course_true_deg !== null ? `${three(ground.course_true_deg)} true` : ground ? 'none so slow' : '---');
  put('speed', ground ? `${ground.speed_kn.toFixed(1)} kn` : '---');
  const gone = rudder === null ? 'not heard' : rudder.age_s > 4 ? `not heard for ${lasting(rudder.age_s * 1000)}` : null;
  const words = gone || (Math.round(rudder.deg) === 0 ? 'amidships' : side(rudder.deg).replace(' to', ''));
  drawStrip(by('rudder'), { name: 'Rudder', words, value: gone ? null : rudder.deg, half: 40, step: 20, bar: true });
};

const witnessWords = (witness) => {
  if (witness.copy_of) return `copy of ${witness.copy_of}, no witness`;
  if (witness.stale) return `silent for ${lasting(witness.age_s * 1000)}`;
  if (witness.differs_deg === null) return 'not comparable';
  const whole = Math.round(Math.abs(witness.differs_deg));
  return whole === 0 ? 'the same' : side(witness.differs_deg);
};

const paintWitnesses = (status) => {
  const primary = status.heading && status.heading.from;
  const others = status.witnesses.filter((w) => w.ground || w.kind === 'ground' || w.from !== primary);
  const box = by('witnesses');
  by('against').hidden = others.length === 0;
  while (box.children.length > others.length) box.lastChild.remove();
  while (box.children.length < others.length) box.append(make('div', 'strip'));
  others.forEach((witness, place) => {
    const name = `${witness.from} ${witness.kind === 'ground' ? 'course' : 'heading'}`;
    const value = witness.copy_of ? null : witness.differs_deg;
    drawStrip(box.children[place], { name, words: witnessWords(witness), value, half: 45, step: 15, stale: witness.stale });
  });
  const { agreement } = status;
  by('agreement').className = agreement === 'no' ? 'no' : '';
  const count = others.filter((w) => !w.copy_of && !w.stale).length;
  const words = { yes: count ? 'The witnesses AGREE with the heading' : 'There is no other witness', no: 'The witnesses DISAGREE' };
  put('agreement', words[agreement] || `Agreement ${agreement}`);
};

let whysShown = '';
const paintUnjudged = (judging) => {
  const unjudged = Object.entries(judging).filter(([, word]) => word !== 'yes');
  const whole = JSON.stringify(unjudged);
  if (whole === whysShown) return;
  whysShown = whole;
  const all = Object.keys(judging).length;
  // On the first screen too: a page without an alert is not one that sees everything.
  put('blind', unjudged.length ? `${unjudged.length} of ${all} not watched` : '');
  put('unjudged-name', unjudged.length ? `Not watched just now: ${unjudged.length} of ${all}` : `All ${all} alerts are watched for`);
  by('whys').hidden = unjudged.length === 0;
  by('whys').replaceChildren(...unjudged.flatMap(([kind, word]) =>
    [make('dt', '', kind), make('dd', '', word.replace(/^no: /, ''))]));
};

const heardSources = new Map();
const paintSources = (status, health) => {
  const list = by('sources');
  while (list.children.length > status.sources.length) list.lastChild.remove();
  while (list.children.length < status.sources.length) list.append(make('li'));
  status.sources.forEach((source, place) => {
    const now = performance.now();
    const before = heardSources.get(source.name);
    if (!before || before.sentences !== source.sentences) heardSources.set(source.name, { sentences: source.sentences, now });
    const silent = now - heardSources.get(source.name).now;
    const { works = null, why = '' } = health[place] || {};
    const bad = works === false || silent > 5000;
    const state = works === false ? `DOES NOT WORK${why ? `: ${why}` : ''}`
      : silent > 5000 ? `SILENT for ${lasting(silent)}` : source.sentences > 0 ? 'is heard' : 'nothing heard yet';
    const part = source.refused / Math.max(1, source.sentences + source.refused);
    const refused = source.refused === 0 ? 'none refused' : `${source.refused} refused (${(part * 100).toPrecision(2)} %)`;
    const rule = source.checksum === 'ignored' ? ', CHECKSUM IGNORED: damaged lines pass'
      : source.checksum === 'optional' ? ', lines without a checksum pass' : '';
    const words = `${source.name}: |${state}|, ${source.sentences} sentences, ${refused}${rule}`;
    const item = list.children[place];
    if (item.dataset.words === words) return;
    item.dataset.words = words;
    const [first, middle, last] = words.split('|');
    item.replaceChildren(first, make('span', bad ? 'bad' : '', middle), last);
  });
  const { heading, variation } = status;
  const correction = heading && CORRECTIONS[heading.correction];
  put('kept-by', heading ? `The watch is kept by ${heading.from}${correction ? `: ${correction}` : ''}` : '');
  const amount = variation && `${Math.abs(variation.deg).toFixed(1)} ${variation.deg < 0 ? 'W' : 'E'}`;
  put('variation', variation ? `Variation ${amount}, ${variation.from === 'wire' ? `from ${variation.sent_by}`
    : 'from the World Magnetic Model'}` : 'Variation not known');
};

const markWords = (mark) => {
  if (!mark.alert) return mark.text;
  const state = mark.state === 'normal' ? 'over' : STATES[mark.state] || mark.state;
  return `${priorityWord(mark.priority)} ${nameOf(mark)}: ${state}. ${mark.text}`;
};

let marksShown = 0;
const paintMarks = (marks, count) => {
  if (marksShown === count) return;
  marksShown = count;
  const recent = [...marks].reverse();
  by('marks').replaceChildren(...recent.map((mark) =>
    make('li', '', `${clockWords(mark.at, mark.since_start_ms)} ${markWords(mark)}`)));
  by('past').hidden = recent.length === 0;
};
