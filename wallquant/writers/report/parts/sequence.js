// Stepping through the sequence: what is laid, what comes now and why, day by day.
const steps = building.steps;
const reasonsOf = grouped(building.why.then.map((then, i) => [then, i]), (pair) => pair[0]);
let playing = 0;

function goStep(step, follow = true) {
  state.step = Math.min(Math.max(step, 1), last + 1);
  if (state.course && steps.course[state.step - 1]) {
    state.course = steps.course[state.step - 1];
    byId('course').value = state.course;
    drawPlan();
  }
  const runs = state.step <= last ? runsOfStep[state.step - 1] : [];
  const named = state.step <= last ? runIndex.get(steps.run[state.step - 1]) : undefined;
  const to = runs.includes(state.run) ? state.run : named ?? runs[0];
  if (follow && to !== undefined && to !== state.run) chooseRun(to);
  else {
    paintPlan();
    paintElevation();
  }
  tellStep();
  if (follow && to !== undefined) showStep();
}

// Bring the pieces of this step into the elevation's view.
function showStep() {
  const now = drawnPieces.filter((body) => body.dataset.state === 'now');
  if (now.length) showPiece(now[Math.floor(now.length / 2)]);
}

function tellStep() {
  const i = state.step - 1;
  const done = state.step > last;
  byId('step-at').value = state.step;
  byId('step-at').setAttribute('aria-valuetext', done ? 'all laid' : `step ${state.step} of ${last}`);
  byId('step-day').value = done ? '' : String(steps.day[i]);
  byId('step-short').textContent = `${Math.min(state.step, last)} / ${last}`;
  byId('step-all').setAttribute('aria-pressed', String(done));
  byId('step-say').textContent = done ? '' : spoken(steps.text[i]);
  byId('step-count').textContent = done ? 'All laid' : `Step ${state.step} of ${last}`;
  byId('step-text').textContent = done ? (last ? `${plural(last, 'step')}. Press Start to begin at the first.` : 'This plan has no steps.') : spoken(steps.text[i]);
  byId('step-when').textContent = done ? '' : `${clock(steps.start_h[i])} · takes ${hours(steps.end_h[i] - steps.start_h[i])}${steps.crew[i] === '' || steps.crew[i] === null ? '' : ` · crew ${steps.crew[i]}`}`;
  byId('step-why').replaceChildren(...(done ? [] : whyNow(i)));
  byId('step-then').replaceChildren(...thenComes(done ? 0 : state.step));
  byId('step-after').textContent = done ? 'Start ›' : state.step === last ? 'Finish ›' : 'Next ›';
  byId('step-before').disabled = state.step === 1 || !last;
  byId('step-after').disabled = !last;
  byId('step-play').disabled = !last;
}

// The next steps, to prepare for.
function thenComes(from) {
  const list = steps.text.slice(from, from + 2).map(spoken);
  if (!list.length) return [];
  const buttons = list.map((text, k) => node('li', {}, node('button', { type: 'button', 'data-step': from + k + 1 }, `${from + k + 1}. ${text}`)));
  return [node('h4', {}, from ? 'Then' : 'First'), node('ol', { class: 'then' }, ...buttons)];
}

// One line a reason, with the steps that had to come before.
function whyNow(i) {
  const rows = (reasonsOf.get(i) ?? []).map((pair) => pair[1]);
  if (!rows.length) return [node('h4', {}, 'Why now'), node('p', {}, 'Nothing has to come before it.')];
  const { first, lag_h: lags, reason, rule, reasons, rules } = building.why;
  const lines = [...grouped(rows, (row) => `${reason[row]} ${lags[row]} ${rule[row]}`).values()].map((list) => {
    const row = list[0];
    const before = list.map((one) => first[one]).sort((a, b) => (b < a ? -1 : 1));
    const names = before.slice(0, 4).reverse().map((one) => (typeof one === 'number' ? String(one + 1) : one)).join(', ').replace(/, ([^,]*)$/, before.length > 4 ? ', $1' : ' and $1');
    const more = before.length > 4 ? ` and ${before.length - 4} more` : '';
    const wait = lags[row] ? `, and then ${hours(lags[row])}` : '';
    return node('li', {}, `${spoken(reasons[reason[row]])} `, node('span', { class: 'more' }, `After step${before.length > 1 ? 's' : ''} ${names}${more}${wait}${rules[rule[row]] ? ` (${rules[rule[row]]})` : ''}`));
  });
  return [node('h4', {}, 'Why now'), node('ul', { class: 'why' }, ...lines)];
}

function play(on) {
  clearInterval(playing);
  playing = 0;
  if (on) {
    if (state.step > last) goStep(1);
    playing = setInterval(() => {
      if (state.step >= last) play(false);
      goStep(state.step + 1);
    }, 1400);
  }
  byId('step-play').textContent = on ? 'Stop' : 'Play';
  byId('step-play').setAttribute('aria-pressed', String(on));
  byId('step-text').setAttribute('aria-live', on ? 'off' : 'polite');
}

byId('step-before').addEventListener('click', () => { play(false); goStep(state.step - 1); });
byId('step-after').addEventListener('click', () => { play(false); goStep(state.step > last ? 1 : state.step + 1); });
byId('step-all').addEventListener('click', () => { play(false); goStep(last + 1, false); });
byId('step-play').addEventListener('click', () => play(!playing));
byId('step-at').addEventListener('input', (event) => { play(false); goStep(Number(event.target.value)); });

// The first step of each day; what is chosen is where the sequence stands.
function listDays() {
  const first = new Map();
  steps.day.forEach((day, i) => { if (!first.has(day)) first.set(day, i + 1); });
  const days = [...first].sort((a, b) => a[1] - b[1]).map(([day]) => node('option', { value: day }, dayName(day)));
  byId('step-day').replaceChildren(node('option', { value: '' }, 'Day …'), ...days);
  byId('step-day').disabled = !last;
  byId('step-day').addEventListener('change', (event) => {
    play(false);
    goStep(event.target.value ? first.get(Number(event.target.value)) : last + 1, event.target.value !== '');
  });
}

// Days are folded; a day's steps are made when it is opened.
function drawDays() {
  const days = grouped(steps.day.map((day, i) => [day, i]), (pair) => pair[0]);
  byId('day-list').replaceChildren(...[...days].map(([day, pairs], n) => {
    const list = node('ol', { class: 'steps', start: pairs[0][1] + 1 });
    const fold = node('details', {}, node('summary', {}, `${dayName(day)}: ${plural(pairs.length, 'step')}`), list);
    const fill = () => {
      if (!fold.open || list.children.length) return;
      list.append(...pairs.map(([, i]) => {
        const button = node('button', { type: 'button', 'data-step': i + 1 }, node('b', {}, String(i + 1)), node('span', {}, spoken(steps.text[i])), node('i', {}, hours(steps.end_h[i] - steps.start_h[i])));
        return node('li', { value: i + 1 }, button);
      }));
    };
    fold.addEventListener('toggle', fill);
    fold.fill = fill;
    if (n === 0 && pairs.length <= 60) {
      fold.open = true;
      fill();
    }
    return fold;
  }));
  if (!last) byId('day-list').replaceChildren(node('p', {}, 'This plan has no steps.'));
}

for (const [id, leave] of [['day-list', true], ['step-then', false]]) {
  byId(id).addEventListener('click', (event) => {
    const button = event.target.closest('button[data-step]');
    if (!button) return;
    play(false);
    goStep(Number(button.dataset.step));
    if (leave) byId('drawings').scrollIntoView();
    else byId('step-after').focus({ preventScroll: true });
  });
}
