// The elevation of the chosen run, piece by piece, with its course pole and stations.
const wallBox = byId('elevation');
let drawnPieces = [];

const KINDS = {
  standard: 'standard unit',
  core: 'core unit',
  U: 'U unit',
  lintel: 'lintel',
};

function kindOf(block, i) {
  return block.lintels.has(i) ? 'lintel' : building.units[block.u[i]]?.kind ?? 'standard';
}

function cutOf(block, i) {
  const cut = building.cuts[block.k[i]] ?? '';
  return cut === 'notch' ? '' : cut; // a notch leaves a whole unit
}

// How a thing that is built in is drawn: what fills, what is a bar, what stands at a place, what is left open.
function itemLook(kind) {
  if (kind.endsWith('fill') && kind !== 'fill') return 'filled';
  if (kind === 'bar' || kind.endsWith(' bar')) return 'steel';
  return ['gap', 'movement joint', 'fill'].includes(kind) ? 'left' : 'spot';
}

// Patterns in a unit of the drawing's own pixels, so that they stay readable at each size.
function patterns() {
  const tile = (id, size, ...marks) => svg('pattern', { id, width: size, height: size, patternUnits: 'userSpaceOnUse' }, ...marks);
  return svg('defs', {},
    tile('pattern-core', 12, svg('circle', { cx: 6, cy: 6, r: 2.6, class: 'mark-line' })),
    tile('pattern-U', 14, svg('path', { d: 'M3 3v5a2 2 0 0 0 2 2h4a2 2 0 0 0 2-2v-5', class: 'mark-line' })),
    tile('pattern-lintel', 6, svg('path', { d: 'M0 3h6', class: 'mark-line' })),
    tile('pattern-cut', 9, svg('path', { d: 'M-1 10L10 -1M-1 1L1 -1M8 10L10 8', class: 'mark-line' })));
}

function frameOf(run, block) {
  const bottoms = block.levels.map((pair) => pair[0]);
  const tops = block.levels.map((pair) => pair[1]);
  const openings = openingsOf.get(run.run) ?? [];
  const low = Math.min(run.bottom_mm, ...bottoms);
  const high = Math.max(low + 1, ...tops, ...run.top.filter((_, i) => i % 2), ...openings.map((o) => o.head_mm));
  const heights = tops.map((top, i) => top - bottoms[i]).sort((a, b) => a - b);
  const course = heights[Math.floor(heights.length / 2)] || 200;
  const wide = Math.max((state.paper || wallBox.parentNode.clientWidth) - poleWidth() - 46, 200);
  const fit = Math.min(wide / Math.max(run.hi - run.lo, 1), 520 / (high - low));
  const easy = Math.min(28 / course, 620 / (high - low));
  const scale = fit * (state.paper ? 1 : state.elevationZoom || (easy > 1.3 * fit ? easy / fit : 1));
  state.elevationNow = scale / fit;
  const left = 22;
  const above = 18;
  return {
    run, scale, low, high, left, above,
    x: (station) => left + (station - run.lo) * scale,
    y: (level) => above + (high - level) * scale,
    width: (run.hi - run.lo) * scale + 2 * left,
    height: (high - low) * scale + above + 46,
  };
}

