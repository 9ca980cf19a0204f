"use strict";
// The figures of the pocket page, as the package computes them; pocket.js shows them.
// Straight in the logs between the plans computed beforehand, and no further than they reach.
function along(buds, values) {
  const x = block().reading.buds;
  let at = x.findIndex((each) => each >= buds);
  if (at < 0) at = x.length - 1;
  if (at === 0 || x[at] === buds) return values[at];
  const share = Math.log(buds / x[at - 1]) / Math.log(x[at] / x[at - 1]);
  return values[at - 1] * (values[at] / values[at - 1]) ** share;
}
const reading = (buds) => Object.fromEntries(data.readings.map((name) =>
  [name, block().reading[name].map((values) => along(buds, values))]));
const judged = (value, [low, high]) => value < low ? "below" : value > high ? "above" : "inside";
function balanced(weight) {
  const { first, further, unit } = block().formula;
  const units = weight / unit;
  return Math.min(units, 1) * first + Math.max(units - 1, 0) * further;
}
const toLeave = (live, share) => live / (1 - share);
// Wilson's score range of a share.
function shareRange(dead, sampled) {
  const z = data.z;
  const share = dead / sampled;
  const middle = (share + z * z / sampled / 2) / (1 + z * z / sampled);
  const half = z * Math.sqrt(share * (1 - share) / sampled + (z / sampled / 2) ** 2)
    / (1 + z * z / sampled);
  return [dead ? middle - half : 0, share, dead < sampled ? middle + half : 1];
}
// Student's t, straight in 1 / degrees of freedom between those listed.
function quantile(list, df) {
  const { at } = data.t;
  if (df >= at[at.length - 1]) {
    return list[at.length] + (list[at.length - 1] - list[at.length]) * at[at.length - 1] / df;
  }
  const high = at.findIndex((each) => each >= df);
  if (at[high] === df) return list[high];
  const share = (1 / df - 1 / at[high]) / (1 / at[high - 1] - 1 / at[high]);
  return list[high] + (list[high - 1] - list[high]) * share;
}
function meanOf(values, list) {
  const n = values.length;
  const mean = values.reduce((sum, each) => sum + each, 0) / n;
  const variance = values.reduce((sum, each) => sum + (each - mean) ** 2, 0) / (n - 1);
  const left = Math.max(0, 1 - n / Math.max(block().bearing, n));
  const half = n > 1 ? quantile(list, n - 1) * Math.sqrt(variance / n * left) : NaN;
  return { n, mean, low: Math.max(0, mean - half), high: mean + half };
}
// What was counted here since a day, or in the last week, each vine as it was seen last.
const weekAgo = () => new Date(Date.now() - 7 * 86400000).toISOString().slice(0, 10);
function counted(name, since = weekAgo()) {
  const seen = new Map();
  for (const row of rows().sort((a, b) => a.at - b.at)) {
    if (row.block === block().name && row.season === data.season && row.date >= since
      && row[name] !== "") seen.set(`${row.row}|${row.vine}`, Number(row[name]));
  }
  return [...seen.values()];
}
// What is left of the estate's range [t] when so many vines are counted here.
function rangeLeft(name, vines) {
  const [a, c] = block().worth[name];
  return vines ? Math.sqrt(Math.max(data.range ** 2 - 1 / (a + c / vines), 0)) : data.range;
}
function worthOfHour(name, n) {
  const minutes = measures().reduce((sum, each) => sum + (data.minutes[each] || 0), 0);
  const more = Math.min(Math.floor(60 / minutes), Math.max(0, Math.floor(block().bearing - n)));
  return { more, off: rangeLeft(name, n) - rangeLeft(name, n + more) };
}
function verdict(sample, planned) {
  const { least, near, tell } = data.crew;
  if (sample.n < least || Number.isNaN(sample.high)) return "too_few";
  const low = sample.low / planned - 1;
  const high = sample.high / planned - 1;
  if (-near <= low && high <= near) return "on_plan";
  if (low > 0) return "long";
  if (high < 0) return "short";
  return -tell <= low && high <= tell ? "on_plan" : "too_few";
}
