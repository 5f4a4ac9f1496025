// Lengths for people, as the rest of the program prints them.
function even(value) {
  const low = Math.floor(value);
  const rest = value - low;
  if (Math.abs(rest - 0.5) < 1e-6) return low % 2 === 0 ? low : low + 1;
  return Math.round(value);
}

// Millimetres as `1200` or `149.2`; feet and inches to 1/16 as `6 ft 8 in`.
function length(mm) {
  if (mm === null || mm === undefined || mm === '') return '–';
  return building.unit === 'in' ? inches(mm) : `${short(mm)} mm`;
}

// The same without the unit where it is clear, for labels in drawings.
function short(mm) {
  if (building.unit === 'in') return mm === 0 ? '0' : inches(mm).replace(/ ft/, '′').replace(/ in/, '″').replace(/′ /, '′');
  const tenths = even(mm * 10);
  return tenths % 10 === 0 ? String(tenths / 10) : (tenths / 10).toFixed(1);
}

// What to set at the saw: millimetres, or inches without feet, as a number.
function saw(mm) {
  return building.unit === 'in' ? fraction(even((mm * 16) / 25.4)) : short(mm);
}

// Sixteenths as `7-7/8`, `1/2` or `7`.
function fraction(marks) {
  const whole = Math.floor(marks / 16);
  let over = marks % 16;
  let under = 16;
  while (over && over % 2 === 0) {
    over /= 2;
    under /= 2;
  }
  if (!over) return String(whole);
  return whole ? `${whole}-${over}/${under}` : `${over}/${under}`;
}

function inches(mm) {
  const marks = even((Math.abs(mm) * 16) / 25.4);
  if (!marks) return '0 in';
  const feet = Math.floor(marks / 192);
  const inch = marks % 192 || !feet ? fraction(marks % 192) : '';
  return (mm < 0 ? '-' : '') + [feet ? `${feet} ft` : '', inch ? `${inch} in` : ''].filter(Boolean).join(' ');
}

function mass(kg) {
  return building.unit === 'in' ? `${(kg / 0.45359237).toFixed(1)} lb` : `${kg.toFixed(1)} kg`;
}

// Hours as `2 h 15 min`.
function hours(value) {
  const minutes = Math.round(value * 60);
  const rest = minutes % 60;
  return [Math.floor(minutes / 60) ? `${Math.floor(minutes / 60)} h` : '', rest || minutes < 60 ? `${rest} min` : ''].filter(Boolean).join(' ');
}

// A day of the plan, 1 the first, with its name.
function dayName(day) {
  const names = ['Monday', 'Tuesday', 'Wednesday', 'Thursday', 'Friday', 'Saturday', 'Sunday'];
  return `Day ${day}, ${names[(building.weekday + day - 1) % 7]}`;
}

// A step's clock: hours run from the start of day 1, nights included.
function clock(hour) {
  return `${dayName(Math.floor(hour / 24) + 1)}, after ${hours(hour % 24)}`;
}