function drawElevation() {
  const run = building.runs[state.run];
  if (!run) {
    wallBox.replaceChildren(node('p', {}, 'No run is laid in this plan.'));
    drawnPieces = [];
    return;
  }
  const block = pieces(state.run);
  const frame = frameOf(run, block);
  const { x, y, width, height } = frame;
  const picture = svg('svg', { width, height, viewBox: `0 0 ${width.toFixed(1)} ${height.toFixed(1)}` }, patterns());
  const ground = y(run.bottom_mm);
  picture.append(svg('path', { class: 'ground', d: `M0 ${ground}H${width}` }));
  drawOpenings(picture, frame);
  const bodies = svg('g', { class: 'pieces' });
  const texts = svg('g', { class: 'sizes', 'aria-hidden': 'true' });
  const chosen = state.piece >= 0 ? state.piece : 0;
  drawnPieces = block.names.map((name, i) => {
    const body = pieceBody(block, i, frame, name);
    body.setAttribute('tabindex', i === chosen ? 0 : -1);
    bodies.append(body);
    if (cutOf(block, i)) sizeText(texts, block, i, frame);
    return body;
  });
  picture.append(bodies, texts);
  drawItems(picture, block, frame);
  drawStations(picture, frame);
  drawPlace(picture, block, frame);
  wallBox.replaceChildren(picture);
  drawPole(block, frame);
  drawKey(block);
  const size = `${length(run.length_mm)} long, ${length(run.thickness_mm)} thick, ${plural(run.pieces, 'piece')}, ${plural(run.cuts, 'cut')}`;
  byId('run-text').textContent = `${size}. ${stationZero(run)}`;
  paintElevation();
}

function pieceBody(block, i, frame, name) {
  const { x, y, scale } = frame;
  const [bottom, top] = block.levels[block.l[i]];
  const rings = block.shape[i];
  const outline = rings
    ? { d: rings.map((ring) => ring.map((v, j) => (j % 2 ? y(v).toFixed(2) : (j ? 'L' : 'M') + x(v).toFixed(2))).join(' ') + 'Z').join('') }
    : { x: x(block.s[i]).toFixed(2), y: y(top).toFixed(2), width: ((block.e[i] - block.s[i]) * scale).toFixed(2), height: ((top - bottom) * scale).toFixed(2) };
  const shape = rings ? 'path' : 'rect';
  const kind = kindOf(block, i);
  const group = svg('g', { class: 'piece', role: 'img', 'data-i': i, 'data-kind': kind, 'aria-label': name });
  group.append(svg(shape, { ...outline, class: `body ${kind}${cutOf(block, i) ? ' cut' : ''}` }));
  if (cutOf(block, i)) group.append(svg(shape, { ...outline, class: 'over', fill: 'url(#pattern-cut)' }));
  if (kind !== 'standard') group.append(svg(shape, { ...outline, class: 'over', fill: `url(#pattern-${kind})` }));
  return group;
}

// The size that the saw needs, where there is room to read it.
function sizeText(into, block, i, { x, y, scale }) {
  const [bottom, top] = block.levels[block.l[i]];
  const cut = cutOf(block, i);
  const text = cut.includes('height') && !cut.includes('length') ? `↕${saw(top - bottom)}` : saw(block.e[i] - block.s[i]);
  const wide = (block.e[i] - block.s[i]) * scale;
  const high = (top - bottom) * scale;
  const need = text.length * 7.4 + 6;
  const at = { x: x((block.s[i] + block.e[i]) / 2).toFixed(1), y: y((bottom + top) / 2).toFixed(1) };
  if (wide >= need && high >= 15) into.append(svg('text', at, text));
  else if (high >= need && wide >= 15) into.append(svg('text', { ...at, transform: `rotate(-90 ${at.x} ${at.y})` }, text));
}

function drawOpenings(picture, { run, x, y, scale }) {
  for (const opening of openingsOf.get(run.run) ?? []) {
    const box = [x(opening.start_mm), y(opening.head_mm), x(opening.end_mm), y(opening.sill_mm)];
    const there = state.place && state.place.opening === opening.opening;
    const sides = [opening.end_mm - opening.start_mm, opening.head_mm - (opening.open_over_mm || 0) - opening.sill_mm];
    const size = sides.map(length).join(' × ');
    const what = isNiche(opening) ? 'niche' : opening.filling || 'opening';
    const left = opening.open_over_mm ? ['open above it:', 'close by hand'] : [];
    picture.append(svg('g', { class: `opening${there ? ' there' : ''}` },
      svg('rect', { x: box[0], y: box[1], width: box[2] - box[0], height: box[3] - box[1] }),
      svg('path', { d: `M${box[0]} ${box[1]}L${box[2]} ${box[3]}M${box[0]} ${box[3]}L${box[2]} ${box[1]}` }),
      ...openingText([what, `${short(sides[0])} ×`, short(sides[1]), ...left], box),
      svg('title', {}, `${what}, ${size}, ${opening.bridged === 'none' ? 'not bridged' : `bridged by ${opening.bridged}`}${left.length ? `, ${left.join(' ')}` : ''}`)));
  }
}

