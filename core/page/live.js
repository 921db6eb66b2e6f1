// The live page: listens to /events, shows what comes, sends answers. Whatever is shown is put in as
// text, never as markup. The token stays in this tab: it comes in the address's fragment, which no
// browser sends, and leaves only as a header of requests to the same origin.
'use strict';

const SVG = 'http://www.w3.org/2000/svg';
const TOKEN_KEY = 'perdure-token', WHO_KEY = 'perdure-who';
const SILENT_MS = 6000, RETRY_MS = 5000, PLANNED_SHOWN = 30, POINTS_MOST = 400;

const by = id => document.getElementById(id);
const state = {
  live: null, lists: null, heard: 0, mayAnswer: false, source: null,
  channels: new Map(), questions: new Map(), curves: new Map(),
};

// --- small help ---------------------------------------------------------------------------------

function make(tag, about, ...inner) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(about || {})) {
    if (value === true) element.setAttribute(name, '');
    else if (value !== false && value !== null) element.setAttribute(name, value);
  }
  element.append(...inner);
  return element;
}

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

const two = number => String(number).padStart(2, '0');

function localText(date, seconds) {
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())} ` +
    `${two(date.getHours())}:${two(date.getMinutes())}${seconds ? ':' + two(date.getSeconds()) : ''}`;
}

function timeOf(iso, seconds) {
  if (!iso) return '';
  const date = new Date(iso);
  return make('time', {datetime: iso, title: `${iso.replace('T', ' ').replace('Z', '')} UTC`},
              localText(date, seconds));
}

function amount(value, digits, unit) {
  return value === null || value === undefined ? `- ${unit}` : `${value.toFixed(digits)} ${unit}`;
}

function span(seconds) {
  if (seconds < 60) return `${Math.round(seconds)} s`;
  const minutes = Math.floor(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return minutes % 60 ? `${hours} h ${minutes % 60} min` : `${hours} h`;
  return hours % 24 ? `${Math.floor(hours / 24)} d ${hours % 24} h` : `${hours / 24} d`;
}

// WHAT: WHY; WHAT TO DO, as a sentence.
function errorWords(error) {
  return `${error.what[0].toUpperCase()}${error.what.slice(1)}: ${error.why}; ${error.todo}.`;
}

function remember(store, key, value) {
  try { store.setItem(key, value); } catch (refused) { /* a browser that keeps nothing */ }
}

function recall(store, key) {
  try { return store.getItem(key) || ''; } catch (refused) { return ''; }
}

// --- the token -----------------------------------------------------------------------------------

let token = recall(sessionStorage, TOKEN_KEY);

function takeToken(text) {
  token = text.trim();
  remember(sessionStorage, TOKEN_KEY, token);
}

function tokenFromAddress() {
  const found = /^#token=([0-9a-f]+)$/.exec(location.hash);
  if (!found) return false;
  takeToken(found[1]);
  history.replaceState(null, '', location.pathname); // not to be read over a shoulder, or kept
  return true;
}

const headers = () => token ? {Authorization: `Bearer ${token}`} : {};

async function openSession() {
  let words = '', readOnly = false;
  state.mayAnswer = false;
  try {
    const response = await fetch('session', {headers: headers()});
    const said = await response.json();
    if (response.ok) {
      readOnly = said.read_only;
      state.mayAnswer = said.may_answer;
      if (readOnly) words = 'This page is for reading only: answer with perdure attend.';
      else if (!said.may_answer)
        words = 'This page can only be read. To answer here, open the address that the engine printed ' +
          'when it began; it ends in #token=... Or paste the token.';
    } else {
      words = 'The token is not the one: the engine makes a new one each time it begins. Open the ' +
        'address that it printed, or paste the token.';
    }
  } catch (failure) {
    words = 'The engine does not answer.';
  }
  put(by('session'), words);
  by('token-form').hidden = readOnly || state.mayAnswer;
  askForName();
  for (const item of state.questions.values()) allow(item);
}

// Only who has something to answer is asked.
function askForName() {
  by('who-line').hidden = !state.mayAnswer || state.questions.size === 0;
}

// --- questions -----------------------------------------------------------------------------------

function controls(question) {
  const id = question.question, expects = question.expects || {}, kind = expects.kind || 'done';
  const described = `hint-${id} problem-${id}`;
  if (kind === 'choice' || kind === 'done') {
    const values = kind === 'choice' ? expects.choices || [] : ['done'];
    const row = make('div', {class: 'row'});
    for (const value of values)
      row.append(make('button', {type: 'submit', name: 'answer', value, 'aria-describedby': `problem-${id}`},
                      kind === 'done' ? 'Done' : value));
    return row;
  }
  const input = make('input', {
    name: 'answer', id: `answer-${id}`, autocomplete: 'off', required: true, maxlength: 1000,
    inputmode: kind === 'number' ? 'decimal' : 'text', 'aria-describedby': described,
  });
  const row = make('div', {class: 'row'}, make('label', {for: `answer-${id}`}, 'Answer'), input);
  if (kind === 'number' && expects.unit && expects.unit !== '1')
    row.append(make('span', {class: 'unit'}, expects.unit));
  row.append(make('button', {type: 'submit'}, 'Answer')); // the first one: ENTER, also a scanner's, is this
  if (kind === 'label')
    row.append(make('button', {type: 'submit', name: 'answer', value: 'yes'}, 'Yes, it is in'));
  return row;
}

function addQuestion(question) {
  const id = question.question, kind = (question.expects && question.expects.kind) || 'done';
  const form = make('form', {novalidate: true, 'aria-labelledby': `asked-${id}`},
    make('fieldset', {},
      make('p', {class: 'quiet'}, `Question ${id}, run ${question.run}` +
        (question.cell ? `, cell ${question.cell}` : '') + ', asked ', timeOf(question.asked_at)),
      make('p', {class: 'asked', id: `asked-${id}`}, question.text),
      controls(question),
      make('p', {class: 'hint', id: `hint-${id}`, hidden: kind === 'choice' || kind === 'done'},
           `An answer is ${question.hint}.`)));
  const problem = make('p', {class: 'problem', id: `problem-${id}`, role: 'alert'});
  form.append(problem);
  const item = {
    id, form, problem, sent: false, element: make('li', {id: `question-${id}`, 'data-kind': kind}, form),
    fieldset: form.querySelector('fieldset'), input: form.querySelector('input'),
  };
  form.addEventListener('submit', event => {
    event.preventDefault();
    answer(item, event.submitter && event.submitter.value ? event.submitter.value : item.input ? item.input.value : '');
  });
  state.questions.set(id, item);
  by('question-list').append(item.element);
  allow(item);
}

function allow(item) {
  item.fieldset.disabled = !state.mayAnswer || item.sent;
}

function complain(item, words) {
  put(item.problem, words);
  if (!item.input) return;
  item.input.setAttribute('aria-invalid', words ? 'true' : 'false');
  if (words) item.input.focus();
}

async function answer(item, typed) {
  if (!typed.trim()) {
    complain(item, 'There is nothing in the field yet.');
    return;
  }
  complain(item, '');
  item.sent = true;
  allow(item);
  try {
    const response = await fetch('answer', {
      method: 'POST',
      headers: Object.assign({'Content-Type': 'application/json'}, headers()),
      body: JSON.stringify({question: item.id, answer: typed, who: by('who').value.trim()}),
    });
    const said = await response.json();
    if (!response.ok) {
      item.sent = false;
      allow(item);
      complain(item, errorWords(said.error));
      if (response.status === 403) openSession();
    } else if (said.reply.same) {
      put(item.problem, 'It had this answer already; nothing is changed.');
    } else if (said.reply.correction) {
      put(item.problem, 'It had been answered already; this is on record as a correction.');
    } else {
      item.done = true;
      item.fieldset.replaceChildren(make('p', {role: 'status'}, 'The answer is on record.'));
    }
  } catch (failure) {
    item.sent = false;
    allow(item);
    complain(item, 'The engine did not reply: see whether the question is still open, then try again.');
  }
}

function showQuestions(rows) {
  const open = new Set(rows.map(row => row.question));
  for (const row of rows)
    if (!state.questions.has(row.question)) addQuestion(row);
  for (const [id, item] of state.questions) {
    if (open.has(id)) continue;
    if (!item.sent && item.input && item.input.value) { // somebody is typing: do not pull it away
      item.sent = true;
      allow(item);
      put(item.problem, 'It has been answered elsewhere meanwhile.');
    } else if (!item.element.contains(document.activeElement) || item.sent) {
      if (item.element.contains(document.activeElement)) by('questions-title').focus();
      item.element.remove();
      state.questions.delete(id);
    }
  }
  const count = rows.length;
  put(by('question-count'), count === 0 ? 'None is open.' : count === 1 ? '1 question is open.'
                                                                       : `${count} questions are open.`);
  askForName();
  document.title = count ? `(${count}) Perdure` : 'Perdure';
}

// --- channels ------------------------------------------------------------------------------------

function addChannel(name) {
  const value = about => make('dd', {class: about});
  const card = {
    how: make('span', {class: 'how quiet'}), cell: make('p', {class: 'cell'}), step: make('p', {class: 'step'}), voltage: value('voltage'),
    current: value('current'), temperature: value('temperature'), charge: make('p', {class: 'charge quiet'}),
    curve: document.createElementNS(SVG, 'svg'), line: document.createElementNS(SVG, 'polyline'),
    title: document.createElementNS(SVG, 'title'), range: make('p', {class: 'range quiet', 'aria-hidden': 'true'}),
  };
  const title = `channel-title-${name}`;
  card.curve.setAttribute('class', 'curve');
  card.curve.setAttribute('viewBox', '0 0 200 48');
  card.curve.setAttribute('preserveAspectRatio', 'none');
  card.curve.setAttribute('role', 'img');
  card.curve.append(card.title, card.line);
  card.readings = make('dl', {}, make('dt', {}, 'voltage'), card.voltage, make('dt', {}, 'current'), card.current,
                       make('dt', {}, 'temperature'), card.temperature);
  card.element = make('article', {id: `channel-${name}`, 'aria-labelledby': title, 'data-step': ''},
    make('div', {class: 'line'}, make('h3', {id: title}, name), card.how), card.cell, card.step,
    card.readings, card.charge, card.curve, card.range);
  state.channels.set(name, card);
  by('channel-list').append(card.element);
  return card;
}

const stepWords = {charge: 'charging', discharge: 'discharging', rest: 'resting', pulse: 'pulsing', read: 'reading'};

const drives = row => row.step && row.step !== 'rest' && row.step !== 'read';

// Why a run does not move, where that is on record: "waits for meter-2: no answer in time".
function waitWords(run) {
  return run && run.why && (run.doing === 'parked' || run.doing === 'queued') ? run.why : '';
}

function channelWords(row, runs) {
  const run = runs.get(row.run);
  if (!run && row.missing) return `not used until ${row.missing} answers: ${row.trouble}`;
  if (row.step) {
    const most = row.limit_s ? `, ${span(row.limit_s)} at most` : '';
    return `${stepWords[row.step] || row.step} for ${span(row.elapsed_s || 0)}${most}`;
  }
  return run ? waitWords(run) || runWords(run, null) || run.state : 'free';
}

// What is not measured there is left out, with its name.
function showReading(value, number, digits, unit) {
  value.hidden = value.previousElementSibling.hidden = number === null || number === undefined;
  put(value, amount(number, digits, unit));
}

function showChannels(rows, runs) {
  for (const row of rows) {
    const card = state.channels.get(row.channel) || addChannel(row.channel);
    card.element.dataset.step = row.step || '';
    card.element.toggleAttribute('data-missing', Boolean(row.missing || waitWords(runs.get(row.run))));
    put(card.how, row.run ? `${row.how}, run ${row.run}` : row.how);
    put(card.cell, row.run ? row.cell || '' : '');
    put(card.step, channelWords(row, runs));
    showReading(card.voltage, row.voltage_V, 4, 'V');
    showReading(card.current, row.current_A, 4, 'A');
    showReading(card.temperature, row.temperature_degC, 1, '\u00b0C');
    card.readings.hidden = row.voltage_V === null;
    put(card.charge, drives(row) ? `${amount(row.charge_Ah, 4, 'Ah')}, ${amount(row.energy_Wh, 4, 'Wh')} in this step` : '');
    extendCurve(row);
    drawCurve(card, state.curves.get(row.channel));
  }
}

// A curve comes whole now and then; between, its last point is what the channel reads.
function extendCurve(row) {
  const curve = state.curves.get(row.channel);
  if (!row.step) {
    state.curves.delete(row.channel);
  } else if (row.voltage_V !== null && row.elapsed_s !== null) {
    const last = curve ? curve.t[curve.t.length - 1] : -1;
    if (!curve || row.elapsed_s < last - 1) {
      state.curves.set(row.channel, {t: [row.elapsed_s], v: [row.voltage_V]});
    } else if (row.elapsed_s > last && curve.t.length < POINTS_MOST) {
      curve.t.push(row.elapsed_s);
      curve.v.push(row.voltage_V);
    }
  }
}

function drawCurve(card, curve) {
  const enough = Boolean(curve && curve.t.length > 1);
  card.curve.toggleAttribute('hidden', !enough);
  if (!enough) put(card.range, '');
  if (!enough) return;
  const first = curve.t[0], length = curve.t[curve.t.length - 1] - first || 1;
  const low = Math.min(...curve.v), high = Math.max(...curve.v);
  const room = Math.max(high - low, 0.005); // V: noise shall not look like a mountain
  const points = curve.t.map((t, i) =>
    `${((t - first) / length * 200).toFixed(1)},${(45 - (curve.v[i] - low) / room * 42).toFixed(1)}`);
  card.line.setAttribute('points', points.join(' '));
  const range = `${low.toFixed(3)} V to ${high.toFixed(3)} V over ${span(length)}`;
  put(card.range, range);
  put(card.title, `Voltage in this step: ${range}, ` +
      `now ${curve.v[curve.v.length - 1].toFixed(3)} V`);
}

// --- runs and agenda -----------------------------------------------------------------------------

function runWords(run, channel) {
  const words = {
    queued: run.until ? 'waits for its day' : 'waits for a channel', working: 'at work', waiting: 'waits',
    asking: 'waits for an answer', performing: 'its runs are going on', parked: '', over: 'ending',
  };
  if (run.state === 'attention') return 'needs attention';
  if (run.doing === 'stepping') return channel && channel.step ? stepWords[channel.step] || channel.step : 'at work';
  return words[run.doing] || '';
}

function stateCell(row, run, channel) {
  const current = run ? run.state : row.state, why = run ? run.why : row.why;
  const words = run && !waitWords(run) ? runWords(run, channel) : '';
  const cell = make('td', {class: 'state', 'data-label': 'State'}, current + (words && words !== current ? `: ${words}` : ''));
  if (run && run.until) cell.append(' until ', timeOf(run.until));
  if (why) cell.append(`: ${why}`);
  return cell;
}

function progressCell(row) {
  const cell = make('td', {class: 'progress', 'data-label': 'Progress'});
  if (!row.longer_than_expected && (!row.expected_s || !row.started_at || !state.live)) return cell;
  const part = row.longer_than_expected ? 1 : (new Date(state.live.now) - new Date(row.started_at)) / 1000 / row.expected_s;
  if (part >= 1) {
    cell.append('longer than expected');
    return cell;
  }
  const percent = Math.max(0, Math.floor(part * 100));
  cell.append(make('progress', {max: 100, value: percent, 'aria-label': `Run ${row.run}`}), `about ${percent} %`);
  return cell;
}

function showRuns(rows, live, channels) {
  const body = by('run-table').tBodies[0];
  body.replaceChildren(...rows.map(row => {
    const run = live.get(row.run);
    return make('tr', {id: `run-${row.run}`, 'data-state': run ? run.state : row.state, 'data-doing': run ? run.doing : ''},
      make('th', {scope: 'row', class: 'number', 'data-label': 'Run'}, String(row.run)),
      make('td', {class: 'script', 'data-label': 'Script'}, row.script),
      make('td', {class: 'cell', 'data-label': 'Cell'}, row.cell || ''),
      make('td', {class: 'channel', 'data-label': 'Channel'}, (run && run.channel) || row.channel || ''),
      stateCell(row, run, channels.get(row.run)), progressCell(row),
      make('td', {class: 'end', 'data-label': 'Expected end'},
        ...(row.expected_after_at ? ['after ', timeOf(row.expected_after_at)] : [timeOf(row.expected_end_at)])));
  }));
  by('run-table').hidden = rows.length === 0;
  by('no-runs').hidden = rows.length !== 0;
}

function showOver(rows) {
  by('over').hidden = rows.length === 0;
  by('over-table').tBodies[0].replaceChildren(...rows.map(row =>
    make('tr', {id: `over-${row.run}`, 'data-state': row.state},
      make('th', {scope: 'row', class: 'number', 'data-label': 'Run'}, String(row.run)),
      make('td', {class: 'script', 'data-label': 'Script'}, row.script),
      make('td', {class: 'cell', 'data-label': 'Cell'}, row.cell || ''),
      make('td', {class: 'state', 'data-label': 'State'}, row.state),
      make('td', {class: 'end', 'data-label': 'Ended'}, timeOf(row.ended_at)),
      make('td', {'data-label': 'Why'}, row.why || ''))));
}

function agendaRow(row) {
  return make('tr', {},
    make('td', {'data-label': 'From'}, timeOf(row.from)),
    make('td', {'data-label': 'At latest'}, timeOf(row.latest), row.note ? ` (${row.note})` : ''),
    make('td', {'data-label': 'What'}, row.person ? `${row.what} (a person is asked)` : row.what),
    make('td', {'data-label': 'Study'}, `${row.script}, run ${row.study}`),
    make('td', {'data-label': 'Cells'}, row.labels || ''));
}

function showAgenda(lists) {
  const groups = [['overdue', 'Overdue'], ['today', 'Due today'], ['going on', 'Going on'], ['planned', 'Coming']];
  for (const [when, title] of groups) {
    const rows = lists.agenda.filter(row => row.when === when), shown = rows.slice(0, PLANNED_SHOWN);
    const body = by(`agenda-${when.replace(' ', '-')}`);
    const head = make('tr', {}, make('th', {scope: 'rowgroup', colspan: 5},
      rows.length > shown.length ? `${title}: the first ${shown.length} of ${rows.length}` : title));
    body.replaceChildren(...(rows.length ? [head, ...shown.map(agendaRow)] : []));
  }
  put(by('agenda-zone'), lists.zone);
  by('agenda-table').hidden = lists.agenda.length === 0;
  by('no-agenda').hidden = lists.agenda.length !== 0;
  put(by('agenda-trouble'), lists.agenda_trouble ? `The agenda is not whole: ${lists.agenda_trouble}` : '');
  by('agenda-trouble').hidden = !lists.agenda_trouble;
}

// --- all of it -----------------------------------------------------------------------------------

function show() {
  if (!state.live) return;
  const live = state.live, runs = new Map(live.runs.map(run => [run.run, run]));
  const channels = new Map(live.channels.filter(row => row.run).map(row => [row.run, row]));
  by('engine-time').replaceChildren('Engine time ', timeOf(live.now, true));
  put(by('engine-clock'), live.clock === 'real' ? '' : `(${live.clock} clock)`);
  showChannels(live.channels, runs);
  if (state.lists) showRuns(state.lists.runs, runs, channels);
}

function notice() {
  const silent = state.heard && Date.now() - state.heard > SILENT_MS, live = state.live;
  let words = '';
  if (silent) words = `No word from the engine since ${localText(new Date(state.heard), true)}: what is below is old.`;
  else if (live && live.held) words = 'The disk is full: outputs are safe and all runs wait. Free some room.';
  else if (live && live.unguarded) words = 'The guardian made every output safe; real outputs stay off until it watches again.';
  put(by('notice'), words);
}

function listen() {
  const source = new EventSource('events');
  const heard = take => event => {
    state.heard = Date.now();
    take(JSON.parse(event.data));
    notice();
  };
  source.addEventListener('live', heard(said => { state.live = said; show(); }));
  source.addEventListener('curves', heard(said => {
    for (const curve of said.curves) state.curves.set(curve.channel, curve);
  }));
  source.addEventListener('lists', heard(said => {
    if (said.error) {
      put(by('agenda-trouble'), errorWords(said.error));
      by('agenda-trouble').hidden = false;
      return;
    }
    state.lists = said;
    showQuestions(said.questions);
    showOver(said.over);
    showAgenda(said);
    show();
  }));
  source.addEventListener('open', openSession); // perhaps another engine, with another token
  source.addEventListener('error', () => {
    if (source.readyState === EventSource.CLOSED) setTimeout(listen, RETRY_MS);
  });
}

const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
put(by('zone'), zone === 'UTC' ? 'UTC.' : `${zone || 'your zone'}; point at one for UTC.`);
by('who').value = recall(localStorage, WHO_KEY);
by('who').addEventListener('change', () => remember(localStorage, WHO_KEY, by('who').value));
by('token-form').addEventListener('submit', event => {
  event.preventDefault();
  takeToken(by('token').value);
  by('token').value = '';
  openSession();
});
window.addEventListener('hashchange', () => { if (tokenFromAddress()) openSession(); });
setInterval(notice, 1000);
tokenFromAddress();
listen();
