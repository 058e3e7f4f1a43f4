// Times of a song, as people write them.

/** "0:41.203" */
export function timeText(seconds, decimals = 3) {
  const fine = 10 ** decimals, all = Math.round(Math.max(0, seconds) * fine) / fine, minutes = Math.floor(all / 60);
  return `${minutes}:${(all - 60 * minutes).toFixed(decimals).padStart(decimals ? 3 + decimals : 2, "0")}`;
}

/** The shortest text that is this time to a millisecond: "0:43.5". */
export const timeShort = (seconds) => timeText(seconds).replace(/\.?0+$/, "");

/** Seconds in "83.5", "1:23.5" or "0:01:23", to a millisecond; null where that is no time. */
export function secondsIn(text) {
  const parts = String(text).trim().replace(",", ".").split(":");
  if (parts.length > 3 || !parts.every((part, i) => (i === parts.length - 1 ? /^\d{1,6}(\.\d{0,6})?$/ : /^\d{1,4}$/).test(part))) return null;
  if (parts.slice(1).some((part) => Number(part) >= 60)) return null;
  const seconds = parts.reduce((sum, part) => 60 * sum + Number(part), 0);
  return seconds < 86400 ? Math.round(1000 * seconds) / 1000 : null;
}

/** What a screen reader can say: "1 minute 23.5 seconds". */
export function timeSpoken(seconds) {
  const all = Math.round(1000 * Math.max(0, seconds)) / 1000, minutes = Math.floor(all / 60), rest = Math.round(1000 * (all - 60 * minutes)) / 1000;
  return `${minutes ? `${minutes} ${minutes === 1 ? "minute" : "minutes"} ` : ""}${rest} ${rest === 1 ? "second" : "seconds"}`;
}