function openingText(lines, box) {
  const x = (box[0] + box[2]) / 2;
  const y = (box[1] + box[3]) / 2;
  return lines.filter((line) => line.length * 9 < box[2] - box[0]).map((line, i) => svg('text', { x, y: y + i * 19 - 19 }, line));
}

function drawItems(picture, block, { x, y }) {
  const items = block.items;
  items.kind.forEach((kind, i) => {
    const [s, e, b, t] = [items.start_mm[i], items.end_mm[i], items.bottom_mm[i], items.top_mm[i]];
    if (s === null || b === null || s === '' || b === '') return;
    const look = itemLook(kind);
    const size = look === 'filled' && e === s ? items.size_mm[i] || 0 : 0; // a core is as wide as its bore
    const least = look === 'spot' ? 5 : 2.5;
    const [wide, high] = [Math.max(x((e ?? s) + size) - x(s), least), Math.max(y(b) - y(t ?? b), least)];
    const box = { x: x((s + (e ?? s)) / 2) - wide / 2, y: (y(b) + y(t ?? b)) / 2 - high / 2, width: wide, height: high };
    picture.append(svg('g', { class: `item ${look}`, 'data-kind': kind }, svg('rect', box), svg('title', {}, kind)));
  });
}

// From where stations count, and where the sheets for the wall hold the tape instead.
function stationZero(run) {
  const first = building.corners.find((corner) => corner.corner === run.start_corner);
  const zero = first?.kind === 'end' ? `the drawn end face at ${run.start_corner}` : `the middle of corner ${run.start_corner}`;
  if (Math.abs(run.lo) < 0.05) return `Stations count from ${zero}; so do the sheets.`;
  const way = run.lo < 0 ? 'before' : 'after';
  return `Stations count from ${zero}; the sheets measure from the end face as laid, ${length(Math.abs(run.lo))} ${way} it.`;
}

// Stations below the wall, and where its corners are.
function drawStations(picture, { run, x, y, low, scale }) {
  const foot = y(low);
  const tape = building.unit === 'in' ? [304.8, 609.6, 1219.2, 2438.4, 4876.8] : [500, 1000, 2000, 5000, 10000];
  const step = tape.find((size) => size * scale >= 64) ?? tape[tape.length - 1];
  const group = svg('g', { class: 'stations', 'aria-hidden': 'true' });
  for (let k = Math.ceil(run.lo / step - 1e-9); k * step <= run.hi + 1e-6; k += 1) {
    const at = x(k * step);
    group.append(svg('path', { d: `M${at} ${foot + 3}v8` }), svg('text', { x: at, y: foot + 22 }, short(k * step)));
  }
  for (const corner of building.corners) {
    if (!corner.runs.split(' ').includes(run.run)) continue;
    const angle = (run.angle_deg * Math.PI) / 180;
    const station = (corner.x_mm - run.x_mm) * Math.cos(angle) + (corner.y_mm - run.y_mm) * Math.sin(angle);
    const name = corner.kind === 'end' ? corner.corner : `${corner.corner} ${corner.kind}`;
    group.append(svg('path', { class: 'at', d: `M${x(station)} ${foot + 2}l5 9h-10z` }), svg('text', { class: 'at', x: x(station), y: foot + 39 }, name));
  }
  picture.append(group);
}

