// Where a truck is and how bright a zone is at an instant: show/numbers/motion and show/numbers/tracks, in the page.

/** Distance that a run from rest to rest has come after a time [m]; acceleration 0: constant speed. */
export function distanceAt(elapsed, distance, speed, acceleration) {
  if (distance <= 0) return 0;
  if (acceleration <= 0) return Math.min(Math.max(elapsed, 0) * speed, distance);
  const reaches = distance >= (speed * speed) / acceleration;
  const total = reaches ? distance / speed + speed / acceleration : 2 * Math.sqrt(distance / acceleration);
  const time = Math.min(Math.max(elapsed, 0), total);
  const top = Math.min(speed, Math.sqrt(acceleration * distance));
  const ramp = top / acceleration;
  if (time <= ramp) return 0.5 * acceleration * time * time;
  const left = total - time;
  if (left <= ramp) return distance - 0.5 * acceleration * left * left;
  return 0.5 * top * ramp + top * (time - ramp);
}

/** Place of the last value that is not above a number; -1: all are. */
export function lastUpTo(values, number, first = 0, end = values.length) {
  let low = first;
  let high = end;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle] <= number) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** Distance from the front mouth at an instant of a visit [m]. */
export function placeAt(hour, visit, time) {
  const [start, from, to, speed, acceleration] = hour.moves;
  const first = hour.firstMove[visit];
  const move = lastUpTo(start, time, first, hour.firstMove[visit + 1]);
  if (move < first) return hour.rest[visit];
  const done = distanceAt(time - start[move], Math.abs(to[move] - from[move]), speed[move], acceleration[move]);
  return to[move] >= from[move] ? from[move] + done : from[move] - done;
}

/** Place of a truck outside the aisles at an instant of a stretch: across the floor and along the aisles [m]. */
export function openPlaceAt(open, row, time) {
  const right = open.toAcross[row] - open.across[row];
  const on = open.toAlong[row] - open.along[row];
  const whole = Math.abs(right) + Math.abs(on); // one of the two is 0
  if (whole === 0) return [open.across[row], open.along[row]];
  const share = distanceAt(time - open.start[row], whole, open.speed[row], open.acceleration[row]) / whole;
  return [open.across[row] + share * right, open.along[row] + share * on];
}

/** Level of a zone's light at an instant, share of full. */
export function levelAt(light, time) {
  const piece = Math.max(0, lastUpTo(light.start, time));
  const length = light.end[piece] - light.start[piece];
  const done = Math.min(1, Math.max(0, (time - light.start[piece]) / length));
  return light.one[piece] + done * (light.other[piece] - light.one[piece]);
}

/** Whether a zone's light is below the occupied level in force at an instant. */
export function isDimAt(light, time) {
  return levelAt(light, time) < light.occupied[Math.max(0, lastUpTo(light.start, time))] - 1e-9;
}
