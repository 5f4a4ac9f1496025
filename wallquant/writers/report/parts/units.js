// Millimetres or feet and inches, at a switch: drawings are drawn again, and lengths within sentences are said in the other unit.
const planUnit = building.unit;
const FEET = /(?<![\w.,/-])([-−])?(?:(\d+) ft(?: (\d+-\d+\/\d+|\d+\/\d+|\d+) in)?|(\d+-\d+\/\d+|\d+\/\d+|\d+) in)\b(?![²³])/g;

// A sentence of the plan with its lengths in the unit that is shown; areas, volumes and masses stay in the plan's.
function spoken(text) {
  if (building.unit === planUnit || !text) return text;
  if (planUnit === 'mm') return text.replace(/(?<![\w.,])([-−])?(\d+(?:\.\d+)?) mm\b(?![²³])/g, (_, sign, value) => (sign ?? '') + inches(Number(value)));
  return text.replace(FEET, (all, sign, feet, over, alone, at) => {
    // `course 4 in the slab` is no length: a whole number of inches is one where the sentence goes on like that
    if (feet === undefined && /^\d+$/.test(alone)) {
      const after = text.slice(at + all.length);
      if (/(?:course|courses|run|step|lift|times) $/.test(text.slice(0, at)) || !/^(?:$|[.,;:)×]| (?:in|to|or|and|x|high|long|wide|thick|apart|each|from|above|below|off|more|nearer)\b)/.test(after)) return all;
    }
    const mm = Number(feet ?? 0) * 304.8 + 25.4 * inchesOf(over ?? alone ?? '0');
    return `${sign ?? ''}${short(even(mm * 10) / 10)} mm`;
  });
}

// `7-7/8`, `1/2` or `7` as a number.
function inchesOf(text) {
  const [whole, part] = text.includes('-') ? text.split('-') : text.includes('/') ? ['0', text] : [text, '0/1'];
  const [over, under] = part.split('/').map(Number);
  return Number(whole) + over / under;
}

// The texts that the page came with, as they were; what the script draws is drawn again.
const written = [];
for (const id of ['figures', 'findings', 'ledger', 'materials', 'rules', 'cautions']) {
  const part = byId(id);
  const walker = part && document.createTreeWalker(part, NodeFilter.SHOW_TEXT);
  while (walker?.nextNode()) if (/\d (mm|in|ft)\b/.test(walker.currentNode.data)) written.push([walker.currentNode, walker.currentNode.data]);
}

function showUnit(unit) {
  building.unit = unit;
  document.querySelectorAll('[data-unit]').forEach((button) => button.setAttribute('aria-pressed', String(button.dataset.unit === unit)));
  for (const [place, text] of written) place.data = spoken(text);
  drawPlan();
  drawElevation();
  if (state.piece >= 0) choosePiece(state.piece, false);
  tellStep();
  drawDays();
  drawSaw();
}

document.querySelectorAll('[data-unit]').forEach((button) => button.addEventListener('click', () => showUnit(button.dataset.unit)));