// Where the chosen finding is, if it names a stretch of this run.
function drawPlace(picture, block, { run, x, y, low, high }) {
  const place = state.place;
  if (!place || place.run !== run.run || place.start_mm === undefined) return;
  const at = block.courses.course.indexOf(place.course);
  const levels = at >= 0 ? [block.courses.bottom_mm[at], block.courses.top_mm[at]] : place.level_mm !== undefined ? [place.level_mm, place.level_mm] : [low, high];
  const end = place.end_mm ?? place.start_mm;
  picture.append(svg('rect', { class: 'place', x: x(place.start_mm) - 4, y: y(levels[1]) - 4, width: x(end) - x(place.start_mm) + 8, height: y(levels[0]) - y(levels[1]) + 8 }));
}

function poleWidth() {
  return building.unit === 'in' ? 132 : 96;
}

// Course numbers and the height of each course's top over the underside of the run: what a marked pole shows.
function drawPole(block, { run, y, height }) {
  const wide = poleWidth();
  const pole = svg('svg', { width: wide, height, viewBox: `0 0 ${wide} ${height.toFixed(1)}` });
  const { course, bottom_mm: bottoms, top_mm } = block.courses;
  const crown = block.levels.reduce((most, pair) => Math.max(most, pair[1]), run.bottom_mm); // the last course may be ripped, and ends there
  const tops = top_mm.map((top) => Math.min(top, crown));
  let free = Infinity;
  course.forEach((number, i) => {
    const [low, high] = [y(bottoms[i]), y(tops[i])];
    pole.append(svg('rect', { class: i % 2 ? 'band' : 'band odd', x: wide - 14, y: high, width: 14, height: Math.max(low - high, 0.5) }));
    if ((low + high) / 2 > free - 16) return;
    free = (low + high) / 2;
    pole.append(svg('text', { class: 'course', x: 4, y: free }, String(number)), svg('text', { class: 'level', x: wide - 20, y: free }, short(tops[i] - run.bottom_mm)));
  });
  pole.append(svg('text', { class: 'foot', x: 4, y: y(run.bottom_mm) + 16 }, 'course, its top'), svg('text', { class: 'foot', x: 4, y: y(run.bottom_mm) + 32 }, 'over underside'));
  byId('pole').replaceChildren(pole);
}

function drawKey(block) {
  const used = new Set(block.names.map((_, i) => kindOf(block, i)));
  const swatch = (body, fill) => svg('svg', { width: 44, height: 24, class: 'swatch' }, svg('rect', { x: 1, y: 1, width: 42, height: 22, class: `body ${body}` }), svg('rect', { x: 1, y: 1, width: 42, height: 22, class: 'over', fill }));
  const entries = Object.keys(KINDS).filter((kind) => used.has(kind)).map((kind) => node('li', {}, swatch(kind, kind === 'standard' ? 'none' : `url(#pattern-${kind})`), KINDS[kind]));
  if (block.k.some((code) => building.cuts[code])) entries.push(node('li', {}, swatch('cut', 'url(#pattern-cut)'), `cut piece, with its size in ${building.unit === 'in' ? 'inches' : 'mm'}`));
  entries.push(node('li', {}, swatch('now', 'none'), 'this step'), node('li', {}, swatch('come', 'none'), 'still to come'));
  const looks = { steel: { x: 4, y: 11, width: 36, height: 3 }, filled: { x: 4, y: 4, width: 36, height: 16 }, spot: { x: 19, y: 9, width: 6, height: 6 }, left: { x: 4, y: 4, width: 36, height: 16 } };
  for (const [look, box] of Object.entries(looks)) {
    const kinds = [...new Set(block.items.kind.filter((kind) => itemLook(kind) === look))].sort();
    if (kinds.length) entries.push(node('li', {}, svg('svg', { width: 44, height: 24, class: `swatch item ${look}` }, svg('rect', box)), kinds.join(', ')));
  }
  byId('elevation-key').replaceChildren(...entries);
}

// Show each piece as laid, in this step, or still to come.
function paintElevation() {
  if (!building.runs[state.run]) return;
  const block = pieces(state.run);
  drawnPieces.forEach((body, i) => {
    const words = stateOf(block.t[i] + 1);
    if (body.dataset.state !== words) body.dataset.state = words;
  });
}
