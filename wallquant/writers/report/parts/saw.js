// The saw list: units of one kind together, each unit a line with its pieces in the order of the saw.
const SAW_LINES = 40;

function drawSaw() {
  const box = byId('saw-list');
  if (!box) return;
  const saw = building.saw;
  const stocks = grouped(saw.stock.map((stock, i) => [stock, i]), (pair) => pair[0]);
  const byUnit = grouped([...stocks.values()].map((pairs) => pairs.map((pair) => pair[1])), (rows) => saw.unit[rows[0]]);
  box.replaceChildren(...[...byUnit].map(([unit, lists]) => sawTable(unit, lists)));
}

function sawTable(unit, lists) {
  const body = node('tbody');
  const heads = ['Bought unit', 'Saw to', 'Left over'].map((text, i) => node('th', { scope: 'col', class: i === 2 && 'n' }, text));
  const table = node('table', {}, node('caption', {}, `${unit}: ${plural(lists.length, 'unit')} to saw`), node('thead', {}, node('tr', {}, ...heads)), body);
  const add = (some) => body.append(...some.map(sawLine));
  add(lists.slice(0, SAW_LINES));
  const part = node('div', { class: 'wide' }, table);
  if (lists.length > SAW_LINES) {
    const more = node('button', { type: 'button', class: 'rest' }, `Show all ${grouping(lists.length)}`);
    more.addEventListener('click', () => {
      add(lists.slice(SAW_LINES));
      more.remove();
    });
    part.append(more);
  }
  return part;
}

function sawLine(rows) {
  const saw = building.saw;
  const pieces = rows.map((i) => {
    const size = `${length(saw.length_mm[i])} × ${length(saw.height_mm[i])}`;
    const turned = saw.angle_deg[i] ? `, saw at ${saw.angle_deg[i]}°` : '';
    return node('span', { class: 'sawn' }, node('b', {}, size), ` ${saw.piece[i]}${turned}`);
  });
  return node('tr', {}, node('th', { scope: 'row' }, saw.stock[rows[0]]), node('td', {}, ...pieces), node('td', { class: 'n' }, length(saw.offcut_mm[rows[rows.length - 1]])));
}
