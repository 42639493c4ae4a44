// The quick estimate: closed form per aisle, as study/quick does it.

const WEEKS_A_YEAR = 365 / 7;
const DRIVE_M_PER_S = 2;
const HANDLING_S = 60;
const UNSURE = { visits: 0.3, stay: 0.3, share: 0.1 };
const LEAST_LEVEL = 0.1;

/** Share of the visits of each aisle, busiest first, by Bender's curve through (0.2, busiest share). */
export function aisleShares(aisles, busiest) {
  const skew = busiest > 0.2 ? (0.2 * (1 - busiest)) / (busiest - 0.2) : Infinity;
  const below = (rank) => (skew === Infinity ? rank : ((1 + skew) * rank) / (skew + rank));
  return Array.from({ length: aisles }, (_, place) => below((place + 1) / aisles) - below(place / aisles));
}

/** Share of the energy of always on that is saved: lam visits a second, held for stay + timeout each (M/G/infinity). */
export function savedShare(inputs, timeout, level, unsure) {
  const busiest = Math.min(0.99, Math.max(0.2, inputs.busiest_share + unsure.share));
  const held = (stayTime(inputs) * unsure.stay) + timeout;
  const perSecond = (inputs.visits_per_h / 3600) * unsure.visits;
  const low = aisleShares(inputs.aisles, busiest).reduce((sum, share) => sum + Math.exp(-perSecond * share * held), 0);
  return ((1 - level) * low) / inputs.aisles;
}

/** How long a visit lasts [s]: handling, and the drive to the middle of the aisle and back. */
export function stayTime(inputs) {
  return HANDLING_S + inputs.length_m / DRIVE_M_PER_S;
}

/** Return the three options: lean, balanced, cautious. */
export function quickEstimate(inputs) {
  const year = (inputs.aisles * inputs.luminaires * inputs.watts / 1000) * inputs.hours_per_week * WEEKS_A_YEAR;
  const options = [
    ["lean", inputs.timeout_s / 2, Math.min(inputs.unoccupied_level, Math.max(LEAST_LEVEL, inputs.unoccupied_level - 0.1))],
    ["balanced", inputs.timeout_s, inputs.unoccupied_level],
    ["cautious", inputs.timeout_s * 2, Math.min(1, inputs.unoccupied_level + 0.2)],
  ];
  return options.map(([name, timeout, level]) => {
    const range = (width) => [-1, 0, 1].map((side) => savedShare(inputs, timeout, level, {
      visits: 1 - side * width * UNSURE.visits, stay: 1 - side * width * UNSURE.stay, share: side * width * UNSURE.share,
    }));
    const [low, likely, high] = range(1);
    const [loggedLow, , loggedHigh] = range(0.5);
    const money = (share) => share * year * inputs.price_per_kwh;
    const payback = (share) => (inputs.cost_per_aisle > 0 && money(share) > 0
      ? (inputs.cost_per_aisle * inputs.aisles) / money(share) : null);
    return {
      name, timeout_s: timeout, level, low, likely, high, logged_low: loggedLow, logged_high: loggedHigh,
      saved_kwh: likely * year, saved_money: money(likely),
      payback_years: payback(likely), payback_low: payback(high), payback_high: payback(low),
    };
  });
}
