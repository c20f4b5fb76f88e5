/* The points of the strip chart, bounded in time and number. Pure. */

const MOST_POINTS = 1500; // of a channel: 2.5 minutes at 10 readings/s, as the server keeps
const MARGIN_S = 1; // beyond the left edge, so that the line begins there

/* All points by channel number, [times, values, overloads], after an answer of the server. */
export function withNews(points, told, windowS) {
  const result = told.reset ? {} : { ...points };
  for (const [number, columns] of Object.entries(told.points)) {
    const all = (result[number] || [[], [], []]).map((column, place) => column.concat(columns[place]));
    const first = all[0].findIndex((time) => time >= told.elapsed_s - windowS - MARGIN_S);
    const drop = Math.max(all[0].length - MOST_POINTS, first < 0 ? all[0].length : first);
    result[number] = drop > 0 ? all.map((column) => column.slice(drop)) : all;
  }
  return result;
}

/* Where the chart ends, s: now while it is recorded, else the last point. */
export function endS(points, told) {
  const last = Object.values(points).map((columns) => columns[0][columns[0].length - 1] || 0);
  return told.state === "growing" ? Math.max(told.elapsed_s, ...last) : Math.max(...last, 0);
}
