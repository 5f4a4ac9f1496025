// The plan of one storey: runs as laid over the walls as drawn, corners, openings, what is set aside.
const planBox = byId('plan');
let planRuns = new Map();
let planStations = null;

function drawStoreys() {
  byId('storeys').replaceChildren(...storeys.map((name) => {
    const button = node('button', { type: 'button', 'aria-pressed': String(name === state.storey) }, name || 'No storey');
    button.addEventListener('click', () => {
      const first = building.runs.findIndex((run) => run.storey === name);
      if (first >= 0) chooseRun(first);
      else showStorey(name);
    });
    return button;
  }));
  byId('storeys').hidden = storeys.length < 2;
}

function showStorey(name) {
  state.storey = name;
  drawStoreys();
  drawCourses();
  drawPlan();
}

// A hole that does not go through the wall.
function isNiche(opening) {
  return [false, 0, 'false', 'no'].includes(opening.through);
}

function outlineOf(run) {
  const half = run.thickness_mm / 2;
  return [spot(run, run.lo, half), spot(run, run.hi, half), spot(run, run.hi, -half), spot(run, run.lo, -half)];
}

function drawPlan() {
  const runs = building.runs.map((run, i) => [run, i]).filter(([run]) => run.storey === state.storey);
  const walls = building.walls.filter((wall) => wall.storey === state.storey && wall.outline.length > 2);
  const points = [...runs.flatMap(([run]) => outlineOf(run)), ...walls.flatMap((wall) => wall.outline)];
  planRuns = new Map();
  planStations = null;
  stones = [];
  if (!points.length) {
    planBox.replaceChildren(node('p', {}, 'Nothing of this storey can be drawn.'));
    return;
  }
  const [x0, x1] = extent(points.map((point) => point[0]));
  const [y0, y1] = extent(points.map((point) => point[1]));
  const room = 46;
  const wide = Math.max(state.paper || planBox.clientWidth, 280) - 2 * room;
  const high = Math.max(260, Math.min(wide * 0.75, 430)) - 2 * room;
  const scale = Math.min(wide / Math.max(x1 - x0, 1), high / Math.max(y1 - y0, 1)) * (state.paper ? 1 : state.planZoom);
  const at = ([x, y]) => [room + (x - x0) * scale, room + (y1 - y) * scale];
  const shape = (list) => list.map((point) => at(point).map((v) => v.toFixed(1)).join(',')).join(' ');
  const width = (x1 - x0) * scale + 2 * room;
  const height = (y1 - y0) * scale + 2 * room;
  const picture = svg('svg', { class: [scale * 200 < 5 && 'far', state.course && 'by-course'].filter(Boolean).join(' '), width, height, viewBox: `0 0 ${width.toFixed(1)} ${height.toFixed(1)}` }, hatch('plan-hatch'));
  const taken = [];
  planStations = (run, start, end) => {
    const half = run.thickness_mm / 2;
    const box = [[start, half], [end, half], [end, -half], [start, -half]].map(([s, o]) => at(spot(run, s, o)).map((v) => v.toFixed(1)).join(' '));
    return `M${box.join('L')}Z`;
  };
  for (const wall of walls) {
    const aside = !wall.laid;
    const says = `${wall.name || wall.guid}${aside ? ', set aside: ' : wall.reasons.length ? ', partly set aside: ' : ''}${wall.reasons.join('; ')}`;
    const there = state.place && state.place.wall === wall.guid ? ' there' : '';
    picture.append(svg('polygon', { class: `drawn${aside ? ' aside' : ''}${there}`, points: shape(wall.outline) }, svg('title', {}, says)));
  }
  const labels = svg('g', { class: 'labels' });
  for (const [run, index] of runs) {
    const grip = Math.min(Math.max(1.25 * run.thickness_mm, 5 / scale), 15 / scale);
    const group = svg('g', { class: 'run', tabindex: index === state.run ? 0 : -1, role: 'button', 'data-run': run.run });
    group.append(svg('polygon', { class: 'body', points: shape(outlineOf(run)) }), svg('path', { class: 'step' }));
    for (const opening of openingsOf.get(run.run) ?? []) {
      if (isNiche(opening)) continue;
      const half = run.thickness_mm / 2;
      const hole = [[opening.start_mm, half], [opening.end_mm, half], [opening.end_mm, -half], [opening.start_mm, -half]];
      group.append(svg('polygon', { class: 'hole', points: shape(hole.map(([s, o]) => spot(run, s, o))) }));
    }
    if (state.course) group.append(...courseStones(run, index, shape));
    group.append(svg('polygon', { class: 'touch', points: shape(outlineOf({ ...run, thickness_mm: 2 * grip })) }));
    group.addEventListener('click', () => chooseRun(index));
    planRuns.set(index, group);
    picture.append(group);
    if (index !== state.run && (run.hi - run.lo) * scale < 30) continue;
    const [x, y] = at(spot(run, (run.lo + run.hi) / 2, 0));
    const turn = Math.abs(Math.sin((run.angle_deg * Math.PI) / 180)) > 0.7;
    const gap = grip * scale + 12;
    label(labels, taken, run.run, turn ? x - gap : x, turn ? y : y + gap, turn ? 'end' : 'middle', 'run-name', index === state.run);
  }
  drawCorners(picture, labels, taken, at, scale, [width / 2, height / 2], new Set(runs.map(([run]) => run.run)));
  picture.append(labels);
  planBox.replaceChildren(picture);
  paintPlan();
}

