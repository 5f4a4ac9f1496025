// One course in plan: which run passes and which butts at each corner, block by block.
const courseBox = byId('course');
let stones = [];

// The courses of the storey in hand; 0 stands for the whole wall.
function drawCourses() {
  const numbers = new Set();
  for (const run of building.runs) {
    if (run.storey === state.storey) for (const number of run.courses) numbers.add(number);
  }
  const list = [...numbers].sort((a, b) => a - b);
  if (!numbers.has(state.course)) state.course = 0;
  courseBox.replaceChildren(node('option', { value: 0 }, 'whole walls'), ...list.map((number) => node('option', { value: number, selected: number === state.course }, `course ${number}`)));
}

function courseStones(run, index, shape) {
  const block = pieces(index);
  const half = run.thickness_mm / 2;
  const found = [];
  block.c.forEach((course, i) => {
    if (course !== state.course) return;
    const box = [[block.s[i], half], [block.e[i], half], [block.e[i], -half], [block.s[i], -half]];
    const rings = block.plan[i] ?? [box.flat()];
    const pairs = (ring) => ring.flatMap((_, j) => (j % 2 ? [] : [spot(run, ring[j], ring[j + 1])]));
    const body = svg('path', { class: `body ${kindOf(block, i)}${cutOf(block, i) ? ' cut' : ''}`, d: rings.map((ring) => `M${shape(pairs(ring)).replaceAll(' ', 'L')}Z`).join('') });
    const stone = svg('g', { class: 'stone' }, body, svg('title', {}, block.names[i]));
    stones.push([stone, block.t[i] + 1]);
    found.push(stone);
  });
  return found;
}

function paintStones() {
  for (const [stone, number] of stones) stone.dataset.state = stateOf(number);
}

courseBox.addEventListener('change', () => {
  state.course = Number(courseBox.value);
  drawPlan();
});
