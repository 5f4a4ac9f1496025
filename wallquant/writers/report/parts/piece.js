// What the chosen piece is, and walking from piece to piece.
function choosePiece(i, focus) {
  const block = pieces(state.run);
  const before = drawnPieces[state.piece >= 0 ? state.piece : 0];
  if (before) {
    before.setAttribute('tabindex', -1);
    before.classList.remove('chosen');
  }
  state.piece = i;
  const body = drawnPieces[i];
  if (!body) return;
  body.setAttribute('tabindex', 0);
  body.classList.add('chosen');
  body.parentNode.append(body);
  const facts = pieceFacts(block, i);
  body.setAttribute('aria-label', facts.map((pair) => pair.join(' ')).join(', '));
  byId('piece').replaceChildren(node('dl', {}, ...facts.map(([name, text]) => node('div', {}, node('dt', {}, name), node('dd', {}, text)))));
  if (focus) body.focus({ preventScroll: true });
}

function pieceFacts(block, i) {
  const run = building.runs[state.run];
  const [bottom, top] = block.levels[block.l[i]];
  const stock = building.saw.piece.indexOf(block.names[i]);
  const work = building.works[block.w[i]];
  const facts = [
    ['Piece', block.names[i]],
    ['Course', String(block.c[i])],
    ['Unit', building.units[block.u[i]]?.name ?? ''],
    ['Size', [block.e[i] - block.s[i], top - bottom, run.thickness_mm].map(length).join(' × ')],
    ['From', `station ${length(block.s[i])} to ${length(block.e[i])}`],
    ['Cut', cutOf(block, i).split('+').join(', ') || 'whole unit'],
  ];
  if (stock >= 0) facts.push(['Saw', `out of ${building.saw.stock[stock]}`]);
  if (work) facts.push(['Also', work]);
  const kg = building.masses[block.m[i]];
  if (kg !== null && kg !== undefined) facts.push(['Mass', mass(kg)]);
  if (block.t[i] >= 0) facts.push(['Step', `${block.t[i] + 1} of ${last}`]);
  return facts;
}

// The next piece in a direction: along the course, or the nearest one over or under.
function neighbour(block, i, key) {
  const middle = (j) => (block.s[j] + block.e[j]) / 2;
  const side = key === 'ArrowRight' ? 1 : key === 'ArrowLeft' ? -1 : 0;
  const rise = key === 'ArrowUp' ? 1 : key === 'ArrowDown' ? -1 : 0;
  let best = -1;
  let least = Infinity;
  block.names.forEach((_, j) => {
    const along = (middle(j) - middle(i)) * side;
    const over = (block.c[j] - block.c[i]) * rise;
    if (j === i || (side ? block.c[j] !== block.c[i] || along <= 0 : over <= 0)) return;
    const far = side ? along : over * 1e6 + Math.abs(middle(j) - middle(i));
    if (far < least) {
      least = far;
      best = j;
    }
  });
  return best;
}

function showPiece(body) {
  const view = wallBox.parentNode;
  const box = body.getBoundingClientRect();
  const frame = view.getBoundingClientRect();
  const pole = byId('pole').offsetWidth;
  if (box.left < frame.left + pole || box.right > frame.right) view.scrollLeft += box.left + box.width / 2 - (frame.left + pole + frame.width) / 2;
}

wallBox.addEventListener('click', (event) => {
  const body = event.target.closest('.piece');
  if (body) choosePiece(Number(body.dataset.i), true);
});
wallBox.addEventListener('focusin', (event) => {
  const body = event.target.closest('.piece');
  if (body && Number(body.dataset.i) !== state.piece) choosePiece(Number(body.dataset.i), false);
});
wallBox.addEventListener('keydown', (event) => {
  if (!event.key.startsWith('Arrow') || !event.target.closest('.piece')) return;
  event.preventDefault();
  const to = neighbour(pieces(state.run), state.piece, event.key);
  if (to < 0) return;
  choosePiece(to, true);
  showPiece(drawnPieces[to]);
});