function drawCorners(picture, labels, taken, at, scale, middle, here) {
  for (const corner of building.corners) {
    const runs = corner.runs.split(' ');
    const own = runs.filter((name) => here.has(name)).map((name) => building.runs[runIndex.get(name)]);
    if (own.length < 2 && !own.some((run) => run.start_corner === corner.corner || run.end_corner === corner.corner)) continue;
    const [x, y] = at([corner.x_mm, corner.y_mm]);
    const there = state.place && state.place.corner === corner.corner;
    const says = corner.kind === 'end' ? `${corner.corner}, free end of ${corner.runs}` : `${corner.corner}, ${corner.kind} corner of ${runs.join(' and ')}`;
    const r = there ? 11 : state.course ? 3.5 : Math.max(2, Math.min(corner.kind === 'end' ? 4 : 6, 100 * scale));
    if (!there && 100 * scale < 3.5) continue;
    const mark = corner.kind === 'end'
      ? svg('rect', { x: x - r, y: y - r, width: 2 * r, height: 2 * r, class: there ? 'corner there' : 'corner' })
      : svg('circle', { cx: x, cy: y, r, class: there ? 'corner there' : 'corner' });
    mark.append(svg('title', {}, says));
    picture.append(mark);
    const name = corner.kind === 'end' ? corner.corner : `${corner.corner} ${corner.kind}`;
    const right = x > middle[0];
    label(labels, taken, name, x + (right ? 10 : -10), y + (y > middle[1] ? 17 : -17), right ? 'start' : 'end', 'corner-name', there);
  }
}

// A label is left out where it would lie on another, unless it must be seen.
function label(into, taken, text, x, y, anchor, name, must) {
  const wide = text.length * 8.5;
  const left = anchor === 'middle' ? x - wide / 2 : anchor === 'end' ? x - wide : x;
  const box = [left, y - 8, left + wide, y + 8];
  if (!must && taken.some((o) => box[0] < o[2] && o[0] < box[2] && box[1] < o[3] && o[1] < box[3])) return;
  taken.push(box);
  into.append(svg('text', { x, y, 'text-anchor': anchor, 'dominant-baseline': 'central', class: must ? `${name} must` : name }, text));
}

// Fill each run as far as it is laid.
function paintPlan() {
  paintStones();
  for (const [index, group] of planRuns) {
    const run = building.runs[index];
    const { laid, now } = progress(run, state.step);
    const words = state.step > last ? 'laid' : now ? 'now' : laid === 0 ? 'come' : laid === run.pieces ? 'laid' : 'part';
    group.setAttribute('class', `run ${words}${index === state.run ? ' chosen' : ''}`);
    group.querySelector('.step').setAttribute('d', now ? stretches(index).map(([start, end]) => planStations(run, start, end)).join('') : '');
    group.setAttribute('tabindex', index === state.run ? 0 : -1);
    group.setAttribute('aria-pressed', String(index === state.run));
    group.setAttribute('aria-label', `Run ${run.run}, ${length(run.length_mm)}, ${laid + now} of ${plural(run.pieces, 'piece')} laid`);
  }
}

// Where in the run this step lays: stations from and to, neighbours as one.
function stretches(index) {
  const block = pieces(index);
  const found = [];
  block.t.map((step, i) => [step, block.s[i], block.e[i]]).filter(([step]) => step + 1 === state.step).sort((a, b) => a[1] - b[1]).forEach(([, start, end]) => {
    const before = found[found.length - 1];
    if (before && start - before[1] < 20) before[1] = Math.max(before[1], end);
    else found.push([start, end]);
  });
  return found;
}

function extent(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}

function hatch(id) {
  return svg('defs', {}, svg('pattern', { id, width: 7, height: 7, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' },
    svg('rect', { width: 7, height: 7, class: 'hatch-ground' }), svg('line', { x1: 0, y1: 0, x2: 0, y2: 7, class: 'hatch-line' })));
}

planBox.addEventListener('keydown', (event) => {
  if (event.key === 'Enter' || event.key === ' ') {
    event.preventDefault();
    return;
  }
  const way = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  if (!way || !planRuns.size) return;
  event.preventDefault();
  const list = [...planRuns.keys()];
  chooseRun(list[(list.indexOf(state.run) + way + list.length) % list.length]);
  planRuns.get(state.run).focus();
});
