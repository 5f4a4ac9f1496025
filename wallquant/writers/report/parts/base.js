// Data, small helpers and the page's state.
const byId = (id) => document.getElementById(id);
const building = JSON.parse(byId('building').textContent);
const SVG = 'http://www.w3.org/2000/svg';

function svg(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

function node(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

// Children are nodes or texts; texts are never read as markup.
function filled(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined && value !== false) element.setAttribute(key, value === true ? '' : value);
  }
  element.append(...children);
  return element;
}

const last = building.steps.step.length;
// `step` is the number of the step in hand, from 1; last + 1 says that all is laid.
const state = { run: -1, storey: '', step: last + 1, course: 0, piece: -1, place: null, planZoom: 1, elevationZoom: 0, paper: 0 };

const runIndex = new Map(building.runs.map((run, i) => [run.run, i]));
const cornerIndex = new Map(building.corners.map((corner, i) => [corner.corner, i]));
const openingsOf = grouped(building.openings, (opening) => opening.run);
const storeys = storeyNames();
const read = new Map();

function grouped(list, key) {
  const found = new Map();
  for (const one of list) {
    const at = key(one);
    if (found.has(at)) found.get(at).push(one);
    else found.set(at, [one]);
  }
  return found;
}

// Storeys from the lowest up, by the lowest run of each; those without runs come last.
function storeyNames() {
  const lowest = new Map();
  for (const run of building.runs) lowest.set(run.storey, Math.min(run.bottom_mm, lowest.get(run.storey) ?? Infinity));
  for (const wall of building.walls) if (!lowest.has(wall.storey)) lowest.set(wall.storey, Infinity);
  return [...lowest].sort((a, b) => (a[1] === b[1] ? (a[0] < b[0] ? -1 : 1) : a[1] - b[1])).map((pair) => pair[0]);
}

// The pieces of a run: read from its own block when first looked at.
function pieces(index) {
  if (!read.has(index)) {
    const block = JSON.parse(byId(`run-${index}`).textContent);
    block.names = block.names ? block.names.split(' ').map((name) => block.prefix + name) : [];
    block.lintels = new Set(block.lintels);
    read.set(index, block);
  }
  return read.get(index);
}

// Whether what a step lays is laid, laid now or still to come, at the step in hand.
function stateOf(number) {
  return number === state.step && state.step <= last ? 'now' : number > state.step ? 'come' : 'laid';
}

// How many pieces of a run lie once step number `step` is done, and how many of them this step lays.
function progress(run, step) {
  let laid = 0;
  let now = 0;
  run.at.forEach((at, i) => {
    if (at + 1 < step || at < 0) laid += run.counts[i];
    else if (at + 1 === step) now = run.counts[i];
  });
  return { laid, now };
}

// Runs in which each step lays pieces, the one with most pieces first.
const runsOfStep = (() => {
  const found = building.steps.step.map(() => []);
  building.runs.forEach((run, i) => run.at.forEach((at, j) => at >= 0 && found[at].push([run.counts[j], i])));
  return found.map((list) => list.sort((a, b) => b[0] - a[0] || a[1] - b[1]).map((pair) => pair[1]));
})();

// Plan coordinates of a run's station and offset; offsets are positive to the left.
function spot(run, station, offset) {
  const angle = (run.angle_deg * Math.PI) / 180;
  return [
    run.x_mm + station * Math.cos(angle) - offset * Math.sin(angle),
    run.y_mm + station * Math.sin(angle) + offset * Math.cos(angle),
  ];
}

function zoomed(now, how) {
  return how === 'fit' ? 1 : Math.min(12, Math.max(0.5, how === 'in' ? now * 1.4 : now / 1.4));
}

const grouping = (count) => String(count).replace(/\B(?=(\d{3})+$)/g, ',');
const plural = (count, word) => `${grouping(count)} ${word}${count === 1 ? '' : 's'}`;
