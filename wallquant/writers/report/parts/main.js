// Choosing runs and places, and starting up.
const runBox = byId('run');

function chooseRun(index) {
  if (index === undefined || !building.runs[index]) return;
  const run = building.runs[index];
  const changed = index !== state.run;
  const other = run.storey !== state.storey;
  if (changed) state.piece = -1;
  state.run = index;
  state.storey = run.storey;
  runBox.selectedIndex = index;
  if (other) {
    drawStoreys();
    drawCourses();
  }
  drawPlan();
  drawElevation();
  if (changed) wallBox.parentNode.scrollLeft = 0;
  if (changed) byId('piece').replaceChildren(node('p', {}, 'Touch a piece, or go to it with the arrow keys, to see what it is.'));
}

// Go to where a finding is: its piece, run, opening, corner or wall.
function showPlace(place, button) {
  state.place = place;
  const opening = place.opening ? building.openings.find((one) => one.opening === place.opening && (!place.run || one.run === place.run)) : undefined;
  const corner = place.corner ? building.corners[cornerIndex.get(place.corner)] : undefined;
  const wall = place.wall ? building.walls.find((one) => one.guid === place.wall) : undefined;
  const index = [place.run, opening?.run, runOfPiece(place.piece), corner?.runs.split(' ')[0], wall?.runs[0]].map((name) => runIndex.get(name)).find((one) => one !== undefined);
  if (index !== undefined) chooseRun(index);
  else if (wall) showStorey(wall.storey);
  const piece = index === undefined ? -1 : pieces(index).names.indexOf(place.piece);
  const inPlan = piece < 0 && !opening && place.start_mm === undefined && (corner || index === undefined);
  tellPlace(byId(inPlan ? 'plan-pane' : 'elevation-pane'), button);
  if (piece >= 0) {
    choosePiece(piece, true);
    showPiece(drawnPieces[piece]);
    return;
  }
  const mark = wallBox.querySelector('.place, .opening.there');
  if (mark && !inPlan) showPiece(mark);
  (inPlan ? planRuns.get(state.run) : wallBox)?.focus({ preventScroll: true });
}

// Say over the drawing what it shows, with the way back to the list.
function tellPlace(pane, button) {
  document.querySelectorAll('.place-text').forEach((old) => old.remove());
  const back = node('button', { type: 'button' }, 'Back to findings');
  const told = node('div', { class: 'place-text', role: 'status' }, node('p', {}, spoken(button.dataset.text)), back);
  back.addEventListener('click', () => {
    state.place = null;
    told.remove();
    drawPlan();
    drawElevation();
    button.focus();
    button.scrollIntoView({ block: 'center' });
  });
  pane.prepend(told);
  pane.scrollIntoView({ block: 'start' });
}

function runOfPiece(name) {
  if (!name) return undefined;
  return building.runs.find((_, i) => pieces(i).names.includes(name))?.run;
}

// Go to the piece, run, corner or opening of that name; a piece may be written without zeros and dashes, like r3 c5 7.
function findMark(said) {
  const plain = (text) => text.toLowerCase().replace(/[^a-z0-9]+/g, '-').replace(/(^|[^0-9])0+(?=[0-9])/g, '$1').replace(/^-|-$/g, '');
  const wanted = plain(said);
  const named = (list, key) => list.find((one) => plain(String(one[key])) === wanted);
  const found = byId('found');
  found.textContent = '';
  if (!wanted) return;
  const has = (i) => pieces(i).names.some((name) => plain(name) === wanted);
  const likely = building.runs.findIndex((run, i) => wanted.startsWith(`${plain(run.run)}-`) && has(i));
  const index = likely < 0 ? building.runs.findIndex((_, i) => has(i)) : likely; // a name is kept where a piece is of another run now
  const piece = index < 0 ? -1 : pieces(index).names.findIndex((name) => plain(name) === wanted);
  if (piece >= 0) {
    chooseRun(index);
    choosePiece(piece, true);
    showPiece(drawnPieces[piece]);
    found.textContent = `${pieces(index).names[piece]} is shown.`;
    return;
  }
  const [run, corner, opening] = [named(building.runs, 'run'), named(building.corners, 'corner'), named(building.openings, 'opening')];
  const at = runIndex.get(run?.run ?? corner?.runs.split(' ')[0] ?? opening?.run);
  if (at === undefined) {
    found.textContent = `No piece, run, corner or opening is called ${said}. Pieces are called like ${building.runs.length ? pieces(0).names[0] ?? 'R1-C01-01' : 'R1-C01-01'}.`;
    return;
  }
  chooseRun(at);
  found.textContent = `${run ? 'Run' : corner ? 'Corner' : 'Opening'} ${run?.run ?? corner?.corner ?? opening.opening} is in run ${building.runs[at].run}, which is shown.`;
}

byId('find-mark').addEventListener('click', () => findMark(byId('mark').value));
byId('mark').addEventListener('keydown', (event) => { if (event.key === 'Enter') findMark(byId('mark').value); });
runBox.addEventListener('change', () => chooseRun(runBox.selectedIndex));
byId('run-before').addEventListener('click', () => chooseRun((state.run - 1 + building.runs.length) % building.runs.length));
byId('run-after').addEventListener('click', () => chooseRun((state.run + 1) % building.runs.length));

document.querySelectorAll('[data-plan]').forEach((button) => button.addEventListener('click', () => {
  state.planZoom = zoomed(state.planZoom, button.dataset.plan);
  drawPlan();
}));
document.querySelectorAll('[data-elevation]').forEach((button) => button.addEventListener('click', () => {
  state.elevationZoom = zoomed(state.elevationNow ?? 1, button.dataset.elevation);
  drawElevation();
}));
document.querySelectorAll('.goto').forEach((button) => button.addEventListener('click', () => showPlace(JSON.parse(button.dataset.place), button)));
document.querySelectorAll('#finding-filter button').forEach((button) => button.addEventListener('click', () => {
  document.querySelectorAll('#finding-filter button').forEach((one) => one.setAttribute('aria-pressed', String(one === button)));
  document.querySelectorAll('.findings > li').forEach((line) => { line.hidden = Boolean(button.dataset.show) && line.dataset.severity !== button.dataset.show; });
}));

let width = window.innerWidth;
let waiting = 0;
window.addEventListener('resize', () => {
  if (window.innerWidth === width) return;
  width = window.innerWidth;
  clearTimeout(waiting);
  waiting = setTimeout(() => { drawPlan(); drawElevation(); }, 120);
});

// On paper nothing stays folded, and the drawings are as wide as a portrait sheet.
window.addEventListener('beforeprint', () => {
  document.querySelectorAll('details').forEach((fold) => {
    fold.open = true;
    if (fold.fill) fold.fill();
  });
  document.querySelectorAll('.rest').forEach((button) => button.click());
  state.paper = 660;
  drawPlan();
  drawElevation();
});
window.addEventListener('afterprint', () => {
  state.paper = 0;
  drawPlan();
  drawElevation();
});

const longest = building.runs.reduce((best, run, i) => (run.storey === storeys[0] && (best < 0 || run.length_mm > building.runs[best].length_mm) ? i : best), -1);
state.storey = storeys[0] ?? '';
drawStoreys();
drawCourses();
if (longest >= 0) chooseRun(longest);
else {
  drawPlan();
  drawElevation();
  runBox.disabled = byId('run-before').disabled = byId('run-after').disabled = true;
}
listDays();
tellStep();
drawDays();
drawSaw();
